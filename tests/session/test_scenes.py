"""Scenes of the work that are easily got wrong: holding, sides, tempo, easing, rests, the minutes."""

from __future__ import annotations

from dataclasses import replace

import pytest
from scenes import BASE, DAY, RAISE, begun, come_to, keys, lines, made, work_until

from coach.program.model import Action, AskAfter, Hold, Range, Sides
from coach.session.events import On
from coach.session.plan import plan
from coach.session.state import Question, State
from coach.tempo.units import to_samples
from coach.testing import WatchedRun
from coach.voice.pack import load_pack
from coach.words.phrases import sentence

# -- holding --


def test_speech_that_nobody_understood_lets_the_phase_run_out_and_counts_a_rep_that_it_completed() -> None:
    run = work_until(begun(made(RAISE)), On.PHASE, 2, phase=1)
    run.now += to_samples(1.0)
    run.say(On.SPOKE)
    spoke = run.now
    run.step()

    assert run.session.state is State.STILL
    assert run.now == spoke + to_samples(2.0)
    assert run.session.open_set is not None
    assert run.session.open_set.counted == 2


def test_a_rep_of_one_phase_counts_where_that_phase_ran_out() -> None:
    run = work_until(begun(made(replace(RAISE, phases=RAISE.phases[1:]))), On.PHASE, 2)
    run.say(On.SPOKE)
    run.step()

    assert run.session.state is State.STILL
    assert run.session.open_set is not None
    assert run.session.open_set.counted == 2


def test_a_rep_that_was_held_in_its_middle_is_done_again_from_its_start() -> None:
    run = work_until(begun(made(RAISE)), On.PHASE, 2)
    run.say(On.SPOKE)
    run.step()
    run.say(On.READY)
    work_until(run, On.PHASE, 2)

    assert run.session.open_set is not None
    assert (run.session.open_set.rep, run.session.open_set.counted) == (2, 1)


def test_speech_in_the_last_phase_of_a_set_ends_the_set_in_full() -> None:
    run = work_until(begun(made(RAISE)), On.PHASE, 3, phase=1)
    run.say(On.SPOKE)
    run.step()

    assert run.session.state is State.SET_END
    assert [(line["why"], line["counted"]) for line in lines(run, "set_ended")] == [("done", 3)]


# -- alternating sides --


def test_a_set_of_two_sides_is_taken_up_on_the_side_that_was_interrupted() -> None:
    run = work_until(begun(made(RAISE, sides=Sides.ALTERNATING)), On.PHASE, 2, phase=1, side="left")
    run.say(On.STOP)
    run.say(On.BREAK)
    run.say(On.READY)
    come_to(run, State.WORKING)
    run.step()

    assert run.session.open_set is not None
    assert (run.session.open_set.rep, run.session.open_set.side, run.session.open_set.counted) == (2, "left", 3)


@pytest.mark.parametrize(
    ("sides", "limbs", "told"),
    [
        (Sides.AFFECTED, ("", ""), ["The right side."]),
        (Sides.AFFECTED, ("leg stands", ""), ["Right leg stands."]),
        (Sides.EACH, ("leg stands", "foot reaches"), ["Right leg stands, left foot reaches."]),
        (Sides.ALTERNATING, ("", ""), ["That is for each side.", "Both sides in turn. The right side begins."]),
        (Sides.ALTERNATING, ("leg reaches", ""), [
            "That is for each side.", "Both sides in turn. The right side begins.", "Right leg reaches."]),
        (Sides.BOTH, ("", ""), []),
    ],
)  # fmt: skip
def test_before_a_set_it_is_said_what_each_side_does_and_whether_the_number_is_for_each(
    sides: Sides, limbs: tuple[str, str], told: list[str]
) -> None:
    program = made(RAISE, sides=sides)
    one = replace(program.exercises[0], this_side=limbs[0], other_side=limbs[1])
    run = come_to(begun(replace(program, exercises=(one, *program.exercises[1:]))), State.WAITING)

    keys = ("side", "limb", "begin_with")
    assert [sentence(load_pack("en"), said) for said in run.said if any(key in said.key for key in keys)] == told


def test_an_alternating_hold_is_held_on_one_side_after_the_other() -> None:
    run = begun(made(Hold(Range(5, 5)), sides=Sides.ALTERNATING, sets=(1,)))
    come_to(run, State.CLOSING)

    assert [(line["side"], line["counted"], line["why"]) for line in lines(run, "set_ended")] == [
        ("right", 5, "done"), ("left", 5, "done"),
    ]  # fmt: skip


# -- slower, how many left --


@pytest.mark.parametrize("side", ["right", "left"])
@pytest.mark.parametrize("phase", [0, 1])
@pytest.mark.parametrize("times", [1, 2])
def test_slower_changes_the_tempo_from_the_next_rep_on_wherever_it_is_said(side: str, phase: int, times: int) -> None:
    run = work_until(begun(made(RAISE, sides=Sides.ALTERNATING)), On.PHASE, 1, phase=phase, side=side)
    began = run.session.open_set
    assert began is not None
    for _ in range(times):
        run.say(On.SLOWER)
    run.say(On.LEFT)
    work_until(run, On.PHASE, 2)

    assert run.session.open_set is not None
    assert run.now == began.rep_until
    assert run.session.open_set.counted == 2
    assert run.session.open_set.phase_until - run.now == to_samples(1.25**times)
    while run.session.state is State.WORKING:
        run.step()
    assert lines(run, "set_ended")[-1]["counted"] == 6


def test_slower_in_a_hold_changes_nothing_and_writes_nothing() -> None:
    run = work_until(begun(made(Hold(Range(10, 10)))), On.SECOND, 2)
    run.say(On.SLOWER)

    assert run.session.state is State.WORKING
    assert run.session.exercise.stretch == 1.0
    assert not lines(run, "eased")


def test_slower_has_a_bound_and_what_changes_nothing_is_not_recorded() -> None:
    run = come_to(begun(made(RAISE)), State.WAITING)
    for _ in range(9):
        run.say(On.SLOWER)

    assert run.session.exercise.stretch == 2.0
    assert len(lines(run, "eased")) == 4


def test_how_many_are_left_is_told_in_a_hold_at_once() -> None:
    run = work_until(begun(made(Hold(Range(20, 20)))), On.SECOND, 3)
    run.say(On.LEFT)

    assert run.said[-1].key == "hold_left"
    assert dict(run.said[-1].values)["n"] == 15


# -- easing --


def test_a_question_about_a_set_is_about_the_work_that_was_done_not_about_the_easier_one_that_comes() -> None:
    asking = lambda program: replace(program, ask_reps=AskAfter.EACH_SET)  # noqa: E731
    run = work_until(begun(made(Hold(Range(10, 20)), RAISE, change=asking)), On.PHASE, 2)
    run.say(On.EASIER)
    come_to(run, State.ASKING)

    assert run.session.level == 0
    assert "ask_reps_reps" in keys(run)
    run.say(On.NO)
    assert run.session.asked_about is Question.MISSED
    assert run.session.target == 10


def test_if_nothing_is_easier_the_exercise_is_over_and_the_coach_says_so() -> None:
    run = come_to(begun(made(replace(RAISE, count=Range(1, 1)), exercises=2)), State.WAITING)
    run.say(On.EASIER)
    come_to(run, State.INTRO)

    assert run.session.exercise.index == 1
    assert "exercise_over" in keys(run)
    assert lines(run, "exercise_ended") == [{"exercise": "exercise_0", "why": "eased"}]
    assert not lines(run, "eased")


def test_an_easier_level_with_fewer_sets_brings_no_further_set() -> None:
    run = begun(made(RAISE, RAISE, sets=(1, 2)))
    come_to(run, State.RESTING)
    come_to(run, State.WAITING)
    run.say(On.EASIER)
    come_to(run, State.CLOSING)

    assert run.session.end_why == "done"
    assert run.session.sets_begun == 1
    assert "exercise_over" in keys(run)
    assert not {"eased_amount", "eased_level"} & set(keys(run))
    assert lines(run, "exercise_ended") == [{"exercise": "exercise_0", "why": "eased"}]


def test_no_next_set_is_promised_after_the_last_one() -> None:
    run = work_until(begun(made(RAISE, sets=(1,))), On.PHASE, 2)
    run.say(On.EASIER)

    assert not {"eased_amount", "eased_level"} & set(keys(run))


@pytest.mark.parametrize(("counted", "why", "in_full"), [(1, "cut", 0), (2, "enough", 1)])
def test_as_many_as_stay_steady_may_be_ended_from_the_floor_on(counted: int, why: str, in_full: int) -> None:
    today = plan(made(replace(RAISE, count=Range(2, 9, steady=True))), (), DAY)
    later = replace(today, exercises=(replace(today.exercises[0], target=5),))
    run = work_until(WatchedRun(later), On.PHASE, counted + 1)
    run.say(On.ENOUGH)

    assert [(line["why"], line["counted"]) for line in lines(run, "set_ended")] == [(why, counted)]
    assert run.session.sets_done == in_full


# -- rests --


def test_questions_run_in_the_rest_and_do_not_lengthen_it() -> None:
    asking = lambda program: replace(program, ask_pain=AskAfter.EACH_SET)  # noqa: E731
    run = work_until(begun(made(RAISE, change=asking)), On.PHASE, 2)
    run.say(On.ENOUGH)
    ended = run.now
    come_to(run, State.ASKING)
    run.now = ended + to_samples(44.0)
    run.say(On.NUMBER, 0)
    run.say(On.YES)
    come_to(run, State.WAITING)

    assert run.now - ended == to_samples(45.0)


def test_an_exercise_that_ends_between_two_sides_still_brings_its_whole_rest() -> None:
    program = made(RAISE, sides=Sides.EACH, exercises=2, unsteady=Action.END_EXERCISE)
    run = come_to(begun(program), State.RESTING)
    ended = run.session.rest_from
    assert run.session.rest_until - ended == to_samples(program.exercises[0].levels[0].dose.change_sides)
    run.say(On.UNSTEADY)
    run.say(On.READY)
    come_to(run, State.INTRO)

    assert run.now - ended == to_samples(45.0)


# -- before the work, and the minutes --


def test_answers_before_the_start_that_are_denied_again_and_again_end_the_session() -> None:
    run = begun(replace(made(RAISE), screen=BASE.screen[1:]))
    for _ in range(3):
        come_to(run, State.SCREENING)
        run.say(On.NO)
        run.say(On.NO)

    assert run.session.state is State.CLOSING
    assert run.session.end_why == "screen"


def test_no_set_begins_when_the_minutes_are_over() -> None:
    run = come_to(begun(made(RAISE, minutes=1)), State.WAITING)
    run.now = to_samples(60.0)
    run.say(On.READY)

    assert run.session.end_why == "time"


def test_who_says_ready_again_and_again_and_never_how_much_it_hurts_comes_to_an_end() -> None:
    asks = made(RAISE, minutes=5, change=lambda program: replace(program, ask_pain=AskAfter.EACH_SET))
    run = come_to(begun(asks), State.ASKING)
    while run.session.state is not State.CLOSING:
        assert run.now < to_samples(8 * 60.0), "asked about pain for ever"
        if run.session.state is State.PAUSED and not run.agenda.talking:
            run.say(On.READY)
        else:
            run.step()

    assert run.session.end_why == "time"


def test_a_set_that_runs_is_not_cut_by_the_minutes() -> None:
    run = work_until(begun(made(RAISE, minutes=1)), On.PHASE, 2)
    run.say(On.STOP)
    run.now = to_samples(70.0)
    run.say(On.BREAK)
    run.say(On.READY)

    assert run.session.state is State.LEAD_IN


@pytest.mark.parametrize("state", [State.WORKING, State.RESTING, State.WAITING, State.SET_END, State.LEAD_IN])
def test_finishing_closes_an_open_set_and_the_session(state: State) -> None:
    run = come_to(begun(made(RAISE)), state)
    run.say(On.FINISH)
    while not run.over:
        run.step()

    assert lines(run, "session_ended")[0]["why"] == "asked"
    assert len(lines(run, "set_ended")) == len(lines(run, "set_begun"))


@pytest.mark.parametrize("state", [State.SETUP, State.WAITING, State.LEAD_IN, State.WORKING, State.SET_END])
@pytest.mark.parametrize("why", [On.UNSTEADY, On.TIRED])
def test_an_exercise_that_is_too_much_gives_way_to_the_next_from_everywhere(state: State, why: On) -> None:
    program = made(RAISE, exercises=2, unsteady=Action.END_EXERCISE, tired=Action.END_EXERCISE)
    run = come_to(begun(program), state)
    run.say(why)
    run.say(On.READY)
    come_to(run, State.INTRO)

    assert run.session.exercise.index == 1
    assert lines(run, "exercise_ended") == [{"exercise": "exercise_0", "why": str(why)}]


def test_a_pause_after_the_last_set_leads_to_the_end() -> None:
    run = come_to(begun(made(RAISE, sets=(1,))), State.SET_END)
    run.say(On.PAUSE)
    run.say(On.READY)

    assert run.session.end_why == "done"
