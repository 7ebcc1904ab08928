"""Scenes of halts that are easily got wrong: lost devices, pain and its number, reasons to end."""

from __future__ import annotations

from dataclasses import replace

import pytest
from scenes import BASE, RAISE, begun, come_to, lines, made, work_until

from coach.program.model import AskAfter
from coach.session.events import On
from coach.session.state import Question, State
from coach.testing import WatchedRun

# -- devices --


def test_with_both_devices_lost_the_session_waits_for_both() -> None:
    run = come_to(begun(made(RAISE)), State.WORKING)
    run.say(On.SPEAKER_LOST)
    run.say(On.MIC_LOST)
    run.say(On.SPEAKER_BACK)
    states = [run.session.state]
    for on in (On.SPEAKER_LOST, On.MIC_BACK, On.SPEAKER_BACK):
        run.say(on)
        states.append(run.session.state)

    assert states == [State.DEAF, State.DEAF, State.MUTE, State.PAUSED]


def test_a_halt_without_a_microphone_is_kept_and_counted_once() -> None:
    run = come_to(begun(made(RAISE)), State.WORKING)
    run.say(On.MIC_LOST)
    run.say(On.STOP)
    run.say(On.STOP)
    run.say(On.MIC_BACK)

    assert (run.session.state, run.session.halts, run.said[-1].key) == (State.PAUSED, 1, "halt_paused")
    assert len(lines(run, "halted")) == len(lines(run, "halted_again")) == 1


def test_the_last_halt_ends_the_session_through_a_pause_too() -> None:
    run = come_to(begun(made(RAISE, halts=1)), State.WORKING)
    run.say(On.STOP)
    run.say(On.MIC_LOST)
    run.say(On.MIC_BACK)
    run.say(On.READY)

    assert run.session.end_why == "halts"
    assert lines(run, "set_ended")[-1]["why"] == "halted_unexplained"


@pytest.mark.parametrize("lost", [(On.MIC_LOST, On.MIC_BACK), (On.SPEAKER_LOST, On.SPEAKER_BACK)])
def test_pain_that_was_told_is_asked_about_after_a_lost_device_before_any_work(lost: tuple[On, On]) -> None:
    run = come_to(begun(made(RAISE)), State.WORKING)
    run.say(On.PAIN)
    for on in lost:
        run.say(on)
    run.say(On.READY)

    assert run.session.state is State.ASKING
    assert run.session.asked_about is Question.HALT_PAIN


# -- pain --


def pain_read_back(number: int) -> WatchedRun:
    run = work_until(begun(made(RAISE)), On.PHASE, 2)
    run.say(On.PAIN)
    run.say(On.NUMBER, number)
    return run


def test_silence_never_confirms_that_there_is_little_pain() -> None:
    run = pain_read_back(0)
    while run.session.state is State.CONFIRMING:
        run.step()

    assert run.session.state is State.PAUSED
    assert not lines(run, "answered")


def test_pain_that_nobody_answered_is_asked_again_before_any_work() -> None:
    run = pain_read_back(0)
    come_to(run, State.PAUSED)
    run.say(On.READY)

    assert run.session.state is State.ASKING


def test_much_pain_ends_the_session_even_if_nobody_confirms_it() -> None:
    run = pain_read_back(8)
    while run.session.state is State.CONFIRMING:
        run.step()

    assert run.session.end_why == "pain"
    assert [(line["value"], line["read_back"]) for line in lines(run, "answered")] == [(8, False)]


def test_a_number_denied_again_and_again_is_no_answer() -> None:
    run = pain_read_back(1)
    run.say(On.NO)
    run.say(On.NUMBER, 1)
    run.say(On.NO)
    for _ in range(3):  # the ladder now: no more than so much, and that band is denied
        run.say(On.NO)
        run.say(On.NO)

    assert run.session.state is State.PAUSED
    assert not lines(run, "answered")


def test_an_effort_that_was_denied_is_never_recorded_as_stated() -> None:
    asking = lambda program: replace(program, ask_effort=AskAfter.EACH_SET)  # noqa: E731
    run = work_until(begun(made(RAISE, change=asking)), On.PHASE, 2)
    run.say(On.ENOUGH)
    come_to(run, State.ASKING)
    for _ in range(3):
        run.say(On.NUMBER, 9)
        run.say(On.NO)

    assert run.session.state is State.RESTING
    assert not lines(run, "answered")
    assert lines(run, "unanswered")[-1]["question"] == "effort"


def test_pain_that_was_told_and_not_measured_makes_the_next_session_wait() -> None:
    run = work_until(begun(made(RAISE)), On.PHASE, 2)
    run.say(On.PAIN)
    run.say(On.FINISH)
    run.say(On.STOP)

    assert lines(run, "session_ended")[0]["next_in_days"] == BASE.schedule.after_sore_days


def test_what_felt_unsteady_makes_the_next_session_wait() -> None:
    run = work_until(begun(made(RAISE)), On.PHASE, 2)
    run.say(On.UNSTEADY)
    run.say(On.FINISH)
    run.say(On.STOP)

    assert lines(run, "session_ended")[0]["next_in_days"] == BASE.schedule.after_sore_days


def test_the_first_reason_to_end_stands_whatever_stops_the_closing_words() -> None:
    run = pain_read_back(9)
    run.say(On.YES)
    run.say(On.QUIT)

    assert lines(run, "session_ended")[0]["why"] == "pain"
