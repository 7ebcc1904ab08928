"""What lies exactly on a limit, and what is kept of a halt in places where little is to be said of it."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from typing import Any

import pytest
from scenes import RAISE, begun, come_to, keys, lines, made, work_until

from coach.program.model import Action, AskAfter, Program, Range, ScreenQuestion
from coach.session.events import On
from coach.session.state import Question, State
from coach.tempo.units import RATE
from coach.testing import WatchedRun


@pytest.mark.parametrize("ending", [True, False])
@pytest.mark.parametrize("reply", [On.YES, On.NO])
def test_only_the_answer_that_the_program_names_ends_the_session_before_it_begins(reply: On, ending: bool) -> None:
    question = ScreenQuestion("fever", "Do you have a fever?", ending, Action.END_SESSION)
    run = come_to(begun(made(RAISE, change=lambda program: replace(program, screen=(question,)))), State.SCREENING)
    run.say(reply)

    ends = (reply is On.YES) is ending
    ended = (State.CLOSING, "screen") if ends else (State.SCREEN_CHECK, None)
    assert (run.session.state, run.session.end_why) == ended


@pytest.mark.parametrize("action", [Action.NOTE, Action.EASE])
def test_an_answer_that_is_to_be_noted_or_eased_ends_nothing(action: Action) -> None:
    question = ScreenQuestion("fever", "Do you have a fever?", True, action)
    run = come_to(begun(made(RAISE, change=lambda program: replace(program, screen=(question,)))), State.SCREENING)
    run.say(On.YES)

    assert (run.session.state, run.session.end_why) == (State.SCREEN_CHECK, None)


def asked(question: Question, **limits: Any) -> WatchedRun:
    """Return a session of two levels that has just begun to ask about its first set."""
    each = AskAfter.EACH_SET
    by_question: dict[Question, Callable[[Program], Program]] = {
        Question.PAIN: lambda program: replace(program, ask_pain=each),
        Question.EFFORT: lambda program: replace(program, ask_effort=each),
    }
    return come_to(begun(made(RAISE, RAISE, change=by_question[question], **limits)), State.ASKING)


def answer(run: WatchedRun, number: int) -> None:
    run.say(On.NUMBER, number)
    run.say(On.YES)


@pytest.mark.parametrize(("effort", "level"), [(7, 1), (8, 0)])
def test_an_effort_on_the_limit_eases_nothing_and_one_above_it_does(effort: int, level: int) -> None:
    run = asked(Question.EFFORT, effort_ease_above=7)
    answer(run, effort)

    assert run.session.level == level


def test_a_pain_within_its_limit_does_not_ease_like_an_effort() -> None:
    run = asked(Question.PAIN, effort_ease_above=1, pain_carry_on_to=4, pain_ease_to=6)
    answer(run, 4)

    assert run.session.level == 1


@pytest.mark.parametrize("second", [0, 3])
def test_the_worst_pain_of_a_session_is_the_worst_that_was_stated_whatever_follows(second: int) -> None:
    run = asked(Question.PAIN, pain_carry_on_to=4, pain_ease_to=6)
    answer(run, 2)
    come_to(run, State.ASKING)
    answer(run, second)

    assert run.session.worst_pain == max(2, second)


@pytest.mark.parametrize("state", [State.SETUP, State.WAITING, State.RESTING])
def test_a_halt_outside_of_a_set_names_no_rep_no_phase_and_no_set(state: State) -> None:
    run = come_to(begun(made(RAISE)), state)
    run.say(On.STOP)
    run.say(On.TIRED)

    halt, why = lines(run, "halted")[-1], lines(run, "halt_why")[-1]
    for line in (halt, why):
        assert not any(line.get(name) for name in ("rep", "phase", "set_id"))


def test_a_halt_before_the_exercises_names_none() -> None:
    run = come_to(begun(made(RAISE)), State.CHECKING)
    run.say(On.STOP)

    assert not any(
        lines(run, "halted")[-1].get(name) for name in ("exercise", "level", "set", "rep", "phase", "set_id")
    )


def test_a_halt_in_a_set_names_its_rep_its_phase_and_its_set_and_so_does_its_why() -> None:
    run = work_until(begun(made(RAISE)), On.PHASE, 2, 1)
    run.say(On.UNSTEADY)

    line = lines(run, "halt_why")[-1]
    assert (line["rep"], line["phase"], line["set_id"]) == (2, "lower", 1)


def prompts_until_it_ends(run: WatchedRun, why: str) -> int:
    """Return how often the halt's words are repeated to whoever says nothing more."""
    said = len(run.said)
    while not run.over and run.session.state is not State.CLOSING:
        assert run.step()
    assert run.session.end_why == why
    return keys(run)[said:].count("halt_nothing_heard") + keys(run)[said:].count("nothing_heard")


@pytest.mark.parametrize("quiet_before", [0, 1])
def test_after_a_halt_the_prompts_are_counted_from_zero(quiet_before: int) -> None:
    run = come_to(begun(made(RAISE)), State.WAITING)
    for _ in range(quiet_before):
        before = run.session.prompts
        while run.session.prompts == before:
            assert run.step()
    run.say(On.STOP)

    assert prompts_until_it_ends(run, "no_answer_halt") == 2


@pytest.mark.parametrize("pause", [On.PAUSE, On.BREAK])
def test_in_a_pause_the_prompts_are_counted_from_zero(pause: On) -> None:
    counts = []
    for quiet_before in (0, 2):
        run = come_to(begun(made(RAISE)), State.WAITING)
        while run.session.prompts < quiet_before:
            assert run.step()
        run.say(pause)
        counts.append(prompts_until_it_ends(run, "no_answer"))

    assert counts == [4, 4]


def test_the_coach_says_that_the_exercise_is_over_if_tired_cannot_ease_it() -> None:
    run = work_until(begun(made(replace(RAISE, count=Range(1, 1)), tired=Action.EASE)), On.PHASE, 1)
    run.say(On.TIRED)

    assert run.session.interruption is not None
    assert run.session.interruption.decision == "exercise_over"


@pytest.mark.parametrize("halts", [1, 2])
def test_tired_at_the_last_halt_ends_the_session_for_the_halts(halts: int) -> None:
    run = work_until(begun(made(RAISE, halts=halts, tired=Action.NOTE)), On.PHASE, 2)
    run.say(On.STOP)
    run.say(On.TIRED)

    assert run.session.end_why == ("halts" if halts == 1 else None)


def test_at_the_easiest_level_unsteady_ends_the_exercise_where_it_would_step_down() -> None:
    run = work_until(begun(made(RAISE, unsteady=Action.STEP_DOWN)), On.PHASE, 2)
    run.say(On.UNSTEADY)

    assert run.session.interruption is not None
    assert (run.session.exercise.over, run.session.interruption.decision) == ("unsteady", "unsteady_exercise")


def test_no_set_begins_from_the_very_sample_on_at_which_the_minutes_are_over() -> None:
    for early, state in ((1, State.LEAD_IN), (0, State.CLOSING)):
        run = come_to(begun(made(RAISE, minutes=20)), State.WAITING)
        run.now = run.session.began + 20 * 60 * RATE - early
        run.say(On.READY)

        assert run.session.state is state


def test_a_session_that_ends_in_a_rest_after_a_halt_does_not_name_the_halt_as_its_reason() -> None:
    run = work_until(begun(made(RAISE)), On.PHASE, 2)
    run.say(On.STOP)
    run.say(On.READY)
    come_to(run, State.RESTING)
    come_to(run, State.WAITING)

    assert prompts_until_it_ends(run, "no_answer") == 3
