"""Scenes of halts that are easily got wrong: lost devices, pain and its number, reasons to end."""

from __future__ import annotations

from dataclasses import replace

import pytest
from scenes import BASE, DAY, RAISE, begun, come_to, keys, lines, made, work_until

from coach.program.model import Action, AskAfter, Range
from coach.session.events import On
from coach.session.plan import plan
from coach.session.state import OutOfOrder, Question, State
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


def test_unsteadiness_makes_the_next_session_wait() -> None:
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


# -- what a change of the code showed to be untold, see "Are the tests as good as they look?" --


def speak_in_set(run: WatchedRun) -> WatchedRun:
    """Let somebody speak in the second rep, and nobody answer after it."""
    work_until(run, On.PHASE, 2, 1)
    run.say(On.SPOKE)
    return run


def test_a_held_set_that_nobody_answers_for_is_paused_once_and_goes_on_with_ready_where_it_was() -> None:
    run = speak_in_set(begun(made(RAISE)))
    while run.session.state is not State.PAUSED:
        assert run.step()
    opened, counted = run.session.open_set, lines(run, "set_ended")

    assert run.session.interruption is not None
    assert (run.session.interruption.back, run.session.prompts, counted) == (State.LEAD_IN, 0, [])
    assert [line["why"] for line in lines(run, "paused")] == ["no_answer"]
    assert opened is not None
    assert opened.phase_began is None
    run.say(On.READY)
    assert run.session.open_set == opened
    assert str(run.session.state) == "lead_in"


@pytest.mark.parametrize("word", [On.NO, On.SPOKE])
def test_a_lead_in_that_is_taken_back_leads_to_where_ready_was_said(word: On) -> None:
    fresh = begun(made(RAISE))
    come_to(fresh, State.WAITING)
    fresh.say(On.READY)
    fresh.say(word)
    resumed = work_until(begun(made(RAISE)), On.PHASE, 2, 1)
    resumed.say(On.PAUSE)
    resumed.say(On.READY)
    number = resumed.session.sets_begun
    resumed.say(word)

    assert (fresh.session.state, fresh.session.interruption) == (State.WAITING, None)
    assert (resumed.session.state, resumed.session.interruption) == (State.STILL, None)
    resumed.say(On.READY)
    come_to(resumed, State.WORKING)
    assert resumed.session.sets_begun == number


def test_a_break_is_recorded_as_a_break() -> None:
    run = work_until(begun(made(RAISE)), On.PHASE, 2, 1)
    run.say(On.STOP)
    run.say(On.BREAK)

    assert lines(run, "halt_why") == [{"why": "break", "ear": "keys"}]
    assert run.session.interruption is not None
    assert run.session.interruption.decision == "break"
    assert run.session.open_set is not None


@pytest.mark.parametrize(
    ("reply", "why", "told"),
    [(On.BREAK, "halted_break", 1), (On.NO, "halted_break", 1), (On.READY, "halted_unexplained", 0)],
)
def test_at_the_last_halt_the_set_ends_as_explained_or_not(reply: On, why: str, told: int) -> None:
    run = work_until(begun(made(RAISE, halts=1)), On.PHASE, 2, 1)
    run.say(On.STOP)
    run.say(reply)

    assert run.session.end_why == "halts"
    assert [line["why"] for line in lines(run, "set_ended")] == [why]
    assert lines(run, "halt_why") == [{"why": "break", "ear": "keys"}] * told


def asking_about_a_set() -> WatchedRun:
    each = AskAfter.EACH_SET
    run = begun(made(RAISE, change=lambda program: replace(program, ask_pain=each, ask_effort=each)))
    return come_to(run, State.ASKING)


def test_pain_told_among_the_questions_about_a_set_comes_before_them_whatever_interrupts() -> None:
    for interruption in ((On.MIC_LOST, On.MIC_BACK), (On.SPEAKER_LOST, On.SPEAKER_BACK), (On.PAUSE,)):
        run = asking_about_a_set()
        run.say(On.PAIN)
        for on in interruption:
            run.say(on)
        run.say(On.READY)

        assert run.session.asks == (Question.HALT_PAIN, Question.PAIN, Question.EFFORT)
        assert (run.session.state, run.session.quiet) == (State.ASKING, True)


def test_pain_that_nobody_answers_is_written_as_that_and_asked_afresh_after_the_pause() -> None:
    run = asking_about_a_set()
    while run.agenda.talking:
        run.step()
    run.say(On.NUMBER, 2)
    while run.agenda.talking:
        run.step()
    run.say(On.NO)
    while run.session.state is not State.PAUSED:
        assert run.step()

    assert [(one["question"], one["prompts"]) for one in lines(run, "unanswered")] == [("pain", 3)]
    assert [one["why"] for one in lines(run, "paused")] == ["no_answer"]
    run.say(On.READY)
    while run.agenda.talking:
        run.step()
    run.say(On.NUMBER, 1)
    while run.agenda.talking:
        run.step()
    run.say(On.YES)
    assert [(one["value"], one["attempts"]) for one in lines(run, "answered")] == [(1, 1)]


def test_a_pause_that_was_asked_for_is_written_as_that() -> None:
    run = work_until(begun(made(RAISE)), On.PHASE, 2, 1)
    run.say(On.PAUSE)

    assert lines(run, "paused") == [{"why": "asked", "ear": "keys"}]


def test_at_the_last_halt_unsteady_ends_the_session_whatever_the_program_says_of_it() -> None:
    run = work_until(begun(made(RAISE, halts=1, unsteady=Action.END_EXERCISE)), On.PHASE, 2, 1)
    run.say(On.STOP)
    run.say(On.UNSTEADY)

    assert run.session.end_why == "unsteady"


def test_a_refusing_disk_is_noted_until_it_has_all_and_mentioned_again_the_next_time() -> None:
    run = come_to(begun(made(RAISE)), State.WAITING)
    run.say(On.UNWRITTEN)
    refused = run.session.equipment.unwritten
    run.session = replace(run.session, equipment=OutOfOrder(unwritten=True, unwritten_told=True))
    run.say(On.UNWRITTEN)
    still = run.session.equipment.unwritten_told
    run.say(On.WRITTEN)

    assert (refused, still) == (True, True)
    assert (run.session.equipment.unwritten, run.session.equipment.unwritten_told) == (False, False)


def test_pain_told_in_a_question_leaves_the_other_questions_for_later() -> None:
    run = asking_about_a_set()
    run.say(On.PAIN)
    run.say(On.PAIN)

    assert run.session.asks == (Question.HALT_PAIN, Question.PAIN, Question.EFFORT)


@pytest.mark.parametrize("action", [Action.STEP_DOWN, Action.END_EXERCISE])
def test_unsteady_in_a_set_does_what_the_program_says_and_says_so(action: Action) -> None:
    run = work_until(begun(made(RAISE, RAISE, unsteady=action)), On.PHASE, 2, 1)
    run.say(On.UNSTEADY)
    now, down = run.session, action is Action.STEP_DOWN

    assert (now.level, now.exercise.over) == ((0, None) if down else (1, "unsteady"))
    assert now.interruption is not None
    assert now.interruption.back is State.SET_END
    assert now.interruption.decision == ("unsteady_step_down" if down else "unsteady_exercise")
    assert [line["because"] for line in lines(run, "eased")] == ["limits.unsteady"] * down
    assert [line["why"] for line in lines(run, "set_ended")] == ["halted_unsteady"]


@pytest.mark.parametrize(
    ("action", "decision", "floors"),
    [
        (Action.EASE_THE_DAY, "unsteady_day", True),
        (Action.STEP_DOWN, "unsteady_step_down", True),
        (Action.END_EXERCISE, "unsteady_exercise", False),
    ],
)
def test_unsteady_begins_what_is_still_to_come_at_its_floor_where_the_program_says_so(
    action: Action, decision: str, floors: bool
) -> None:
    today = plan(made(RAISE, RAISE, exercises=3, unsteady=action), (), DAY)
    grown = replace(today, exercises=tuple(replace(one, target=4) for one in today.exercises))
    run = work_until(WatchedRun(grown), On.PHASE, 2)
    run.say(On.UNSTEADY)

    assert run.session.interruption is not None
    assert run.session.interruption.decision == decision
    assert run.session.targets[1:] == ((3, 3) if floors else (4, 4))
    eased = [(line["exercise"], line["what"], line["because"]) for line in lines(run, "eased")]
    to_come = [(f"exercise_{number}", "amount", "limits.unsteady") for number in (1, 2)]
    assert [one for one in eased if one[0] != "exercise_0"] == to_come * floors


def test_unsteady_before_the_work_begins_the_whole_day_at_its_floor() -> None:
    today = plan(replace(made(RAISE, exercises=2, unsteady=Action.EASE_THE_DAY), screen=BASE.screen[1:]), (), DAY)
    run = WatchedRun(replace(today, exercises=tuple(replace(one, target=4) for one in today.exercises)))
    come_to(run, State.SCREENING)
    run.say(On.STOP)
    run.say(On.UNSTEADY)

    assert run.session.targets == (3, 3)
    assert run.session.interruption is not None
    assert run.session.interruption.decision == "unsteady_today"


def test_if_nothing_is_easier_the_next_set_is_dropped() -> None:
    one = replace(RAISE, count=Range(1, 1))
    run = come_to(begun(made(one, exercises=2)), State.WAITING)
    run.say(On.EASIER)

    assert (run.session.exercise.over, run.session.state) == ("eased", State.RESTING)


@pytest.mark.parametrize(("pain", "ended"), [(3, []), (5, ["halted_pain"])])
def test_pain_that_the_program_lets_carry_on_leaves_the_set_to_go_on_and_more_ends_it(
    pain: int, ended: list[str]
) -> None:
    run = work_until(begun(made(RAISE, pain_carry_on_to=3, pain_ease_to=5)), On.PHASE, 2)
    run.say(On.PAIN)
    run.say(On.NUMBER, pain)
    run.say(On.YES)

    assert run.session.state is State.RECOVERING
    assert [line["why"] for line in lines(run, "set_ended")] == ended
    assert (run.session.open_set is None) is bool(ended)


def test_pain_told_in_a_rest_closes_no_set_again() -> None:
    run = come_to(begun(made(RAISE, pain_carry_on_to=3, pain_ease_to=5)), State.RESTING)
    run.say(On.PAIN)
    run.say(On.NUMBER, 5)
    run.say(On.YES)

    assert [line["why"] for line in lines(run, "set_ended")] == ["done"]
    assert run.session.state is State.RECOVERING


@pytest.mark.parametrize(("least", "told"), [(1, "halt_exercise_over"), (3, "halt_pain_ease")])
def test_the_coach_says_that_the_exercise_is_over_if_pain_cannot_ease_it(least: int, told: str) -> None:
    program = made(replace(RAISE, count=Range(least, least)), pain_carry_on_to=3, pain_ease_to=5)
    run = come_to(begun(program), State.WORKING)
    run.say(On.PAIN)
    run.say(On.NUMBER, 5)
    run.say(On.YES)

    assert {"halt_exercise_over", "halt_pain_ease"} & set(keys(run)) == {told}
