"""Work out the dose of a level: the exercise's dose, changed by the level's own."""

from __future__ import annotations

from yaml.nodes import Node

from coach.program.fields import DOSE_FIELDS, SHORTEST_REP, WORK
from coach.program.model import Dose, Guide, Hold, Phase, Point, Reps, Route, Work
from coach.program.shapes import WITHOUT, Got, ReadingContext, complete

_LOWERING = ("lower", "lowering")
_FIELDS = {field.name: field for field in DOSE_FIELDS}


def dose_of(exercise: Got, level: Got, reading: ReadingContext) -> Dose | None:
    """Return the dose of one level, or None after its problems were noted."""
    ours, theirs = level.get("dose"), exercise.get("dose")
    if ours is None and theirs is None:
        if not level.wrote("dose") and not exercise.wrote("dose"):
            _add(
                reading,
                level.node,
                f"the dose of {_name(level)} is missing; write dose in the exercise or in the level.",
            )
        return None
    kind = _kind(ours) or _kind(theirs)
    where = (ours or theirs).node
    if kind is None:
        _add(
            reading,
            where,
            f"the dose of {_name(level)} has no work; write reps and phases, or hold, or route and rounds.",
        )
        return None
    got = _merged(theirs, ours, kind)
    before = len(reading.problems.found)
    for name in ("sets", "rest", "change_sides", *WORK[kind]):
        complete(got, _FIELDS[name], where, f"the dose of {_name(level)}", reading)
    if len(reading.problems.found) > before or not all(name in got.values for name in _needed(kind)):
        return None
    work = _work(got, kind, where, reading)
    if work is None:
        return None
    return Dose(sets=got["sets"], rest=got["rest"], work=work, change_sides=got["change_sides"])


def _kind(dose: Got | None) -> str | None:
    if dose is not None:
        for kind, names in WORK.items():
            if any(dose.wrote(name) for name in names):
                return kind
    return None


def _merged(exercise: Got | None, level: Got | None, kind: str) -> Got:
    """Return the exercise's dose with the level's fields over it; another kind of work replaces the first entirely."""
    got = Got(None)
    for dose in (exercise, level):
        if dose is None:
            continue
        if "phases" in dose.nodes:  # the slow phase belongs to the replaced phases
            got.values.pop("slow_phase", None)
            got.nodes.pop("slow_phase", None)
        for name, node in dose.nodes.items():
            if any(name in names for other, names in WORK.items() if other != kind):
                continue
            got.nodes[name] = node
            got.values.pop(name, None)
            if name in dose.values:
                got.values[name] = dose.values[name]
    return got


def _needed(kind: str) -> list[str]:
    names = ("sets", "rest", "change_sides", *WORK[kind])
    return [name for name in names if _FIELDS[name].default is not WITHOUT]


def _work(got: Got, kind: str, where: Node | None, reading: ReadingContext) -> Work | None:
    if kind == "hold":
        return Hold(got["hold"])
    if kind == "route":
        if not _long_enough(got["route"], "round", got.nodes["route"], reading):
            return None
        return Route(tuple(Point(name, seconds) for name, seconds in got["route"]), got["rounds"])
    phases = dict(got["phases"])
    times = tuple((name, seconds) for name, (seconds, _) in got["phases"])
    if not _long_enough(times, "rep", got.nodes["phases"], reading):
        return None
    if got.wrote("slow_phase") and got.get("slow_phase") is None:
        return None
    timed = {name: seconds for name, (seconds, own_pace) in phases.items() if not own_pace}
    slow = got.get("slow_phase") or _slow_phase(timed)
    if slow in phases and slow not in timed:
        _add(
            reading,
            got.nodes["slow_phase"],
            f'slow_phase "{slow}" is at the person\'s own pace; give it a time such as "4 s", or name another phase.',
        )
        return None
    if slow and slow not in phases:
        names = ", ".join(phases)
        _add(
            reading,
            got.nodes.get("slow_phase", where),
            f'slow_phase must name one of the phases, found "{slow}"; there are: {names}.',
        )
        return None
    guide: Guide = got["guide"]
    return Reps(got["reps"], tuple(Phase(name, *pace) for name, pace in phases.items()), slow, guide)


def _slow_phase(phases: dict[str, float]) -> str:
    """Return the lowering, else the longest phase; empty if none has a tempo."""
    for name in phases:
        if name.casefold() in _LOWERING:
            return name
    return max(phases, key=lambda name: phases[name], default="")


def _long_enough(times: tuple[tuple[str, float], ...], what: str, node: Node, reading: ReadingContext) -> bool:
    total = sum(seconds for _, seconds in times)
    if total >= SHORTEST_REP:
        return True
    sentence = f"a {what} must last {SHORTEST_REP:g} s or more in all, found {total:g} s; give its parts more time."
    _add(reading, node, sentence)
    return False


def _name(level: Got) -> str:
    return f'level "{level["id"]}"' if level.get("id") else "a level"


def _add(reading: ReadingContext, node: Node | None, sentence: str) -> None:
    assert node is not None, "a dose that was read has a place"
    reading.problems.add(node, sentence)
