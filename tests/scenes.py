"""What scenes of sessions share: a small program, and functions that run its session to a moment."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from datetime import date
from typing import Any

from coach.logbook import fields_of
from coach.loglines.kinds import KIND_OF
from coach.program.model import AskAfter, Guide, Phase, Program, Range, Reps, Sides, Work
from coach.program_files import read, shipped
from coach.session.events import On
from coach.session.plan import plan
from coach.session.state import State
from coach.testing import WatchedRun

DAY = date(2027, 1, 11)
BASE = read(shipped()["ankle_steady"])
RAISE = Reps(Range(3, 4), (Phase("raise", 1.0), Phase("lower", 3.0)), "lower", Guide.TONE)


def made(
    *works: Work,
    sides: Sides = Sides.BOTH,
    sets: tuple[int, ...] = (),
    exercises: int = 1,
    change: Callable[[Program], Program] = lambda program: program,
    **limits: Any,
) -> Program:
    """Return a program of exercises with a level for each of `works`, starting at the hardest, without questions."""
    first = BASE.exercises[0]
    sets = sets or (2,) * len(works)
    levels = tuple(
        replace(first.levels[0], id=f"level_{index}", dose=replace(first.levels[0].dose, work=work, sets=count))
        for index, (work, count) in enumerate(zip(works, sets, strict=True))
    )
    each = replace(first, levels=levels, start_level=levels[-1].id, sides=sides)
    never = AskAfter.NEVER
    return change(
        replace(
            BASE,
            screen=(),
            ask_pain=never,
            ask_effort=never,
            ask_reps=never,
            limits=replace(BASE.limits, **limits),
            exercises=tuple(replace(each, id=f"exercise_{number}") for number in range(exercises)),
        )
    )


def begun(program: Program) -> WatchedRun:
    return WatchedRun(plan(program, (), DAY))


def come_to(run: WatchedRun, state: State) -> WatchedRun:
    """Run the session to `state`, with "ready" whenever it is asked for."""
    while run.session.state is not state:
        if run.session.state in (State.CHECKING, State.WAITING):
            run.say(On.READY)
        assert run.step(), f"over, or stuck in {run.session.state}"
    return run


def work_until(run: WatchedRun, kind: On, number: int, phase: int = 0, side: str = "") -> WatchedRun:
    """Run the set until `mark` has just happened."""
    come_to(run, State.WORKING)
    while True:
        running = run.session.open_set
        assert running is not None
        here = (running.rep, running.phase, running.phase_began) == (number, phase, run.now)
        if kind is On.PHASE and here and side in ("", running.side):
            return run
        if kind is On.SECOND and running.counted == number:
            return run
        assert run.step()


def lines(run: WatchedRun, kind: str) -> list[dict[str, Any]]:
    return [fields_of(line.fact) for line in run.records if KIND_OF[type(line.fact)] == kind]


def keys(run: WatchedRun) -> list[str]:
    return [phrase.key for phrase in run.said]
