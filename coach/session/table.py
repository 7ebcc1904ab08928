"""THE table: every state a session can be in, what it takes, and where that leads.

Three rules make it true:
1. Everything that changes the state of a session is a row of TABLE; `machine.handle` only looks rows up.
2. Rows of one state and event are tried from the top; the first whose `when` holds is taken. No row: out of place.
3. Work (LEAD_IN) is reached through READY and nothing else; silence and unclear speech lead away from it.

A row's `act` runs first; then `to` is entered. `to` is one state, or None (stay, without entering anew), or branches:
pairs of a predicate over the session after the act and a state, the first that holds.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from coach.loglines.reasons import SessionWhy
from coach.session import acts, answers, halts, prompts, sound_check
from coach.session.events import REPLIES, On
from coach.session.guards import (
    Check,
    Guard,
    a_set_comes_later,
    about_pain,
    always,
    asks_number,
    asks_yes_no,
    attempts_left,
    both,
    completes_set,
    denials_left,
    ends,
    exercise_is_over,
    goes_back_to,
    goes_back_to_none,
    has_screen,
    is_taken_up,
    ladder_due,
    mic_gone,
    mic_there,
    more_asks,
    more_screen,
    needs_intro,
    needs_setup,
    no_set_comes,
    not_placed,
    number_not_understood,
    on_ladder,
    over,
    pain_unmeasured,
    placed_in_band,
    prompts_left,
    quiet,
    screen_says_end,
    set_goes_on,
    set_was_closed,
    soft,
    speaker_gone,
    speaker_there,
    stands_still,
    still_and_prompts_left,
    time_is_over,
    too_many_halts,
    worst_pain_ends,
)
from coach.session.prompts import Act
from coach.session.state import State

Branches = tuple[tuple[Check, State], ...]


@dataclass(frozen=True, slots=True)
class Row:
    """One line of the table."""

    state: State
    on: On
    when: Guard
    to: State | Branches | None
    act: Act


BACK_TO = (
    State.OPENING, State.CHECKING, State.SCREENING, State.INTRO, State.SETUP, State.WAITING, State.ASKING,
    State.RESTING,
)  # fmt: skip
"""States that can be taken up again after an interruption."""

AFTER_SET: Branches = (
    (ends, State.CLOSING),
    (more_asks, State.ASKING),
    (over, State.CLOSING),
    (always, State.RESTING),
)
AFTER_ANSWER: Branches = ((ends, State.CLOSING), (quiet, State.RECOVERING), *AFTER_SET[1:])
RESUME: Branches = (
    (pain_unmeasured, State.ASKING),
    (set_goes_on, State.LEAD_IN),
    (both(set_was_closed, more_asks), State.ASKING),
    (both(set_was_closed, over), State.CLOSING),
    (set_was_closed, State.RESTING),
    (goes_back_to_none, State.RESTING),
    (both(goes_back_to(State.WAITING), needs_setup), State.SETUP),
    *((goes_back_to(state), state) for state in BACK_TO),
)
PLACED: Branches = ((placed_in_band, State.CONFIRMING), (always, State.ASKING))
DECIDED: Branches = ((ends, State.CLOSING), (always, State.RECOVERING))


BEGUN: Branches = ((is_taken_up, State.ASKING), (always, State.INTRO))
OPENED: Branches = ((has_screen, State.SCREENING), *BEGUN)
SCREENED: Branches = ((more_screen, State.SCREENING), (always, State.SCREEN_CHECK))
NEXT_TURN: Branches = ((needs_intro, State.INTRO), (needs_setup, State.SETUP), (always, State.WAITING))
EASED: Branches = ((no_set_comes, State.RESTING), (needs_setup, State.SETUP), (always, State.WAITING))


# -- the table --------------------------------------------------------------------------------------------------------


def _for(states: Iterable[State], on: On, when: Guard, to: State | Branches | None, act: Act) -> tuple[Row, ...]:
    """Return the same row for each of `states`."""
    return tuple(Row(state, on, when, to, act) for state in states)


S = State
BEFORE = (S.OPENING, S.CHECKING, S.SCREENING, S.SCREEN_CHECK)
EXERCISING = (
    S.INTRO, S.SETUP, S.WAITING, S.LEAD_IN, S.WORKING, S.STILL, S.SET_END, S.ASKING, S.CONFIRMING, S.RESTING,
    S.RECOVERING, S.PAUSED, S.HALTED,
)  # fmt: skip
GONE = (S.DEAF, S.MUTE)
LIVE = (*BEFORE, *EXERCISING, *GONE)
FROM_OUTSIDE: dict[On, SessionWhy] = {
    On.QUIT: "quit",
    On.TOLD_TO_END: "told_to_end",
    On.HUNG_UP: "hung_up",
}
"""What ends a session at once, without a word; the record names it as the reason."""

TABLE: tuple[Row, ...] = (
    # in                on             when                 to                act
    # a halt comes first, from everywhere
    *_for((s for s in (*BEFORE, *EXERCISING) if s is not S.HALTED), On.STOP, always, S.HALTED, halts.halt),
    Row(S.HALTED,       On.STOP,       always,              None,             halts.halt_again),
    *_for(GONE, On.STOP, always, None, halts.halt_deaf),
    Row(S.CLOSING,      On.STOP,       always,              S.ENDED,          prompts.nothing),
    *(row for on, why in FROM_OUTSIDE.items()
      for row in _for((*LIVE, S.CLOSING), on, always, S.ENDED, halts.end_as(why))),
    # why, said at once or when asked
    *_for(EXERCISING, On.PAIN, always, S.ASKING, halts.tell_pain),
    *_for(EXERCISING, On.TIRED, always, DECIDED, halts.tell_tired),
    *_for(EXERCISING, On.UNSTEADY, always, DECIDED, halts.tell_unsteady),
    *_for(LIVE, On.FINISH, always, S.CLOSING, halts.end_as("asked")),
    # devices
    *_for((*BEFORE, *EXERCISING), On.MIC_LOST, always, S.DEAF, halts.device),
    *_for((*BEFORE, *EXERCISING), On.SPEAKER_LOST, always, S.MUTE, halts.device),
    Row(S.DEAF,         On.MIC_BACK,   always, ((speaker_gone, S.MUTE), (always, S.PAUSED)), halts.device),
    Row(S.MUTE,         On.SPEAKER_BACK, always, ((mic_gone, S.DEAF), (always, S.PAUSED)), halts.device),
    Row(S.DEAF,         On.SPEAKER_LOST, speaker_there,     None,             halts.device_too),
    Row(S.DEAF,         On.SPEAKER_BACK, speaker_gone,      None,             halts.device_too),
    Row(S.MUTE,         On.MIC_LOST,   mic_there,           None,             halts.device_too),
    Row(S.MUTE,         On.MIC_BACK,   mic_gone,            None,             halts.device_too),
    Row(S.DEAF,         On.CUE_DONE,   always,              None,             prompts.nothing),
    Row(S.DEAF,         On.TIME_UP,    always,              S.CLOSING,        halts.end_as("deaf")),
    Row(S.MUTE,         On.TIME_UP,    always,              S.CLOSING,        halts.end_as("mute")),
    # the disk
    *(row for on in (On.UNWRITTEN, On.WRITTEN) for row in _for((*LIVE, S.CLOSING), on, always, None,
                                                              halts.record_trouble)),
    # opening, and whether each hears the other; then screening
    Row(S.OPENING,      On.START,      always,              S.OPENING,        prompts.nothing),
    Row(S.OPENING,      On.CUE_DONE,   always,              S.CHECKING,       prompts.nothing),
    Row(S.OPENING,      On.AGAIN,      always,              S.OPENING,        prompts.hush),
    Row(S.CHECKING,     On.READY,      always,              OPENED,           sound_check.heard),
    Row(S.CHECKING,     On.SPOKE,      prompts_left,        None,             sound_check.ask_again),
    Row(S.CHECKING,     On.SPOKE,      always,              None,             prompts.nothing),
    Row(S.CHECKING,     On.TIME_UP,    prompts_left,        None,             sound_check.ask_again),
    Row(S.CHECKING,     On.TIME_UP,    always,              S.CLOSING,        sound_check.not_heard),
    *_for(BEFORE, On.WHY, always, None, acts.say_cautions),
    *_for((S.CHECKING, S.SCREENING, S.SCREEN_CHECK), On.CUE_DONE, always, None, prompts.open_window),
    *_for((S.CHECKING, S.SCREENING, S.SCREEN_CHECK), On.AGAIN, always, None, prompts.say_again),
    *_for((S.SCREENING, S.SCREEN_CHECK), On.SPOKE, prompts_left, None, prompts.prompt_again),
    *_for((S.SCREENING, S.SCREEN_CHECK), On.TIME_UP, prompts_left, None, prompts.prompt_again),
    *_for((S.SCREENING, S.SCREEN_CHECK), On.SPOKE, always, S.CLOSING, halts.end_as("no_answer")),
    *_for((S.SCREENING, S.SCREEN_CHECK), On.TIME_UP, always, S.CLOSING, halts.end_as("no_answer")),
    *(row for on in (On.YES, On.NO) for row in (
        Row(S.SCREENING, on,           screen_says_end,     S.CLOSING,        acts.screen_ends),
        Row(S.SCREENING, on,           always,              SCREENED,         acts.answer_screen),
    )),
    Row(S.SCREEN_CHECK, On.YES,        always,              BEGUN,            acts.screen_confirmed),
    Row(S.SCREEN_CHECK, On.NO,         denials_left,        S.SCREENING,      acts.screen_anew),
    Row(S.SCREEN_CHECK, On.NO,         always,              S.CLOSING,        acts.screen_unsettled),
    # getting ready
    Row(S.INTRO,        On.CUE_DONE,   always,              S.SETUP,          prompts.nothing),
    Row(S.SETUP,        On.CUE_DONE,   always,              S.WAITING,        prompts.nothing),
    *_for((S.SETUP, S.WAITING), On.READY, time_is_over, S.CLOSING, halts.end_as("time")),
    *_for((S.SETUP, S.WAITING), On.READY, always, S.LEAD_IN, halts.ready),
    Row(S.WAITING,      On.CUE_DONE,   always,              None,             prompts.open_window),
    Row(S.WAITING,      On.NO,         always,              None,             prompts.not_yet),
    Row(S.WAITING,      On.SPOKE,      prompts_left,        None,             prompts.prompt_again),
    Row(S.WAITING,      On.SPOKE,      always,              None,             prompts.nothing),
    Row(S.WAITING,      On.TIME_UP,    prompts_left,        None,             prompts.prompt_again),
    Row(S.WAITING,      On.TIME_UP,    always,              S.CLOSING,        halts.end_as("no_answer")),
    *_for((S.INTRO, S.SETUP, S.WAITING), On.AGAIN, always, S.SETUP, prompts.hush),
    *_for((S.INTRO, S.SETUP), On.WHY, always, S.SETUP, acts.say_why),
    Row(S.WAITING,      On.WHY,        always,              S.WAITING,        acts.say_why),
    Row(S.WAITING,      On.EASIER,     always,              EASED,            acts.ease_between),
    Row(S.WAITING,      On.SLOWER,     always,              S.WAITING,        acts.slower),
    Row(S.WAITING,      On.LEFT,       always,              S.WAITING,        acts.sets_left),
    # the lead-in: anything but quiet takes it back
    Row(S.LEAD_IN,      On.CUE_DONE,   not_placed,          None,             acts.place_work),
    Row(S.LEAD_IN,      On.GO,         always,              S.WORKING,        acts.go),
    *_for((S.LEAD_IN,), On.SPOKE, always, ((set_goes_on, S.STILL), (always, S.WAITING)), halts.take_back),
    *_for((S.LEAD_IN,), On.NO, always, ((set_goes_on, S.STILL), (always, S.WAITING)), halts.take_back),
    # the work
    Row(S.WORKING,      On.REP,        always,              None,             acts.rep),
    Row(S.WORKING,      On.PHASE,      always,              None,             acts.phase),
    Row(S.WORKING,      On.REP_DONE,   always,              None,             acts.rep_done),
    Row(S.WORKING,      On.SECOND,     always,              None,             acts.second),
    Row(S.WORKING,      On.DONE,       always,              S.SET_END,        acts.close_as("done")),
    Row(S.WORKING,      On.CUE_DONE,   always,              None,             prompts.nothing),
    Row(S.WORKING,      On.ENOUGH,     always,              S.SET_END,        acts.enough),
    Row(S.WORKING,      On.EASIER,     always,              S.SET_END,        acts.ease_in_set),
    Row(S.WORKING,      On.SLOWER,     always,              None,             acts.slower_in_set),
    Row(S.WORKING,      On.LEFT,       always,              None,             acts.left_in_set),
    Row(S.WORKING,      On.SPOKE,      always,              S.STILL,        prompts.nothing),
    # somebody spoke and nobody understood: finish the phase, hold, ask
    Row(S.STILL,      On.TIME_UP,    completes_set,       S.SET_END,        acts.complete_set),
    Row(S.STILL,      On.TIME_UP,    still_and_prompts_left, None,           prompts.prompt_again),
    Row(S.STILL,      On.TIME_UP,    stands_still,                S.PAUSED,         halts.pause_unsure),
    Row(S.STILL,      On.TIME_UP,    always,              None,             acts.stand_still),
    Row(S.STILL,      On.CUE_DONE,   stands_still,                None,             prompts.open_window),
    Row(S.STILL,      On.CUE_DONE,   always,              None,             prompts.nothing),
    Row(S.STILL,      On.SPOKE,      still_and_prompts_left, None,           prompts.prompt_again),
    Row(S.STILL,      On.SPOKE,      always,              None,             prompts.nothing),
    Row(S.STILL,      On.READY,      always,              S.LEAD_IN,        halts.ready),
    Row(S.STILL,      On.ENOUGH,     always,              S.SET_END,        acts.enough),
    Row(S.STILL,      On.EASIER,     always,              S.SET_END,        acts.ease_in_set),
    # after a set
    Row(S.SET_END,      On.CUE_DONE,   always,              AFTER_SET,        prompts.nothing),
    *_for((S.ASKING, S.CONFIRMING), On.CUE_DONE, always, None, prompts.open_window),
    *_for((S.ASKING, S.CONFIRMING), On.AGAIN, always, None, prompts.say_again),
    Row(S.ASKING,       On.YES,        asks_yes_no,         AFTER_ANSWER,     answers.settle),
    Row(S.ASKING,       On.NO,         asks_yes_no,         AFTER_ANSWER,     answers.settle),
    *(Row(S.ASKING, on, on_ladder, PLACED, answers.answer_rung) for on in (On.YES, On.NO)),
    Row(S.ASKING,       On.SPOKE,      ladder_due,          S.ASKING,         answers.to_ladder),
    Row(S.ASKING,       On.SPOKE,      number_not_understood, None,           answers.not_understood),
    Row(S.CONFIRMING,   On.NO,         ladder_due,          S.ASKING,         answers.to_ladder),
    Row(S.ASKING,       On.NUMBER,     asks_number,         S.CONFIRMING,     answers.note_number),
    *_for((S.ASKING,), On.SPOKE, prompts_left, None, prompts.prompt_again),
    *_for((S.ASKING,), On.TIME_UP, prompts_left, None, prompts.prompt_again),
    *_for((S.ASKING,), On.SPOKE, about_pain, S.PAUSED, answers.pause_unanswered),
    *_for((S.ASKING,), On.TIME_UP, about_pain, S.PAUSED, answers.pause_unanswered),
    *_for((S.ASKING,), On.SPOKE, always, AFTER_ANSWER, answers.skip_question),
    *_for((S.ASKING,), On.TIME_UP, always, AFTER_ANSWER, answers.skip_question),
    Row(S.CONFIRMING,   On.YES,        always,              AFTER_ANSWER,     answers.settle),
    Row(S.CONFIRMING,   On.NUMBER,     attempts_left,       S.CONFIRMING,     answers.note_number),
    Row(S.CONFIRMING,   On.NO,         attempts_left,       S.ASKING,         answers.deny),
    Row(S.CONFIRMING,   On.TIME_UP,    soft,                AFTER_ANSWER,     answers.settle),
    *_for((S.CONFIRMING,), On.TIME_UP, prompts_left, None, prompts.prompt_again),
    *_for((S.CONFIRMING,), On.SPOKE, prompts_left, None, prompts.prompt_again),
    *(row for on in (On.NO, On.SPOKE, On.TIME_UP) for row in (
        Row(S.CONFIRMING, on,          worst_pain_ends,     AFTER_ANSWER,     answers.settle_worst),
        Row(S.CONFIRMING, on,          about_pain,          S.PAUSED,         answers.pause_unanswered),
    )),
    *(Row(S.CONFIRMING, on, always, AFTER_ANSWER, answers.skip_question) for on in (On.NO, On.SPOKE)),
    Row(S.RESTING,      On.CUE_DONE,   always,              None,             prompts.nothing),
    Row(S.RESTING,      On.READY,      always,              None,             acts.say_rest),
    Row(S.RESTING,      On.EASIER,     a_set_comes_later,   S.RESTING,             acts.ease_between),
    Row(S.RESTING,      On.SLOWER,     always,              None,             acts.slower),
    Row(S.RESTING,      On.LEFT,       always,              None,             acts.sets_left_in_rest),
    Row(S.RESTING,      On.TIME_UP,    over,                S.CLOSING,        prompts.nothing),
    Row(S.RESTING,      On.TIME_UP,    time_is_over,        S.CLOSING,        halts.end_as("time")),
    Row(S.RESTING,      On.TIME_UP,    exercise_is_over,    S.INTRO,          acts.next_exercise),
    Row(S.RESTING,      On.TIME_UP,    always,              NEXT_TURN,        acts.next_turn),
    # halted, and back
    Row(S.HALTED,       On.CUE_DONE,   always,              None,             prompts.open_window),
    Row(S.HALTED,       On.AGAIN,      always,              None,             prompts.say_again),
    *_for((S.HALTED, S.RECOVERING), On.SPOKE, prompts_left, None, prompts.prompt_again),
    *_for((S.HALTED, S.RECOVERING), On.TIME_UP, prompts_left, None, prompts.prompt_again),
    *_for((S.HALTED, S.RECOVERING), On.SPOKE, always, None, prompts.nothing),
    *_for((S.HALTED, S.RECOVERING), On.TIME_UP, always, S.CLOSING, halts.end_as("no_answer")),
    *_for((S.HALTED, S.PAUSED), On.READY, too_many_halts, S.CLOSING, halts.end_halts),
    *_for((S.HALTED, S.RECOVERING, S.PAUSED), On.READY, always, RESUME, halts.ready),
    *_for((S.HALTED,), On.BREAK, too_many_halts, S.CLOSING, halts.end_halts),
    *_for((S.HALTED,), On.NO, too_many_halts, S.CLOSING, halts.end_halts),
    *_for((S.HALTED,), On.BREAK, always, S.RECOVERING, halts.tell_break),
    *_for((S.HALTED,), On.NO, always, S.RECOVERING, halts.tell_break),
    Row(S.RECOVERING,   On.CUE_DONE,   always,              None,             prompts.open_window),
    Row(S.RECOVERING,   On.AGAIN,      always,              None,             prompts.say_again),
    # paused
    *_for(
        (S.INTRO, S.SETUP, S.WAITING, S.LEAD_IN, S.WORKING, S.STILL, S.RESTING, S.SET_END, S.ASKING, S.CONFIRMING),
        On.PAUSE, always, S.PAUSED, halts.pause,
    ),
    *_for((S.WORKING, S.STILL, S.LEAD_IN, S.WAITING), On.BREAK, always, S.PAUSED, halts.pause),
    Row(S.PAUSED,       On.CUE_DONE,   always,              None,             prompts.open_window),
    Row(S.PAUSED,       On.AGAIN,      always,              None,             prompts.say_again),
    Row(S.PAUSED,       On.TIME_UP,    prompts_left,        None,             prompts.prompt_again),
    Row(S.PAUSED,       On.TIME_UP,    always,              S.CLOSING,        halts.end_as("no_answer")),
    # the end
    Row(S.CLOSING,      On.CUE_DONE,   always,              S.ENDED,          prompts.nothing),
    Row(S.CLOSING,      On.TIME_UP,    always,              S.ENDED,          prompts.nothing),
    *_for((S.CLOSING,), On.READY, always, None, prompts.nothing),
)  # fmt: skip


def rows(state: State, on: On) -> tuple[Row, ...]:
    """Return the rows of one state and event, in the order in which they are tried."""
    return _INDEX.get((state, on), ())


def open_replies(state: State) -> frozenset[On]:
    """Return the replies that `state` takes; the halt is among them wherever a session is live."""
    return frozenset(row.on for row in TABLE if row.state is state) & REPLIES


def targets(row: Row) -> tuple[State, ...]:
    """Return the states that a row may lead to."""
    if row.to is None:
        return (row.state,)
    if isinstance(row.to, State):
        return (row.to,)
    return tuple(dict.fromkeys(state for _, state in row.to))


_INDEX: dict[tuple[State, On], tuple[Row, ...]] = {}
for _row in TABLE:
    _INDEX[_row.state, _row.on] = (*_INDEX.get((_row.state, _row.on), ()), _row)
