"""A step up is proposed with every clause and its evidence; what is not known is no evidence."""

from __future__ import annotations

from dataclasses import replace
from datetime import date, timedelta
from random import Random

import pytest
from hypothesis import given
from hypothesis import strategies as st

from coach.program.model import AskAfter
from coach.program_files import read, shipped
from coach.session.past import Decision, PastExercise, PastSession, Verdict
from coach.session.plan import plan
from coach.session.proposals import Proposal, proposals
from coach.testing import random_decisions, random_history, random_program

DAY = date(2027, 1, 31)
SHIPPED = read(shipped()["ankle_steady"])
ANKLE = replace(
    SHIPPED,
    exercises=tuple(
        replace(one, step_up=replace(one.step_up, days=1)) if one.step_up else one for one in SHIPPED.exercises
    ),
)
"""The same, with sessions on two days in a row for evidence enough."""
TOP = PastExercise(
    "heel_lowering", "both_hands", 12, sets_planned=2, sets_in_full=2, pain=1, effort=5, unsteady=False, least=12
)


def past(days_ago: int, done: PastExercise = TOP, *, worse: bool | None = False) -> PastSession:
    day = DAY - timedelta(days=days_ago)
    return PastSession(day, "done", (done,), began=f"{day}T10:00:00.000+00:00", next_day_worse=worse)


def heel(*history: PastSession, decisions: tuple[Decision, ...] = ()) -> Proposal:
    return next(one for one in proposals(ANKLE, history, decisions) if one.exercise == "heel_lowering")


def unmet(proposal: Proposal) -> list[str]:
    return [one.key for one in proposal.clauses if not one.met]


def test_two_sessions_at_the_top_with_little_pain_and_effort_are_proposed_with_their_evidence() -> None:
    found = heel(past(2), past(1))

    assert (found.from_level, found.to_level, found.due) == ("both_hands", "fingertips", True)
    assert [one.key for one in found.clauses] == [
        "step_sessions", "step_days", "step_top", "step_pain", "step_effort", "step_unsteady", "step_next_day_pending",
    ]  # fmt: skip
    assert dict(found.clauses[0].values) == {
        "needed": 2, "found": 2, "days": "2027-01-29, 2027-01-30", "level": "both_hands",
    }  # fmt: skip


@pytest.mark.parametrize(
    ("done", "missing"),
    [
        (replace(TOP, target=11, least=11), ["step_top"]),
        (replace(TOP, least=11), ["step_top"]),
        (replace(TOP, least=None), ["step_top"]),
        (replace(TOP, sets_in_full=1), ["step_top"]),
        (replace(TOP, eased=True), ["step_top"]),
        (replace(TOP, pain=3), ["step_pain"]),
        (replace(TOP, pain=None), ["step_pain_unknown"]),
        (replace(TOP, pain_unanswered=True), ["step_pain_unknown"]),
        (replace(TOP, effort=7), ["step_effort"]),
        (replace(TOP, effort=None), ["step_effort_unknown"]),
        (replace(TOP, unsteady=True), ["step_unsteady"]),
    ],
)
def test_one_session_that_lacks_one_thing_is_enough_to_wait(done: PastExercise, missing: list[str]) -> None:
    def lacking(*history: PastSession) -> list[str]:
        return [key for key in unmet(heel(*history)) if key != "step_days"]  # too much pain begins the days anew, too

    assert lacking(past(2, done), past(1)) == missing
    assert lacking(past(2), past(1, done)) == missing
    assert heel(past(3, done), past(2), past(1)).due, "the sessions before the last two do not count"


def test_one_session_alone_meets_nothing_that_needs_two() -> None:
    assert unmet(heel(past(1))) == [one.key for one in heel(past(1)).clauses]
    assert not heel().due


def test_a_worse_morning_or_one_that_is_not_known_waits_but_not_the_one_that_is_still_to_come() -> None:
    assert unmet(heel(past(2), past(1, worse=True))) == ["step_next_day_pending"]
    assert unmet(heel(past(2), past(1, worse=None))) == ["step_next_day_pending"]

    told = PastSession(DAY, "screen", (), began=f"{DAY}T10:00:00.000+00:00", next_day_worse=True)
    assert unmet(heel(past(2), past(1), told)) == ["step_next_day"]


def test_an_unreadable_session_is_no_evidence_and_interrupts_the_evidence() -> None:
    def lost(days_ago: int) -> PastSession:
        return replace(past(days_ago), why="", exercises=(), next_day_worse=None, unread=True)

    assert "step_pain_unknown" in unmet(heel(past(3), past(2), lost(1)))
    assert "step_pain_unknown" in unmet(heel(past(3), lost(2), past(1)))
    assert heel(lost(3), past(2), past(1)).due, "the sessions before the last two do not count"


@pytest.mark.parametrize("verdict", [Verdict.STAY, Verdict.UP, Verdict.DOWN])
def test_sessions_before_a_decision_are_no_evidence_any_more(verdict: Verdict) -> None:
    day = DAY - timedelta(days=1)
    to = {Verdict.UP: "fingertips"}.get(verdict, "both_hands")
    decision = Decision(
        ANKLE.id, "heel_lowering", verdict, "both_hands", to, "Kim Rivers", "", f"{day}T12:00:00.000+00:00", day
    )

    found = heel(past(2), past(1), decisions=(decision,))

    assert not found.due
    assert dict(found.clauses[0].values)["found"] == 0
    assert found.from_level == to


def test_effort_that_the_program_never_asks_for_is_no_obstacle() -> None:
    silent = replace(ANKLE, ask_effort=AskAfter.NEVER)
    done = replace(TOP, effort=None)

    found = proposals(silent, (past(2, done), past(1, done)))[0]

    assert found.due
    assert "step_effort_not_asked" in [one.key for one in found.clauses]


def test_nothing_is_proposed_at_the_hardest_level_without_a_rule_or_before_it_has_joined() -> None:
    knee = read(shipped()["kneecap_steady"])
    single = replace(ANKLE, exercises=(replace(ANKLE.exercises[0], levels=ANKLE.exercises[0].levels[:1]),))
    ruleless = replace(ANKLE, exercises=(replace(ANKLE.exercises[0], step_up=None),))

    assert proposals(single, (past(2), past(1))) == ()
    assert proposals(ruleless, (past(2), past(1))) == ()
    waiting = {exercise.id for exercise in knee.exercises if exercise.joins_after}
    assert waiting
    assert waiting.isdisjoint(one.exercise for one in proposals(knee, ()) if one.verdict is Verdict.UP)


def test_after_a_gap_the_lower_level_has_no_evidence_yet() -> None:
    day = DAY - timedelta(days=25)
    up = Decision(
        ANKLE.id, "heel_lowering", Verdict.UP, "both_hands", "fingertips", "Kim Rivers", "", f"{day}T09:00:00", day
    )
    high = replace(TOP, level="fingertips")
    history = (past(21, high), past(20, high))

    assert proposals(ANKLE, history, (up,))[0].due
    after = proposals(ANKLE, history, (up,), DAY)[0]
    assert (after.from_level, after.due) == ("both_hands", False)


def weekly(*history: PastSession) -> Proposal:
    return next(one for one in proposals(SHIPPED, history, (), DAY) if one.exercise == "heel_lowering")


def test_sessions_on_two_days_are_no_evidence_and_a_week_of_them_is() -> None:
    few = weekly(past(2), past(1))
    assert not few.due
    assert unmet(few) == ["step_days"]
    (span,) = (dict(one.values) for one in few.clauses if one.key == "step_days")
    assert span == {"needed": 7, "found": 1, "since": "2027-01-29"}

    assert unmet(weekly(past(7), past(1))) == ["step_days"]
    assert weekly(past(8), past(1)).due
    assert weekly(past(8, replace(TOP, least=9, target=9)), past(2), past(1)).due, (
        "the amounts may have grown meanwhile"
    )


def test_the_days_begin_anew_after_a_session_that_hurt_was_unsteady_or_is_not_known() -> None:
    for changes in ({"pain": 3}, {"unsteady": True}, {"pain": None}, {"pain_unanswered": True}):
        assert unmet(weekly(past(9), past(5, replace(TOP, **changes)), past(2), past(1))) == ["step_days"]
    assert unmet(weekly(past(9), replace(past(5), unread=True, exercises=()), past(2), past(1))) == ["step_days"]


def test_a_session_with_a_date_in_the_future_adds_no_day() -> None:
    assert unmet(weekly(past(3), past(-400))) == ["step_days"]


@given(st.integers(0, 2**32), st.integers(0, 30))
def test_a_session_that_hurt_put_in_anywhere_makes_no_step_up_due(seed: int, days_ago: int) -> None:
    chance = Random(seed)
    program = random_program(chance)
    history, decisions = random_history(chance, program, DAY), random_decisions(chance, program, DAY)
    hurt = tuple(
        PastExercise(each.id, chance.choice(each.levels).id, chance.randint(1, 30), 2, 2,
                     chance.randint(program.limits.pain_carry_on_to + 1, 10), None, unsteady=False)
        for each in program.exercises if chance.random() < 0.7
    )  # fmt: skip
    due = {(one.exercise, one.verdict) for one in proposals(program, history, decisions, DAY) if one.due}
    was_in = {(one.exercise.id, Verdict.ADMIT) for one in plan(program, history, DAY, decisions).exercises}

    more = (*history, PastSession(DAY - timedelta(days=days_ago), "done", hurt))

    now_due = {(one.exercise, one.verdict) for one in proposals(program, more, decisions, DAY) if one.due}
    assert now_due <= due | was_in, "what the session took out may be admitted again"


@given(st.integers(0, 2**32))
def test_whatever_happened_a_proposal_is_one_level_up_and_due_only_on_known_evidence(seed: int) -> None:
    chance = Random(seed)
    program = random_program(chance)
    history = random_history(chance, program, DAY)
    decisions = random_decisions(chance, program, DAY)

    for found in proposals(program, history, decisions, DAY):
        exercise = program.exercise(found.exercise)
        ids = [level.id for level in exercise.levels]
        if found.verdict is Verdict.ADMIT:
            assert found.from_level == found.to_level
            assert exercise.joins_after is not None
            continue
        assert ids.index(found.to_level) == ids.index(found.from_level) + 1
        assert exercise.step_up is not None
        if found.due:
            done = [
                d for s in history for d in s.exercises if d.exercise == exercise.id and d.level == found.from_level
            ]
            calm = [d for d in done if d.pain is not None and d.pain <= exercise.step_up.pain_to and not d.unsteady]
            assert len(calm) >= exercise.step_up.sessions
