"""Each guard in the moments that set it apart: what lies on its edge, and what one of its conditions forbids."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import pytest
from scenes import DAY, RAISE, made

from coach.program.model import Hold, Program, Range, Sides
from coach.session import guards as when
from coach.session.events import Event, On
from coach.session.plan import plan
from coach.session.state import (
    Given,
    Interruption,
    OpenExercise,
    OpenQuestion,
    OpenSet,
    Question,
    Session,
    State,
    begin,
)
from coach.tempo.units import to_samples

NOW = Event(On.TIME_UP, 200)
LAST_PHASE = OpenSet(1, counted=2, rep=3, phase=1, phase_began=100, phase_until=200)
"""The lowering of the third and last rep, which runs out at sample 200."""


def now(program: Program | None = None, **changes: Any) -> Session:
    """Return a session at its beginning, with these changes."""
    return replace(begin(plan(program or made(RAISE), (), DAY)), **changes)


def test_a_set_is_complete_when_the_last_phase_of_its_last_rep_has_run_out() -> None:
    assert when.completes_set(now(open_set=LAST_PHASE), NOW)


@pytest.mark.parametrize(
    "lacks",
    [
        {"open_set": None},
        {"still": True},
        {"targets": (4,)},
        {"open_set": replace(LAST_PHASE, phase=0)},
        {"open_set": replace(LAST_PHASE, rep=2)},
        {"open_set": replace(LAST_PHASE, counted=1)},
        {"open_set": replace(LAST_PHASE, phase_until=201)},
        {"open_set": replace(LAST_PHASE, phase_began=None)},
        {"open_set": replace(LAST_PHASE, phase_began=200)},
        {"open_set": replace(LAST_PHASE, rep=4), "targets": (4,)},
    ],
)
def test_a_set_is_not_complete_as_long_as_one_thing_lacks(lacks: dict[str, Any]) -> None:
    assert not when.completes_set(now(**({"open_set": LAST_PHASE} | lacks)), NOW)


@pytest.mark.parametrize("last", [False, True])
def test_a_set_of_two_sides_is_complete_on_its_second_side_only(last: bool) -> None:
    session = now(made(RAISE, sides=Sides.ALTERNATING))
    opened = replace(LAST_PHASE, counted=5, side=session.sides[last])

    assert when.completes_set(replace(session, open_set=opened), NOW) is last


def test_a_hold_is_complete_by_its_seconds_alone() -> None:
    opened = replace(LAST_PHASE, phase=0)

    assert not when.completes_set(now(made(Hold(Range(3, 4))), open_set=opened), NOW)


def test_the_minutes_of_a_session_that_broke_off_count() -> None:
    session = now(made(RAISE, minutes=20), began=-to_samples(60))

    assert [when.time_is_over(session, Event(On.READY, to_samples(19 * 60) + more)) for more in (-1, 0)] == [
        False,
        True,
    ]


@pytest.mark.parametrize(
    ("exercise", "expected"),
    [
        (OpenExercise(turn=1), False),
        (OpenExercise(turn=2), True),
        (OpenExercise(over="tired"), True),
    ],
)
def test_no_set_comes_behind_the_last_turn_and_in_an_exercise_that_is_over(
    exercise: OpenExercise, expected: bool
) -> None:
    assert when.no_set_comes(now(exercise=exercise), NOW) is expected


@pytest.mark.parametrize(("introduced", "expected"), [(0, True), (1, False)])
def test_an_exercise_is_introduced_once(introduced: int, expected: bool) -> None:
    assert when.needs_intro(now(introduced=introduced), NOW) is expected


def test_both_means_each_of_the_two() -> None:
    never = lambda _session, _event: False  # noqa: E731

    assert [when.both(one, other)(now(), NOW) for one in (never, when.always) for other in (never, when.always)] == [
        False,
        False,
        False,
        True,
    ]


@pytest.mark.parametrize(("given", "expected"), [(None, False), (Given(3), False), (Given(3, 2), True)])
def test_only_a_band_is_placed_in_a_band(given: Given | None, expected: bool) -> None:
    assert when.placed_in_band(now(open_question=OpenQuestion(given)), NOW) is expected


@pytest.mark.parametrize(
    ("asked", "rung", "prompts", "expected"),
    [
        (Question.PAIN, None, 0, True),
        (Question.EFFORT, None, 1, True),
        (Question.PAIN, None, 2, False),
        (Question.PAIN, 0, 0, False),
        (Question.REPS, None, 0, False),
    ],
)
def test_a_number_is_not_understood_only_where_one_is_asked_for_and_may_be_again(
    asked: Question, rung: int | None, prompts: int, expected: bool
) -> None:
    session = now(state=State.ASKING, asks=(asked,), open_question=OpenQuestion(rung=rung), prompts=prompts)

    assert when.number_not_understood(session, NOW) is expected


@pytest.mark.parametrize(
    ("asked", "worst", "expected"),
    [
        (Question.PAIN, None, False),
        (Question.PAIN, Given(5), False),
        (Question.PAIN, Given(6), True),
        (Question.HALT_PAIN, Given(10, 6), True),
        (Question.EFFORT, Given(10), False),
    ],
)
def test_the_worst_that_was_heard_ends_a_session_only_as_a_pain_above_the_limit(
    asked: Question, worst: Given | None, expected: bool
) -> None:
    session = now(
        made(RAISE, pain_carry_on_to=3, pain_ease_to=5), asks=(asked,), open_question=OpenQuestion(None, worst)
    )

    assert when.worst_pain_ends(session, NOW) is expected


def test_ready_takes_up_only_what_was_interrupted() -> None:
    waits = when.takes_up(State.WAITING)

    assert [
        waits(now(interruption=one), NOW)
        for one in (None, Interruption(State.RESTING), Interruption(State.WAITING))
    ] == [False, False, True]  # fmt: skip


@pytest.mark.parametrize(
    ("back", "over", "asks", "expected"),
    [
        (None, "tired", (), False),
        *((back, "tired", (), True) for back in (State.INTRO, State.SETUP, State.WAITING)),
        *((back, None, (), False) for back in (State.INTRO, State.SETUP, State.WAITING)),
        (State.RESTING, "tired", (), False),
        (State.ASKING, None, (), True),
        (State.ASKING, "tired", (Question.PAIN,), False),
    ],
)
def test_nothing_is_to_be_taken_up_where_the_set_or_the_questions_do_not_come_any_more(
    back: State | None, over: str | None, asks: tuple[Question, ...], expected: bool
) -> None:
    interruption = None if back is None else Interruption(back)
    session = now(interruption=interruption, exercise=OpenExercise(over=over), asks=asks)

    assert when.nothing_to_take_up(session, NOW) is expected
