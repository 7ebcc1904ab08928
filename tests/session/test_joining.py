"""An exercise joins, is taken out, paused and withdrawn by decisions and records; what hurts only takes it out."""

from __future__ import annotations

from dataclasses import replace
from datetime import date, timedelta
from typing import Any

import pytest

from coach.loglines.changes import Told
from coach.program.model import Program
from coach.program_files import read, shipped
from coach.session.commands import Record, Say
from coach.session.events import Event, On
from coach.session.joining import MemberStanding, carriers, membership
from coach.session.machine import handle
from coach.session.past import Decision, PastExercise, PastSession, Verdict
from coach.session.plan import PlannedExercise, Today, plan
from coach.session.progression import in_order
from coach.session.proposals import Proposal, proposals
from coach.session.state import begin
from coach.session.taken_up import Broken, BrokenExercise, take_up

DAY = date(2027, 1, 31)
KNEE = read(shipped()["kneecap_steady"])
LATER = next(each for each in KNEE.exercises if each.joins_after)
assert LATER.joins_after is not None
CARRIER = KNEE.exercise(LATER.joins_after.exercise)
NEEDED = LATER.joins_after.steady_sessions
SLIDE = PastExercise(CARRIER.id, CARRIER.start_level, 8, 3, 3, 0, 3, unsteady=False, least=8)
OWN = PastExercise(LATER.id, LATER.start_level, 8, 3, 3, 0, 3, unsteady=False, least=8)
JOINS = replace(LATER.joins_after, by_itself=True)
BY_ITSELF = replace(
    KNEE, exercises=tuple(replace(each, joins_after=JOINS) if each is LATER else each for each in KNEE.exercises)
)


Events = tuple[PastSession | Decision, ...]


def past(days_ago: int, *done: PastExercise, **more: Any) -> PastSession:
    day = DAY - timedelta(days=days_ago)
    return PastSession(day, "done", done or (SLIDE,), began=f"{day}T10:00:00.000+00:00", next_day_worse=False, **more)


def decided(days_ago: int, verdict: Verdict, until: int | None = None, exercise: str = LATER.id) -> Decision:
    day = DAY - timedelta(days=days_ago)
    end = None if until is None else DAY - timedelta(days=until)
    at = f"{day}T12:00:00.000Z"
    return Decision(KNEE.id, exercise, verdict, "", "", "Kim Rivers", "", at, day, until=end)


ADMIT, PAUSE, WITHDRAW = Verdict.ADMIT, Verdict.PAUSE, Verdict.WITHDRAW
WELL: tuple[PastSession, ...] = tuple(past(days) for days in (9, 7, 5, 3, 1))
"""Five steady sessions of the other exercise over eight days; four over seven are asked for."""


def today(*events: PastSession | Decision, program: Program = KNEE) -> Today:
    history = tuple(one for one in events if isinstance(one, PastSession))
    return plan(program, history, DAY, tuple(one for one in events if isinstance(one, Decision)))


def later(*events: PastSession | Decision, program: Program = KNEE) -> PlannedExercise | None:
    planned = today(*events, program=program).exercises
    return next((one for one in planned if one.exercise.id == LATER.id), None)


def standing(*events: PastSession | Decision, program: Program = KNEE) -> MemberStanding:
    history = in_order(tuple(one for one in events if isinstance(one, PastSession)))
    decisions = tuple(one for one in events if isinstance(one, Decision))
    return membership(program.exercise(LATER.id), program, history, decisions, DAY).standing


def proposed(*events: PastSession | Decision, program: Program = KNEE) -> Proposal | None:
    history = tuple(one for one in events if isinstance(one, PastSession))
    found = proposals(program, history, tuple(one for one in events if isinstance(one, Decision)), DAY)
    return next((one for one in found if one.exercise == LATER.id and one.verdict is ADMIT), None)


def unmet(*events: PastSession | Decision) -> list[str]:
    found = proposed(*events)
    assert found is not None
    return [one.key for one in found.clauses if not one.met]


# -- proposed, and admitted by a decision ------------------------------------------------------------------------------


def test_an_exercise_that_joins_is_proposed_like_a_step_up_and_waits_for_the_decision() -> None:
    found = proposed(*WELL)

    assert found is not None
    assert found.due
    assert [one.key for one in found.clauses] == [
        "join_sessions", "join_recent", "step_days", "step_pain", "step_effort", "step_unsteady",
        "step_next_day_pending",
    ]  # fmt: skip
    assert later(*WELL) is None
    assert [one.key for one in today(*WELL).because][:1] == ["because_waits_decision"]
    admitted = later(*WELL, decided(0, ADMIT))
    assert admitted is not None
    assert (admitted.level, admitted.news) == (0, ("news_admitted",))
    assert "because_admitted" in [one.key for one in admitted.because]


def test_good_sessions_of_a_lifetime_are_no_reason_to_join_only_those_in_a_row_and_recent_are() -> None:
    sore = past(2, replace(SLIDE, pain=2))

    assert "join_sessions" in unmet(*WELL[:3])
    assert unmet(*WELL, sore) == ["step_days", "step_pain"], "more than the step up of the other exercise allows"
    assert "join_recent" in unmet(*(past(days) for days in (30, 28, 26, 24, 22)))
    assert unmet(*(past(days) for days in (4, 3, 2, 1))) == ["step_days"]
    assert "step_effort" in unmet(*WELL[:4], past(1, replace(SLIDE, effort=9)))
    assert "join_sessions" in unmet(*WELL[:4], past(1, replace(SLIDE, sets_in_full=2)))
    assert "join_sessions" in unmet(*WELL, past(0, unread=True)), "nobody knows what was done in it"


@pytest.mark.parametrize("changes", [{"pain": 4}, {"unsteady": True}])
@pytest.mark.parametrize("program", [KNEE, BY_ITSELF], ids=["by decision", "by itself"])
def test_trouble_in_it_or_in_the_exercise_that_carries_it_takes_it_out_until_it_is_decided(
    program: Program, changes: dict[str, Any]
) -> None:
    joined: Events = (*WELL, decided(1, ADMIT))

    for trouble in (past(0, replace(SLIDE, **changes)), past(0, SLIDE, replace(OWN, **changes))):
        assert standing(*joined, trouble, program=program) is MemberStanding.TAKEN_OUT
        out = today(*joined, trouble, program=program)
        assert [one.news for one in out.left_out] == ["news_taken_out"]
        assert out.because[0].key.startswith("because_taken_out_")
        future = decided(-1, ADMIT)
        assert standing(*joined, trouble, future, program=program) is MemberStanding.TAKEN_OUT
    story: Events = (past(9), decided(9, ADMIT), past(8, replace(SLIDE, **changes)), *WELL[2:])
    assert standing(*story, program=program) is MemberStanding.TAKEN_OUT
    assert standing(*story, decided(0, ADMIT), program=program) is MemberStanding.IN


def test_pain_in_an_exercise_that_does_not_carry_it_leaves_it_in() -> None:
    other = next(each for each in KNEE.exercises if each.id not in (LATER.id, *carriers(LATER, KNEE)))
    sore = PastExercise(other.id, other.start_level, 8, 3, 3, 5, 3, unsteady=True)

    assert standing(*WELL, decided(1, ADMIT), past(0, sore)) is MemberStanding.IN


# -- by itself ---------------------------------------------------------------------------------------------------------


def test_by_itself_it_joins_at_the_session_that_completes_what_is_asked_for_and_is_told_once() -> None:
    joined = later(*WELL, program=BY_ITSELF)

    assert later(*WELL[:4], program=BY_ITSELF) is None
    assert joined is not None
    assert joined.news == ("news_joined",)
    done = later(*WELL, past(0, SLIDE, OWN), program=BY_ITSELF)
    assert done is not None
    assert done.news == ()
    assert later(*WELL, program=KNEE) is None


def test_by_itself_trouble_before_it_joins_leaves_it_to_a_decision() -> None:
    story: Events = (past(20, replace(SLIDE, pain=4)), *WELL)

    assert later(*story, program=BY_ITSELF) is None
    found = proposed(*story, program=BY_ITSELF)
    assert found is not None
    assert found.due
    assert later(*story, decided(0, ADMIT), program=BY_ITSELF) is not None


# -- paused and withdrawn ----------------------------------------------------------------------------------------------


def test_a_pause_leaves_out_until_its_day_or_a_decision_and_any_exercise_can_be_paused() -> None:
    joined: Events = (*WELL, decided(2, ADMIT))

    assert standing(*joined, decided(0, PAUSE)) is MemberStanding.PAUSED
    assert standing(*joined, decided(1, PAUSE, until=-1)) is MemberStanding.PAUSED
    assert standing(*joined, decided(1, PAUSE, until=0)) is MemberStanding.IN
    assert standing(*joined, decided(1, PAUSE), decided(0, ADMIT)) is MemberStanding.IN
    carried = [one.exercise.id for one in today(*WELL, decided(0, PAUSE, exercise=CARRIER.id)).exercises]
    assert CARRIER.id not in carried
    assert carried


def test_a_pause_that_is_over_brings_back_nothing_that_was_out_before() -> None:
    assert standing(*WELL, decided(2, PAUSE, until=0)) is MemberStanding.WAITS
    assert standing(*WELL, decided(3, WITHDRAW), decided(2, PAUSE, until=0)) is MemberStanding.WITHDRAWN
    sore = past(1, replace(SLIDE, pain=5))
    assert standing(*WELL[:4], decided(3, ADMIT), decided(2, PAUSE, until=0), sore) is MemberStanding.TAKEN_OUT


def test_what_is_withdrawn_comes_back_by_a_decision_alone_at_the_bottom_of_its_range() -> None:
    own = tuple(past(days, SLIDE, replace(OWN, target=10, least=10)) for days in (5, 4))
    story: Events = (*WELL[:2], decided(6, ADMIT), *own, decided(3, WITHDRAW), past(2), past(1))

    assert standing(*story) is MemberStanding.WITHDRAWN
    assert standing(*story, program=BY_ITSELF) is MemberStanding.WITHDRAWN
    assert proposed(*story) is None
    back = later(*story, decided(0, ADMIT))
    assert back is not None
    assert back.target == LATER.levels[0].dose.work.amount.low
    assert back.news == ("news_admitted",)


def test_each_is_told_once_at_the_beginning_of_the_next_session() -> None:
    joined: Events = (*WELL, decided(2, ADMIT))

    for verdict, key in ((PAUSE, "news_paused"), (WITHDRAW, "news_withdrawn")):
        planned = today(*joined, decided(0, verdict))
        assert [one.news for one in planned.left_out] == [key]
        _, commands = handle(begin(planned), Event(On.START, 0))
        said = [one.phrase for one in commands if isinstance(one, Say)]
        assert (key, (("name", LATER.name),)) in [(one.key, one.values) for one in said]
        told = [one.fact for one in commands if isinstance(one, Record) and isinstance(one.fact, Told)]
        assert [(LATER.id, (key,))] == [(it.exercise, it.news) for it in told]
        assert [one.news for one in today(*joined, decided(1, verdict), past(0)).left_out] == [""]


def test_whoever_comes_back_after_a_pause_is_told_so_once() -> None:
    story: Events = (*WELL[:2], decided(6, ADMIT), past(5, SLIDE, OWN), decided(4, PAUSE, until=1))
    back, done = later(*story), later(*story, past(0, SLIDE, OWN))

    assert back is not None
    assert back.news == ("news_back",)
    assert done is not None
    assert done.news == ()


def test_of_two_decisions_of_one_day_about_the_sessions_the_last_counts_beside_one_about_the_level() -> None:
    stay = replace(decided(0, Verdict.STAY), at=f"{DAY}T18:00:00.000Z", to_level=LATER.start_level)
    admit = replace(decided(0, ADMIT), at=f"{DAY}T15:00:00.000Z")

    assert standing(*WELL, decided(0, WITHDRAW), admit, stay) is MemberStanding.IN
    assert standing(*WELL, replace(admit, at=f"{DAY}T10:00:00.000Z"), decided(0, WITHDRAW)) is MemberStanding.WITHDRAWN


# -- a session that broke off ------------------------------------------------------------------------------------------


def test_a_session_that_is_taken_up_does_not_bring_what_is_left_out_since() -> None:
    joined: Events = (*WELL, decided(2, ADMIT))
    broken = Broken(
        "s", KNEE.digest, 60.0,
        tuple(
            BrokenExercise(each.id, each.start_level, 8, each.start_level, 8, begun=((1, ""),) * (at == 0))
            for at, each in enumerate(KNEE.exercises)
        ),
    )  # fmt: skip

    whole, out = take_up(today(*joined), broken), take_up(today(*joined, decided(0, PAUSE)), broken)

    assert whole is not None
    assert out is not None
    assert LATER.id in [one.exercise.id for one in whole.exercises]
    assert LATER.id not in [one.exercise.id for one in out.exercises]
