"""Today from the program and the history: never harder than the clinician wrote, each choice with its reason."""

from __future__ import annotations

from dataclasses import replace
from datetime import date, timedelta
from random import Random

import pytest
from hypothesis import given
from hypothesis import strategies as st

from coach.program.model import Action, Hold, Sides
from coach.program_files import read, shipped
from coach.session.past import PastExercise, PastSession
from coach.session.plan import NEXT_DAY, amount, dose, plan, turns
from coach.testing import random_history, random_program

DAY = date(2027, 1, 11)
ANKLE = read(shipped()["ankle_steady"])
KNEE = read(shipped()["kneecap_steady"])
HEEL = PastExercise("heel_lowering", "both_hands", 9, sets_planned=2, sets_in_full=2, pain=1, effort=4, unsteady=False)


def past(*done: PastExercise, days_ago: int = 1) -> PastSession:
    return PastSession(DAY - timedelta(days=days_ago), "done", done)


def test_a_first_session_begins_at_the_written_level_and_the_least_of_its_range() -> None:
    today = plan(ANKLE, (), DAY)

    assert today.first_session
    assert today.screen == ANKLE.screen
    assert [(p.exercise.levels[p.level].id, p.target) for p in today.exercises] == [
        ("both_hands", 8), ("fingertips", 15), ("sliding", 3),
    ]  # fmt: skip
    assert today.exercises[0].because == ("start_level: both_hands",)


def test_a_session_in_full_with_little_pain_adds_one_within_the_range() -> None:
    heel = plan(ANKLE, (past(HEEL),), DAY).exercises[0]

    assert heel.target == 10
    assert "pain 1 of at most 3" in heel.because[-1]


@pytest.mark.parametrize(
    "done",
    [
        replace(HEEL, sets_in_full=1),
        replace(HEEL, pain=4),
        replace(HEEL, pain=None),
        replace(HEEL, unsteady=True),
        replace(HEEL, sets_planned=0, sets_in_full=0),
    ],
)
def test_anything_less_keeps_the_amount(done: PastExercise) -> None:
    assert plan(ANKLE, (past(done),), DAY).exercises[0].target == 9


def test_the_top_of_the_range_is_the_end() -> None:
    assert plan(ANKLE, (past(replace(HEEL, target=12)),), DAY).exercises[0].target == 12
    assert plan(ANKLE, (past(replace(HEEL, target=99)),), DAY).exercises[0].target == 12


def test_a_hold_grows_by_five_seconds() -> None:
    stand = PastExercise("one_leg_stand", "fingertips", 15, 4, 4, 0, 3, unsteady=False)

    assert plan(ANKLE, (past(stand),), DAY).exercises[1].target == 20


def test_the_level_is_that_of_the_last_session_of_the_exercise_in_whatever_order_they_come() -> None:
    older, newer = past(replace(HEEL, level="fingertips"), days_ago=5), past(HEEL, days_ago=2)

    for history in ((older, newer), (newer, older)):
        assert plan(ANKLE, history, DAY).exercises[0].level == 0
    assert plan(ANKLE, (older, past(days_ago=1)), DAY).exercises[0].level == 1


def test_a_level_that_is_not_in_the_program_any_more_gives_way_to_the_start_level() -> None:
    assert plan(ANKLE, (past(replace(HEEL, level="gone")),), DAY).exercises[0].level == 0


def test_after_a_session_the_morning_after_is_asked_about_as_the_limit_says() -> None:
    question = plan(ANKLE, (past(HEEL),), DAY).screen[-1]

    assert (question.id, question.answer, question.action) == (NEXT_DAY, True, Action.STEP_DOWN)


def test_an_exercise_waits_until_the_other_was_steady_often_enough() -> None:
    slide = PastExercise("wall_slide", KNEE.exercise("wall_slide").start_level, 8, 3, 3, 0, 3, unsteady=False)
    sessions = [past(slide, days_ago=9 - number) for number in range(4)]
    waiting = next(e for e in KNEE.exercises if e.joins_after)

    before, after = plan(KNEE, tuple(sessions[:3]), DAY), plan(KNEE, tuple(sessions), DAY)
    assert waiting not in [p.exercise for p in before.exercises]
    assert waiting in [p.exercise for p in after.exercises]
    assert any(waiting.name in because for because in before.because)


def test_a_session_before_it_is_due_is_allowed_and_said() -> None:
    assert any("the next was due" in because for because in plan(ANKLE, (past(HEEL, days_ago=0),), DAY).because)
    assert not plan(ANKLE, (past(HEEL, days_ago=1),), DAY).because


@pytest.mark.parametrize(
    ("sides", "affected", "expected"),
    [
        (Sides.BOTH, "", [(1, ("",)), (2, ("",))]),
        (Sides.AFFECTED, "left", [(1, ("left",)), (2, ("left",))]),
        (Sides.ALTERNATING, "left", [(1, ("left", "right")), (2, ("left", "right"))]),
        (Sides.EACH, "left", [(1, ("left",)), (1, ("right",)), (2, ("left",)), (2, ("right",))]),
        (Sides.EACH, "", [(1, ("right",)), (1, ("left",)), (2, ("right",)), (2, ("left",))]),
    ],
)
def test_sets_and_sides_follow_the_mode_the_affected_side_first(
    sides: Sides, affected: str, expected: list[tuple[int, tuple[str, ...]]]
) -> None:
    exercise = replace(ANKLE.exercises[0], sides=sides)

    assert list(turns(exercise, exercise.levels[0], affected)) == expected


def test_an_exercise_with_a_hold_alternates_set_by_set() -> None:
    exercise = replace(ANKLE.exercises[1], sides=Sides.ALTERNATING)

    assert turns(exercise, exercise.levels[0], "left") == turns(
        replace(exercise, sides=Sides.EACH), exercise.levels[0], "left"
    )


@given(st.integers(0, 2**32))
def test_targets_stay_in_their_range_and_levels_never_rise(seed: int) -> None:
    chance = Random(seed)
    program = random_program(chance)
    history = random_history(chance, program, DAY)

    today = plan(program, history, DAY)

    newest = sorted(history, key=lambda session: session.day, reverse=True)
    for planned in today.exercises:
        exercise = planned.exercise
        within = amount(dose(exercise, planned.level).work)
        assert within.low <= planned.target <= within.high
        last = next((d for s in newest for d in s.exercises if d.exercise == exercise.id), None)
        before = last.level if last else exercise.start_level
        assert exercise.levels[planned.level].id == before
        step = 5 if isinstance(dose(exercise, planned.level).work, Hold) else 1
        if last and not within.steady:
            assert planned.target <= max(last.target + step, within.low)
        assert planned.because
