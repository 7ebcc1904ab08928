"""Read the text of a program file into the model, or report all its problems."""

from __future__ import annotations

from collections.abc import Mapping
from hashlib import sha256
from types import MappingProxyType

from coach.errors import ProgramError
from coach.program.dose import dose_of
from coach.program.fields import PROGRAM
from coach.program.missing import warnings
from coach.program.model import (
    Dose,
    Exercise,
    Joins,
    Level,
    Limits,
    Program,
    Schedule,
    ScreenQuestion,
    StepUp,
    WrittenBy,
)
from coach.program.nodes import Problems, compose
from coach.program.rules import check
from coach.program.shapes import Got, ReadingContext, read

USUAL_GAP = 14
"""Days that count as a gap unless the program sets another number; our own choice, not from a study."""


def load(text: str, name: str, halt_words: Mapping[str, str] = MappingProxyType({})) -> Program:
    """Return the program in `text`; `name` is the file's name, for messages and for the program's id.

    `halt_words` are the wordings that stop a session in the program's language, with what to write instead: no spoken
    text may contain one.
    Raises ProgramError with a line for each problem (20 at most): "FILE:LINE:COLUMN: what was found; what to write".
    """
    problems = Problems(name)
    reading = ReadingContext(problems, halt_words)
    node = compose(text, problems)
    got: Got | None = read(PROGRAM, node, "program", reading) if node is not None else None
    if got is None:
        raise problems.error()
    check(got, reading)
    doses = {
        (exercise_at, level_at): dose_of(exercise, level, reading)
        for exercise_at, exercise in enumerate(got.get("exercises") or ())
        for level_at, level in enumerate(exercise.get("levels") or ())
    }
    if problems.found:
        raise problems.error()
    whole = {at: dose for at, dose in doses.items() if dose is not None}
    if len(whole) < len(doses):
        message = f"{name}:1:1: a dose could not be read; write it anew."
        raise ProgramError(message)  # unreachable: a dose that fails has noted why
    return _program(got, text, name, whole)


def _program(got: Got, text: str, name: str, doses: dict[tuple[int, int], Dose]) -> Program:
    limits, pain, ask = got["limits"], got["limits"]["pain"], got["ask"]
    hold_after = limits["hold_after"]
    schedule, written = got["schedule"], got["written_by"]
    every = schedule["every"]
    sore = schedule.get("after_a_sore_day") or every + 1
    exercises = tuple(
        _exercise(each, [doses[at, level_at] for level_at in range(len(each["levels"]))])
        for at, each in enumerate(got["exercises"])
    )
    return Program(
        id=_stem(name),
        title=got["title"],
        language=got["language"],
        written_by=WrittenBy(written["name"], written["role"], written.get("on"), written.get("review_on")),
        affected=got.get("affected") or "",
        within_reach=got["within_reach"],
        call=got["call"],
        cautions=got["cautions"],
        screen=tuple(_screen(each) for each in got["screen"]),
        ask_pain=ask["pain"],
        ask_effort=ask["effort"],
        ask_reps=ask["reps"],
        ask_goals_days=ask["goals"],
        limits=Limits(
            pain_carry_on_to=pain["carry_on_to"],
            pain_ease_to=pain["ease_to"],
            effort_ease_above=limits["effort"]["ease_above"],
            unsteady=limits["unsteady"],
            tired=limits["tired"],
            cut_sets=limits["cut_sets"],
            next_day_worse=limits["next_day_worse"],
            halts=limits["halts"],
            minutes=limits["minutes"],
            hold_after_pain=hold_after["pain"],
            hold_after_unsteady=hold_after["unsteady"],
        ),
        schedule=Schedule(every, sore, schedule.get("gap") or max(USUAL_GAP, 2 * sore), schedule["after_a_gap"]),
        exercises=exercises,
        digest=sha256(text.encode("utf-8")).hexdigest(),
        warnings=warnings(got, exercises),
    )


def _exercise(got: Got, doses: list[Dose]) -> Exercise:
    step_up, joins = got.get("step_up_after"), got.get("joins_after")
    levels = tuple(_level(level, dose) for level, dose in zip(got["levels"], doses, strict=True))
    return Exercise(
        id=got["id"],
        name=got["name"],
        why=got["why"],
        needs=got["needs"],
        sides=got["sides"],
        this_side=got["this_side"],
        other_side=got["other_side"],
        levels=levels,
        start_level=got.get("start_level") or levels[0].id,
        step_up=StepUp(
            sessions=step_up["sessions"],
            at_top=step_up["at"],
            pain_to=step_up["pain_to"],
            effort_to=step_up["effort_to"],
            days=step_up["days"],
            unsteady=step_up["unsteady"],
        )
        if step_up is not None
        else None,
        joins_after=Joins(joins["exercise"], joins["steady_sessions"], joins["days"], by_itself=joins["joins"])
        if joins is not None
        else None,
    )


def _level(got: Got, dose: Dose) -> Level:
    return Level(
        id=got["id"],
        setup=got["setup"],
        cue=got["cue"],
        feel=got["feel"],
        watch=got["watch"],
        needs=got["needs"],
        dose=dose,
    )


def _screen(got: Got) -> ScreenQuestion:
    yes = got.wrote("if_yes")
    return ScreenQuestion(got["id"], got["ask"], answer=yes, action=got["if_yes" if yes else "if_no"])


def _stem(name: str) -> str:
    last = name.replace("\\", "/").rpartition("/")[2]
    return last.removesuffix(".yaml").removesuffix(".yml")
