"""Before the work the coach asks how near each goal is; it never insists, and no answer changes the work."""

from __future__ import annotations

from dataclasses import replace

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scenes import DAY, RAISE, come_to, lines, made

from coach.session.events import On
from coach.session.past import Goal
from coach.session.plan import Today, plan
from coach.session.state import State
from coach.testing import WatchedRun

GOALS = (Goal("stairs", "carry the shopping upstairs"), Goal("dance", "dance on Sundays"))


def today(*goals: Goal, heard: bool = True) -> Today:
    return replace(plan(made(RAISE), (), DAY), goals=goals, numbers_heard=heard)


def at_goals(*goals: Goal) -> WatchedRun:
    return come_to(WatchedRun(today(*goals)), State.RATING)


def answers(run: WatchedRun) -> list[tuple[str, object]]:
    return [(line["question"], line["value"]) for line in lines(run, "answered") if "goal" in line["question"]]


def test_each_goal_is_asked_about_and_its_number_kept_before_the_first_exercise() -> None:
    run = at_goals(*GOALS)
    run.say(On.NUMBER, 4)
    come_to(run, State.RATING)
    run.say(On.NUMBER, 7)

    assert run.session.state is State.INTRO
    assert answers(run) == [("goal.stairs", 4), ("goal.dance", 7)]
    assert [line["question"] for line in lines(run, "asked") if "goal" in line["question"]] == [
        "goal.stairs",
        "goal.dance",
    ]


@pytest.mark.parametrize("silence", [On.NO, On.TIME_UP, On.SPOKE])
def test_a_goal_that_nobody_rates_is_passed_over_and_the_session_goes_on(silence: On) -> None:
    run = at_goals(GOALS[0])
    while run.session.state is State.RATING:
        if run.agenda.talking or silence is On.TIME_UP:
            run.step()
        else:
            run.say(silence)

    assert run.session.state is State.INTRO
    assert answers(run) == []
    assert [line["question"] for line in lines(run, "unanswered")] == ["goal.stairs"]


def test_a_halt_in_the_questions_about_goals_asks_the_same_one_again() -> None:
    run = at_goals(*GOALS)
    run.say(On.NUMBER, 4)
    come_to(run, State.RATING)
    run.say(On.STOP)
    run.say(On.BREAK)
    run.say(On.READY)

    assert (run.session.state, run.session.goal) == (State.RATING, GOALS[1])


def test_whose_numbers_are_not_heard_is_not_asked_for_one() -> None:
    run = come_to(WatchedRun(today(*GOALS, heard=False)), State.SETUP)

    assert "goal" not in str([line["question"] for line in lines(run, "asked")])


@settings(max_examples=20)
@given(st.integers(0, 10))
def test_no_rating_changes_the_work(number: int) -> None:
    run = at_goals(GOALS[0])
    before = (run.session.levels, run.session.targets)
    run.say(On.NUMBER, number)

    assert (run.session.levels, run.session.targets, run.session.worst_pain) == (*before, None)
