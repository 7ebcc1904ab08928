"""Today from the program and the history: never harder than the clinician wrote, each choice with its reason."""

from __future__ import annotations

from dataclasses import replace
from datetime import date, timedelta

import pytest

from coach.program.model import Action, Sides
from coach.program_files import read, shipped
from coach.session.past import PastExercise, PastSession, clause
from coach.session.plan import NEXT_DAY, plan, turns

DAY = date(2027, 1, 11)
ANKLE = read(shipped()["ankle_steady"])
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
    assert today.exercises[0].because == (
        clause("because_start_level", level="both_hands"), clause("because_bottom", low=8),
    )  # fmt: skip
    assert (today.due, today.because) == (None, ())


def test_a_session_in_full_with_little_pain_adds_one_within_the_range() -> None:
    heel = plan(ANKLE, (past(HEEL),), DAY).exercises[0]

    assert heel.target == 10
    assert dict(heel.because[-1].values) == {
        "day": "2027-01-10", "sets": 2, "pain": 1, "to": 3, "target": 10, "low": 8, "high": 12,
    }  # fmt: skip


@pytest.mark.parametrize(
    "done",
    [
        replace(HEEL, sets_in_full=1),
        replace(HEEL, pain=None),
        replace(HEEL, pain_unanswered=True),
        replace(HEEL, least=8),
        replace(HEEL, sets_planned=0, sets_in_full=0),
    ],
)
def test_anything_less_keeps_the_amount(done: PastExercise) -> None:
    heel = plan(ANKLE, (past(done),), DAY).exercises[0]

    assert (heel.target, heel.because[-1].key) == (9, "because_same")


def test_a_worse_morning_after_keeps_the_amount_too() -> None:
    told = replace(past(HEEL), next_day_worse=True)

    assert plan(ANKLE, (told,), DAY).exercises[0].target == 9


@pytest.mark.parametrize(
    ("done", "key"),
    [
        (replace(HEEL, pain=4), "because_hurt"),
        (replace(HEEL, unsteady=True), "because_unsteady"),
        (replace(HEEL, eased=True), "because_eased"),
    ],
)
def test_what_hurt_gave_way_or_was_eased_begins_at_the_bottom_of_the_range(done: PastExercise, key: str) -> None:
    heel = plan(ANKLE, (past(done),), DAY).exercises[0]

    assert (heel.target, heel.because[-1].key) == (8, key)


def test_the_top_of_the_range_is_the_end() -> None:
    assert plan(ANKLE, (past(replace(HEEL, target=12)),), DAY).exercises[0].target == 12
    assert plan(ANKLE, (past(replace(HEEL, target=99)),), DAY).exercises[0].target == 12


def test_a_hold_grows_by_five_seconds() -> None:
    stand = PastExercise("one_leg_stand", "fingertips", 15, 4, 4, 0, 3, unsteady=False)

    assert plan(ANKLE, (past(stand),), DAY).exercises[1].target == 20


def test_after_a_session_the_morning_after_is_asked_about_as_the_limit_says() -> None:
    question = plan(ANKLE, (past(HEEL),), DAY).screen[-1]

    assert (question.id, question.answer, question.action) == (NEXT_DAY, True, Action.STEP_DOWN)


def days_since(*sessions: PastSession) -> tuple[date | None, list[str]]:
    today = plan(ANKLE, sessions, DAY)
    return today.due, [one.key for one in today.because]


def test_the_next_session_is_due_by_the_schedule_and_a_sore_day_lengthens_it() -> None:
    yesterday = past(HEEL, days_ago=1)
    sore = [
        past(replace(HEEL, pain=4)),
        past(replace(HEEL, unsteady=True)),
        past(replace(HEEL, pain_unanswered=True)),
        replace(yesterday, why="pain"),
        replace(yesterday, next_day_worse=True),
    ]

    assert days_since(yesterday) == (DAY, ["because_due_every"])
    for session in sore:
        assert days_since(session) == (DAY + timedelta(days=1), ["because_due_sore", "because_early"])


def test_after_a_session_that_cannot_be_read_it_is_as_if_that_had_hurt() -> None:
    lost = PastSession(DAY, "", (), unread=True)
    planned = plan(ANKLE, (lost,), DAY)

    assert days_since(past(HEEL), lost) == (DAY + timedelta(days=2), ["because_due_unread", "because_early"])
    assert planned.screen[-1].id == "next_day", "how the morning after was is asked about"
    assert planned.first_session, "nobody knows that the cautions were read"


def test_the_next_session_is_due_when_the_last_one_said() -> None:
    told = replace(past(replace(HEEL, pain_unanswered=True), days_ago=1), next_in_days=1)

    assert days_since(told) == (DAY, ["because_due_every"])


def test_a_session_before_it_is_due_is_allowed_and_said_and_so_are_missed_days() -> None:
    assert days_since(past(HEEL, days_ago=0))[1] == ["because_due_every", "because_early"]
    assert days_since(past(HEEL, days_ago=4))[1] == ["because_due_every", "because_missed"]
    assert dict(plan(ANKLE, (past(HEEL, days_ago=4),), DAY).because[-1].values)["n"] == 3


def test_a_worse_morning_that_ended_the_session_before_any_work_lengthens_the_schedule() -> None:
    ended = replace(past(days_ago=0), why="screen", next_day_worse=True)

    assert days_since(past(HEEL), ended)[0] == DAY + timedelta(days=2)
    assert not plan(ANKLE, (past(HEEL), ended), DAY).first_session


def test_a_session_dated_in_the_future_is_named_and_makes_nothing_due_later() -> None:
    due, keys = days_since(past(HEEL, days_ago=1), past(HEEL, days_ago=-400))

    assert (due, keys) == (DAY, ["because_future", "because_due_every"])


def test_an_exercise_that_is_gone_from_the_program_is_named() -> None:
    today = plan(ANKLE, (past(replace(HEEL, exercise="gone")),), DAY)

    assert clause("because_exercise_gone", exercise="gone") in today.because


def test_the_coach_mentions_a_new_version_of_the_program_before_the_first_exercise() -> None:
    before = replace(past(HEEL), digest="other")
    same = replace(before, digest=ANKLE.digest)

    today = plan(ANKLE, (before,), DAY)
    assert [planned.news for planned in today.exercises] == [("news_program",), (), ()]
    assert "because_program_changed" in [one.key for one in today.because]
    assert not any(planned.news for planned in plan(ANKLE, (same,), DAY).exercises)


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
