"""What closing a set, and taking a session up, leave to be asked and done."""

from __future__ import annotations

from dataclasses import replace

import pytest
from scenes import BASE, DAY, RAISE, begun, come_to, keys, lines, made, work_until

from coach.program.model import AskAfter, Program
from coach.session.events import On
from coach.session.plan import TakenUp, plan
from coach.session.sets import more_sets
from coach.session.state import OpenExercise, State
from coach.tempo.units import to_samples
from coach.testing import WatchedRun


def asking(program: Program) -> Program:
    return replace(program, ask_pain=AskAfter.EACH_SET, ask_effort=AskAfter.EACH_SET)


def taken_up(program: Program) -> WatchedRun:
    """Return a session of two exercises that is taken up behind the first of two sets of the first."""
    today = plan(program, (), DAY)
    levels, targets = zip(*((one.level, one.target) for one in today.exercises), strict=True)
    before = TakenUp(
        "first", 0, 0, levels, targets, over="", stretch=1.0, cut_sets=0, halts=0, seconds=60.0, sore=False
    )  # fmt: skip
    return WatchedRun(replace(today, taken_up=before))


def test_a_set_that_a_halt_cut_short_is_not_asked_how_hard_it_was() -> None:
    run = work_until(begun(made(RAISE, change=asking)), On.PHASE, 2)
    run.say(On.TIRED)
    run.say(On.READY)
    come_to(run, State.ASKING)
    run.say(On.NUMBER, 1)
    run.say(On.YES)

    assert run.session.state is State.RESTING
    assert [line["question"] for line in lines(run, "answered")] == ["pain"]
    assert "ask_effort" not in keys(run)


def test_a_question_left_out_after_a_halt_is_not_recorded_as_unanswered() -> None:
    run = WatchedRun(replace(plan(made(RAISE, change=asking), (), DAY), numbers_heard=False))
    work_until(run, On.PHASE, 2).say(On.TIRED)

    assert not lines(run, "unanswered")


@pytest.mark.parametrize(("when", "sets"), [(AskAfter.EACH_SET, [1, 2]), (AskAfter.EACH_EXERCISE, [2])])
def test_questions_after_an_exercise_come_after_its_last_set_only(when: AskAfter, sets: list[int]) -> None:
    run = begun(made(RAISE, change=lambda program: replace(program, ask_pain=when)))
    while run.session.state is not State.CLOSING:
        come_to(run, State.SET_END)
        while run.session.state is State.SET_END:
            run.step()
        if run.session.state is State.ASKING:
            run.say(On.NUMBER, 1)
            run.say(On.YES)

    assert [line["set_id"] for line in lines(run, "answered")] == sets


@pytest.mark.parametrize("counted", [0, 1])
def test_reps_are_asked_about_only_where_one_was_counted(counted: int) -> None:
    asks = lambda program: replace(program, ask_reps=AskAfter.EACH_SET)  # noqa: E731
    run = work_until(begun(made(RAISE, change=asks)), On.PHASE, counted + 1)
    run.say(On.ENOUGH)
    while run.session.state is State.SET_END:
        run.step()

    assert (run.session.state is State.ASKING) is bool(counted)


@pytest.mark.parametrize(("pain", "eased"), [(3, []), (5, ["exercise_0"])])
def test_pain_told_before_a_session_goes_on_eases_the_exercise_that_goes_on(pain: int, eased: list[str]) -> None:
    run = come_to(taken_up(made(RAISE, RAISE, exercises=2, pain_carry_on_to=3, pain_ease_to=5)), State.ASKING)
    run.say(On.NUMBER, pain)
    run.say(On.YES)

    assert run.session.state is State.RESTING
    assert [line["exercise"] for line in lines(run, "eased")] == eased


def test_a_session_taken_up_rests_after_its_answers_and_announces_no_level_again() -> None:
    screen = lambda program: replace(program, screen=(BASE.screen[1],))  # noqa: E731
    run = come_to(taken_up(made(RAISE, RAISE, exercises=2, change=screen)), State.SCREENING)
    run.say(On.YES)
    run.say(On.YES)
    confirmed = run.now
    come_to(run, State.ASKING)
    run.say(On.NUMBER, 0)
    run.say(On.YES)

    assert run.session.rest_until - confirmed == to_samples(45.0)
    run.say(On.EASIER)
    assert [line["what"] for line in lines(run, "eased")] == ["level", "level", "amount"]
    assert {"eased_amount", "eased_level"} & set(keys(run)) == {"eased_amount"}


def test_what_is_taken_up_is_in_its_exercises_from_its_first_question_on() -> None:
    run = taken_up(made(RAISE, exercises=2))
    come_to(run, State.ASKING)

    assert run.session.exercising


@pytest.mark.parametrize(("exercise", "more"), [(OpenExercise(), True), (OpenExercise(turn=1), False),
                                                (OpenExercise(over="tired"), False)])  # fmt: skip
def test_a_set_comes_after_this_one_unless_it_is_the_last_or_the_exercise_is_over(
    exercise: OpenExercise, more: bool
) -> None:
    assert more_sets(replace(begun(made(RAISE)).session, exercise=exercise)) is more
