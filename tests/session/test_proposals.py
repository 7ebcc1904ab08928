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
from coach.session.proposals import Proposal, proposals
from coach.testing import random_decisions, random_history, random_program

DAY = date(2027, 1, 31)
ANKLE = read(shipped()["ankle_steady"])
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
        "step_sessions", "step_top", "step_pain", "step_effort", "step_unsteady", "step_next_day_pending",
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
    assert unmet(heel(past(2, done), past(1))) == missing
    assert unmet(heel(past(2), past(1, done))) == missing
    assert heel(past(3, done), past(2), past(1)).due, "the sessions before the last two do not count"


def test_one_session_alone_meets_nothing_that_needs_two() -> None:
    assert unmet(heel(past(1))) == [one.key for one in heel(past(1)).clauses]
    assert not heel().due


def test_a_worse_morning_or_one_that_is_not_known_waits_but_not_the_one_that_is_still_to_come() -> None:
    assert unmet(heel(past(2), past(1, worse=True))) == ["step_next_day_pending"]
    assert unmet(heel(past(2), past(1, worse=None))) == ["step_next_day_pending"]

    told = PastSession(DAY, "screen", (), began=f"{DAY}T10:00:00.000+00:00", next_day_worse=True)
    assert unmet(heel(past(2), past(1), told)) == ["step_next_day"]


def test_a_session_that_cannot_be_read_is_no_evidence_and_stands_between_what_is() -> None:
    def lost(days_ago: int) -> PastSession:
        return replace(past(days_ago), why="", exercises=(), next_day_worse=None, unread=True)

    assert "step_pain_unknown" in unmet(heel(past(3), past(2), lost(1)))
    assert "step_pain_unknown" in unmet(heel(past(3), lost(2), past(1)))
    assert heel(lost(3), past(2), past(1)).due, "the sessions before the last two do not count"


@pytest.mark.parametrize("verdict", [Verdict.STAY, Verdict.UP, Verdict.DOWN])
def test_what_was_before_a_decision_is_no_evidence_any_more(verdict: Verdict) -> None:
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
    assert waiting.isdisjoint(one.exercise for one in proposals(knee, ()))


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


@given(st.integers(0, 2**32))
def test_whatever_happened_a_proposal_is_one_level_up_and_due_only_on_known_evidence(seed: int) -> None:
    chance = Random(seed)
    program = random_program(chance)
    history = random_history(chance, program, DAY)
    decisions = random_decisions(chance, program, DAY)

    for found in proposals(program, history, decisions, DAY):
        exercise = program.exercise(found.exercise)
        ids = [level.id for level in exercise.levels]
        assert ids.index(found.to_level) == ids.index(found.from_level) + 1
        assert exercise.step_up is not None
        if found.due:
            done = [
                d for s in history for d in s.exercises if d.exercise == exercise.id and d.level == found.from_level
            ]
            calm = [d for d in done if d.pain is not None and d.pain <= exercise.step_up.pain_to and not d.unsteady]
            assert len(calm) >= exercise.step_up.sessions
