"""Check the rules between fields of a program: ids exist, bands are in order, no exercise waits for itself."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from yaml.nodes import Node

from coach.errors import did_you_mean
from coach.program.model import Sides
from coach.program.shapes import Got, ReadingContext


def check(program: Got, reading: ReadingContext) -> None:
    """Note every rule that the program breaks; unreadable fields are skipped."""
    exercises = [each for each in program.get("exercises") or () if each is not None]
    _unique(exercises, "exercise", reading)
    _unique(program.get("screen") or (), "screen question", reading)
    for exercise in exercises:
        _levels(exercise, reading)
        _affected(program, exercise, reading)
        _limbs(exercise, reading)
        _step_up(program, exercise, reading)
    _joins(exercises, reading)
    _bands(program, reading)
    _days(program, reading)


def _unique(items: Sequence[Got], what: str, reading: ReadingContext) -> None:
    seen: dict[str, Node] = {}
    for item in items:
        name = item.get("id")
        if name is None:
            continue
        if name in seen:
            line = seen[name].start_mark.line + 1
            sentence = f'{what} id "{name}" is used twice (first in line {line}); give one of them another id.'
            reading.problems.add(item.nodes["id"], sentence)
        else:
            seen[name] = item.nodes["id"]


def _levels(exercise: Got, reading: ReadingContext) -> None:
    levels = exercise.get("levels") or ()
    _unique(levels, "level", reading)
    known = [level["id"] for level in levels if level.get("id")]
    start = exercise.get("start_level")
    if start is not None and known and start not in known:
        sentence = f'start_level "{start}" does not exist; {did_you_mean(start, known)}'
        reading.problems.add(exercise.nodes["start_level"], sentence)


def _affected(program: Got, exercise: Got, reading: ReadingContext) -> None:
    if exercise.get("sides") is Sides.AFFECTED and not program.wrote("affected"):
        sentence = (
            'sides are "affected only" but the program does not say which; add "affected: left" or "affected: right".'
        )
        reading.problems.add(exercise.nodes["sides"], sentence)


def _limbs(exercise: Got, reading: ReadingContext) -> None:
    written = [name for name in ("this_side", "other_side") if exercise.wrote(name)]
    if written and exercise.get("sides") is Sides.BOTH:
        sentence = f'{written[0]} goes with one side at a time, but sides are "both together"; take it out.'
        reading.problems.add(exercise.nodes[written[0]], sentence)
    elif written == ["other_side"]:
        sentence = "other_side stands alone; add this_side, what the side does that is named."
        reading.problems.add(exercise.nodes["other_side"], sentence)


def _step_up(program: Got, exercise: Got, reading: ReadingContext) -> None:
    step_up = exercise.get("step_up_after")
    carry_on_to = _pain(program).get("carry_on_to")
    if step_up is None or step_up.get("pain_to") is None or carry_on_to is None:
        return
    if step_up["pain_to"] > carry_on_to:
        sentence = f"pain_to must be {carry_on_to} or less, found {step_up['pain_to']}: above that the work is eased."
        reading.problems.add(step_up.nodes.get("pain_to", step_up.node), sentence)


def _joins(exercises: list[Got], reading: ReadingContext) -> None:
    waits: dict[str, str] = {}
    known = [each["id"] for each in exercises if each.get("id")]
    for exercise in exercises:
        joins = exercise.get("joins_after")
        other = joins.get("exercise") if joins is not None else None
        if other is None or not exercise.get("id"):
            continue
        if other not in known:
            sentence = f'joins_after names "{other}", which does not exist; {did_you_mean(other, known)}'
            reading.problems.add(joins.nodes["exercise"], sentence)
        else:
            waits[exercise["id"]] = other
    for exercise in exercises:
        name = exercise.get("id")
        if name in waits and _comes_back(name, waits):
            node = exercise["joins_after"].nodes["exercise"]
            if waits[name] == name:
                sentence = f'"{name}" waits for itself and would never join; name another exercise.'
            else:
                sentence = (
                    f'"{name}" and "{waits[name]}" wait for each other and would never join; let one begin at once.'
                )
            reading.problems.add(node, sentence)


def _comes_back(name: str, waits: dict[str, str]) -> bool:
    here = name
    for _ in waits:
        here = waits.get(here, "")
        if here == name:
            return True
    return False


def _bands(program: Got, reading: ReadingContext) -> None:
    pain = _pain(program)
    low, high = pain.get("carry_on_to"), pain.get("ease_to")
    if low is not None and high is not None and low > high:
        where = pain.nodes.get("ease_to") or pain.nodes["carry_on_to"]
        reading.problems.add(
            where, f"ease_to must be carry_on_to ({low}) or more, found {high}; put the bands in order."
        )


def _pain(program: Got) -> Any:  # noqa: ANN401 - a Got, or a dict that is empty because it could not be read
    limits = program.get("limits")
    pain = limits.get("pain") if limits is not None else None
    return pain if pain is not None else {}


def _days(program: Got, reading: ReadingContext) -> None:
    schedule, written = program.get("schedule"), program.get("written_by")
    if schedule is not None:
        every, sore = schedule.get("every"), schedule.get("after_a_sore_day")
        if every is not None and sore is not None and sore < every:
            sentence = (
                f"after_a_sore_day must be every ({every} days) or more, found {sore}; rest no less when it is sore."
            )
            reading.problems.add(schedule.nodes["after_a_sore_day"], sentence)
        gap, longest = schedule.get("gap"), sore or (every or 0) + 1
        if gap is not None and gap <= longest:
            sentence = f"gap must be more than the days between two sessions ({longest}), found {gap}."
            reading.problems.add(schedule.nodes["gap"], sentence)
    if written is not None:
        on, review_on = written.get("on"), written.get("review_on")
        if on is not None and review_on is not None and review_on < on:
            reading.problems.add(
                written.nodes["review_on"], f"review_on must not be before on ({on}), found {review_on}."
            )
