"""What lies exactly on a limit, and what is kept of a halt in places where little is to be said of it."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import pytest
from scenes import RAISE, begun, come_to, keys, lines, made, work_until

from coach.program.model import Action, AskAfter, Hold, Program, Range, ScreenQuestion, Work
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
    run.say(On.YES)
    assert [line["because"] for line in lines(run, "eased")] == ["screen.fever"] * (action is Action.EASE)


def asking_pain(program: Program) -> Program:
    return replace(program, ask_pain=AskAfter.EACH_SET)


def asking_effort(program: Program) -> Program:
    return replace(program, ask_effort=AskAfter.EACH_SET)


def asked(question: Question, **limits: Any) -> WatchedRun:
    """Return a session of two levels that has just begun to ask about its first set."""
    by_question = {Question.PAIN: asking_pain, Question.EFFORT: asking_effort}
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


def silent_until_asked_again(run: WatchedRun, times: int) -> None:
    """Say nothing until the question was put again so many times."""
    while run.session.prompts < times:
        assert run.step()


def asking_reps(work: Work = RAISE) -> WatchedRun:
    program = made(work, change=lambda program: replace(program, ask_reps=AskAfter.EACH_SET))
    return come_to(begun(program), State.ASKING)


@pytest.mark.parametrize("quiet_before", [0, 1])
@pytest.mark.parametrize("reply", [On.YES, On.NO])
def test_an_answer_by_yes_or_no_is_written_with_how_often_was_asked_and_as_not_read_back(
    reply: On, quiet_before: int
) -> None:
    run = asking_reps()
    silent_until_asked_again(run, quiet_before)
    run.say(reply)

    line = lines(run, "answered")[-1]
    assert (line["value"], line["attempts"], line.get("read_back", False)) == (
        reply is On.YES, quiet_before + 1, False,
    )  # fmt: skip
    assert run.session.asks[:1] == ((Question.MISSED,) if reply is On.NO else ())


@pytest.mark.parametrize("reply", [On.YES, On.NO])
def test_of_a_hold_nobody_is_asked_how_many_were_missed(reply: On) -> None:
    run = asking_reps(Hold(Range(3, 4)))
    run.say(reply)

    assert run.session.state is State.RESTING


def test_an_answer_before_the_start_is_written_with_how_often_was_asked() -> None:
    question = ScreenQuestion("fever", "Do you have a fever?", answer=True, action=Action.NOTE)
    run = come_to(begun(made(RAISE, change=lambda program: replace(program, screen=(question,)))), State.SCREENING)
    silent_until_asked_again(run, 1)
    run.say(On.NO)

    line = lines(run, "answered")[-1]
    assert (line["question"], line["value"], line["attempts"], line.get("read_back", False)) == (
        "screen.fever", False, 2, False,
    )  # fmt: skip


def test_a_number_read_back_is_written_with_how_often_it_was_said_however_often_was_asked() -> None:
    run = asked(Question.PAIN)
    silent_until_asked_again(run, 2)
    run.say(On.NUMBER, 1)
    run.say(On.NO)
    answer(run, 2)

    line = lines(run, "answered")[-1]
    assert (line["value"], line["attempts"], line["read_back"]) == (2, 2, True)


@pytest.mark.parametrize("numbers", [(7, 9, 8), (9, 7, 8), (8, 9, 9)])
def test_of_numbers_that_nobody_confirmed_the_worst_counts(numbers: tuple[int, ...]) -> None:
    run = asked(Question.PAIN, pain_carry_on_to=3, pain_ease_to=5)
    for number in numbers[:2]:
        run.say(On.NUMBER, number)
    run.say(On.NUMBER, numbers[2])
    while run.session.state is State.CONFIRMING:
        assert run.step()

    assert [line["value"] for line in lines(run, "answered")] == [9]


def last_set(**limits: Any) -> WatchedRun:
    """Return a session of two levels and two exercises that asks about the only set of the first."""
    return come_to(begun(made(RAISE, RAISE, sets=(1, 1), exercises=2, **limits)), State.ASKING)


def test_behind_its_last_set_an_exercise_is_not_eased_any_more() -> None:
    for run in (
        last_set(change=asking_effort, effort_ease_above=7),
        last_set(change=asking_pain, pain_carry_on_to=3, pain_ease_to=8),
    ):
        answer(run, 8)

        assert (run.session.levels, lines(run, "eased")) == ((1, 1), [])


def test_an_effort_that_eases_says_how() -> None:
    run = asked(Question.EFFORT, effort_ease_above=7)
    answer(run, 8)

    assert "eased_level" in keys(run)


@pytest.mark.parametrize("pain", [1, 5])
def test_pain_told_at_the_last_halt_ends_the_set_and_the_session_however_little_it_is(pain: int) -> None:
    run = work_until(begun(made(RAISE, halts=1, pain_carry_on_to=3, pain_ease_to=5)), On.PHASE, 2)
    run.say(On.STOP)
    run.say(On.PAIN)
    answer(run, pain)

    assert run.session.end_why == "halts"
    assert [line["why"] for line in lines(run, "set_ended")] == ["halted_pain"]


def test_pain_that_ends_a_set_leaves_only_the_question_how_many_were_done() -> None:
    each = AskAfter.EACH_SET
    everything = lambda program: replace(program, ask_pain=each, ask_effort=each, ask_reps=each)  # noqa: E731
    run = work_until(begun(made(RAISE, RAISE, pain_carry_on_to=3, pain_ease_to=5, change=everything)), On.PHASE, 2)
    run.say(On.PAIN)
    answer(run, 5)

    assert run.session.asks == (Question.REPS,)


@pytest.mark.parametrize(("state", "told"), [(State.WORKING, "tired_set"), (State.RESTING, "tired_rest")])
def test_tired_that_ends_the_set_says_so_and_in_a_rest_that_it_goes_on(state: State, told: str) -> None:
    run = come_to(begun(made(RAISE, tired=Action.END_SET)), state)
    run.say(On.TIRED)

    assert run.session.interruption is not None
    assert run.session.interruption.decision == told


def test_whoever_is_ready_in_a_phase_that_was_to_run_out_was_under_tension_until_then() -> None:
    run = work_until(begun(made(RAISE)), On.PHASE, 1, 1)
    run.say(On.SPOKE)
    run.now += RATE
    run.say(On.READY)

    assert run.session.open_set is not None
    assert (run.session.open_set.tension, run.session.open_set.phase_began) == (2 * RATE, None)
    assert lines(run, "ready")[-1]["set_id"] == 1


def test_ready_outside_of_a_set_names_none() -> None:
    run = come_to(begun(made(RAISE)), State.WAITING)
    run.say(On.READY)

    assert lines(run, "ready")[-1].get("set_id", 0) == 0


def test_a_halt_stops_the_phase_and_its_tension() -> None:
    run = work_until(begun(made(RAISE)), On.PHASE, 1, 1)
    run.now += RATE
    run.say(On.STOP)

    assert run.session.open_set is not None
    assert (run.session.open_set.tension, run.session.open_set.phase_began) == (2 * RATE, None)


@pytest.mark.parametrize(
    ("events", "state"),
    [
        ((On.MIC_LOST, On.SPEAKER_LOST, On.SPEAKER_BACK, On.MIC_BACK), State.PAUSED),
        ((On.MIC_LOST, On.SPEAKER_LOST, On.MIC_BACK), State.MUTE),
        ((On.SPEAKER_LOST, On.MIC_LOST, On.SPEAKER_BACK), State.DEAF),
        ((On.SPEAKER_LOST, On.MIC_LOST, On.MIC_BACK), State.MUTE),
        ((On.SPEAKER_LOST, On.MIC_LOST, On.MIC_BACK, On.SPEAKER_BACK), State.PAUSED),
        ((On.MIC_LOST, On.SPEAKER_LOST, On.SPEAKER_BACK), State.DEAF),
    ],
)
def test_a_device_stays_lost_until_it_is_back_itself(events: tuple[On, ...], state: State) -> None:
    run = come_to(begun(made(RAISE)), State.WORKING)
    for on in events:
        run.say(on)

    assert run.session.state is state
    assert (run.session.equipment.mic_lost, run.session.equipment.speaker_lost) == (
        state is State.DEAF, state is State.MUTE,
    )  # fmt: skip


def test_only_what_was_told_of_a_refusing_disk_stays_told() -> None:
    run = come_to(begun(made(RAISE)), State.WAITING)
    run.say(On.UNWRITTEN)

    assert not run.session.equipment.unwritten_told
