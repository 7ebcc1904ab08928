"""How a session begins: nothing is done, nothing is told, nothing is asked."""

from __future__ import annotations

from dataclasses import fields, replace

import pytest
from scenes import DAY, RAISE, made

from coach.session.events import Event, On, RoomFacts
from coach.session.plan import TakenUp, plan
from coach.session.state import (
    Given,
    Interruption,
    OpenExercise,
    OpenQuestion,
    OpenSet,
    OutOfOrder,
    Screening,
    State,
    begin,
)
from coach.session.taken_up import Broken, BrokenExercise
from coach.tempo.units import RATE

TODAY = plan(made(RAISE, exercises=2), (), DAY)
KNOWN = {"today", "levels", "targets", "state"}


def test_a_session_begins_with_nothing_done_told_or_asked() -> None:
    session = begin(TODAY)

    assert (session.state, session.levels, session.targets) == (State.OPENING, (0, 0), (3, 3))
    held = [getattr(session, field.name) for field in fields(session) if field.name not in KNOWN]
    nested = (Screening(), OpenExercise(), OpenQuestion(), OutOfOrder())
    assert [value for value in held if value and value not in nested] == []
    assert not any(value == -1 for value in held)


@pytest.mark.parametrize(
    ("fresh", "but"),
    [
        (OpenSet(1), {"number": 1}),
        (OpenExercise(), {"stretch": 1.0}),
        (Given(3), {"number": 3}),
        (OpenQuestion(), {}),
        (Interruption(State.WAITING), {"back": State.WAITING}),
        (Screening(), {}),
        (OutOfOrder(), {}),
        (Event(On.STOP, 7), {"on": On.STOP, "at": 7}),
        (RoomFacts(), {}),
        (BrokenExercise("a", "b", 3, "b", 3),
         {"exercise": "a", "planned_level": "b", "planned_target": 3, "level": "b", "target": 3, "stretch": 1.0}),
        (Broken("s", "d", 60.0, ()), {"session": "s", "digest": "d", "seconds": 60.0}),
    ],
)  # fmt: skip
def test_what_is_not_said_of_a_part_is_nothing(fresh: object, but: dict[str, object]) -> None:
    held = {name: getattr(fresh, name) for name in (field.name for field in fields(fresh))}  # type: ignore[arg-type]

    assert {name: value for name, value in held.items() if value not in (None, 0, "", ())} == but


def test_a_session_that_is_taken_up_begins_where_the_other_ended() -> None:
    before = TakenUp(
        "first", 1, 1, (0, 0), (3, 2), over="", stretch=1.25, cut_sets=1, halts=2, seconds=60.0, sore=False
    )
    session = begin(replace(TODAY, taken_up=before))

    assert (session.levels, session.targets, session.began) == ((0, 0), (3, 2), -60 * RATE)
    assert session.exercise == OpenExercise(index=1, turn=1, stretch=1.25, cut_sets=1)
    assert (session.introduced, session.halts, session.asked_level) == (1, 2, 0)
