"""THE table: every state of a session, the events that it takes, and where each leads.

Three rules hold:
1. Every change of state is a row of TABLE; `machine.handle` only looks rows up.
2. The rows of a state and event are tried from the top, and the first whose `when` holds is taken. If none holds, the
   event is out of place.
3. Only READY leads to work (LEAD_IN); silence and unclear speech lead away from it.

A row's `act` runs first, then the session enters `to`: one state, or None to stay without entering again, or branches.
Branches pair a predicate over the session after the act with a state; the first that holds is taken.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from coach.loglines.reasons import SessionWhy
from coach.session import acts, answers, endings, halts, prompts, rating, screening, sound_check, work_layout
from coach.session import guards as when
from coach.session.events import On
from coach.session.guards import Guard, both, takes_up
from coach.session.state import Act, State

Branches = tuple[tuple[Guard, State], ...]


@dataclass(frozen=True, slots=True)
class Row:
    """One line of the table."""

    state: State
    on: On
    when: Guard
    to: State | Branches | None
    act: Act


S = State

# -- where several rows lead ------------------------------------------------------------------------------------------

AFTER_SET: Branches = (
    (when.ends, S.CLOSING),
    (when.more_asks, S.ASKING),
    (when.over, S.CLOSING),
    (when.always, S.RESTING),
)
AFTER_ANSWER: Branches = ((when.ends, S.CLOSING), (when.quiet, S.RECOVERING), *AFTER_SET[1:])
PLACED: Branches = ((when.placed_in_band, S.CONFIRMING), (when.always, S.ASKING))
DECIDED: Branches = ((when.ends, S.CLOSING), (when.always, S.RECOVERING))
BEGUN: Branches = ((when.is_taken_up, S.ASKING), (when.rates_goals, S.RATING), (when.always, S.INTRO))
OPENED: Branches = ((when.has_screen, S.SCREENING), *BEGUN)
SCREENED: Branches = ((when.more_screen, S.SCREENING), (when.always, S.SCREEN_CHECK))
NEXT_TURN: Branches = ((when.needs_intro, S.INTRO), (when.needs_setup, S.SETUP), (when.always, S.WAITING))
EASED: Branches = ((when.no_set_comes, S.RESTING), (when.needs_setup, S.SETUP), (when.always, S.WAITING))
TAKEN_BACK: Branches = ((when.in_set, S.STILL), (when.always, S.WAITING))

RESUMED: tuple[tuple[Guard, State], ...] = (
    (when.pain_unmeasured, S.ASKING),
    (takes_up(S.LEAD_IN), S.LEAD_IN),
    (both(takes_up(S.SET_END), when.more_asks), S.ASKING),
    (both(takes_up(S.SET_END), when.over), S.CLOSING),
    (takes_up(S.SET_END), S.RESTING),
    (when.nothing_to_take_up, S.RESTING),
    (takes_up(S.OPENING), S.OPENING),
    (takes_up(S.CHECKING), S.CHECKING),
    (takes_up(S.SCREENING), S.SCREENING),
    (takes_up(S.RATING), S.RATING),
    (takes_up(S.INTRO), S.INTRO),
    (takes_up(S.SETUP), S.SETUP),
    (both(takes_up(S.WAITING), when.needs_setup), S.SETUP),
    (takes_up(S.WAITING), S.WAITING),
    (takes_up(S.ASKING), S.ASKING),
    (takes_up(S.RESTING), S.RESTING),
)
"""Where "ready" leads after a halt, a pause or a lost device: these rows stand in HALTED, RECOVERING and PAUSED."""

FROM_OUTSIDE: dict[On, SessionWhy] = {On.QUIT: "quit", On.TOLD_TO_END: "told_to_end", On.HUNG_UP: "hung_up"}
"""Events that end a session at once, without a word, each with the reason in the record."""

BEFORE_EXERCISES = (S.OPENING, S.CHECKING, S.SCREENING, S.SCREEN_CHECK, S.RATING)
GETTING_READY = (S.INTRO, S.SETUP, S.WAITING)
IN_SET = (S.LEAD_IN, S.WORKING, S.STILL)
SET_OVER = (S.SET_END, S.ASKING, S.CONFIRMING, S.RESTING)
INTERRUPTED = (S.HALTED, S.RECOVERING, S.PAUSED)
EXERCISING = (*GETTING_READY, *IN_SET, *SET_OVER, *INTERRUPTED)
DEVICE_GONE = (S.DEAF, S.MUTE)
LIVE = (*BEFORE_EXERCISES, *EXERCISING, *DEVICE_GONE)

# -- the table --------------------------------------------------------------------------------------------------------


def _from(states: Iterable[State], on: On, to: State | Branches | None, act: Act) -> tuple[Row, ...]:
    """Return the same row for each of `states`."""
    return tuple(Row(state, on, when.always, to, act) for state in states)


def _in(state: State, *rows: tuple[On, Guard, State | Branches | None, Act]) -> tuple[Row, ...]:
    """Return the rows of one state."""
    return tuple(Row(state, *row) for row in rows)


def _resumed() -> tuple[tuple[On, Guard, State, Act], ...]:
    return tuple((On.READY, guard, to, halts.ready) for guard, to in RESUMED)


TABLE: tuple[Row, ...] = (
    # -- from many states; a halt comes first
    *_from((s for s in (*BEFORE_EXERCISES, *EXERCISING) if s is not S.HALTED), On.STOP, S.HALTED, halts.halt),
    *_from(EXERCISING, On.PAIN, S.ASKING, halts.tell_pain),
    *_from(EXERCISING, On.TIRED, DECIDED, halts.tell_tired),
    *_from(EXERCISING, On.UNSTEADY, DECIDED, halts.tell_unsteady),
    *_from((*GETTING_READY, *IN_SET, *SET_OVER), On.PAUSE, S.PAUSED, halts.pause),
    *_from((S.WAITING, *IN_SET), On.BREAK, S.PAUSED, halts.pause),
    *_from((*BEFORE_EXERCISES, *EXERCISING), On.MIC_LOST, S.DEAF, halts.device),
    *_from((*BEFORE_EXERCISES, *EXERCISING), On.SPEAKER_LOST, S.MUTE, halts.device),
    *_from((*LIVE, S.CLOSING), On.UNWRITTEN, None, halts.record_trouble),
    *_from((*LIVE, S.CLOSING), On.WRITTEN, None, halts.record_trouble),
    *_from(LIVE, On.FINISH, S.CLOSING, endings.end_as("asked")),
    *(row for on, why in FROM_OUTSIDE.items() for row in _from((*LIVE, S.CLOSING), on, S.ENDED, endings.end_as(why))),
    *_from(BEFORE_EXERCISES, On.WHY, None, acts.say_cautions),

    # -- the start: the sound check, then the screen
    *_in(S.OPENING,
        # on            when                        to               act
        (On.START,      when.always,                S.OPENING,       prompts.nothing),
        (On.CUE_DONE,   when.always,                S.CHECKING,      prompts.nothing),
        (On.AGAIN,      when.always,                S.OPENING,       prompts.hush)),
    *_in(S.CHECKING,
        (On.CUE_DONE,   when.always,                None,            prompts.open_window),
        (On.READY,      when.always,                OPENED,          sound_check.heard),
        (On.AGAIN,      when.always,                None,            prompts.say_again),
        (On.SPOKE,      when.prompts_left,          None,            sound_check.ask_again),
        (On.SPOKE,      when.always,                None,            prompts.nothing),
        (On.TIME_UP,    when.prompts_left,          None,            sound_check.ask_again),
        (On.TIME_UP,    when.always,                S.CLOSING,       sound_check.not_heard)),
    *_in(S.SCREENING,
        (On.CUE_DONE,   when.always,                None,            prompts.open_window),
        (On.YES,        when.screen_says_end,       S.CLOSING,       screening.ends),
        (On.YES,        when.always,                SCREENED,        screening.answer),
        (On.NO,         when.screen_says_end,       S.CLOSING,       screening.ends),
        (On.NO,         when.always,                SCREENED,        screening.answer),
        (On.AGAIN,      when.always,                None,            prompts.say_again),
        (On.SPOKE,      when.prompts_left,          None,            prompts.prompt_again),
        (On.SPOKE,      when.always,                S.CLOSING,       endings.end_as("no_answer")),
        (On.TIME_UP,    when.prompts_left,          None,            prompts.prompt_again),
        (On.TIME_UP,    when.always,                S.CLOSING,       endings.end_as("no_answer"))),
    *_in(S.SCREEN_CHECK,
        (On.CUE_DONE,   when.always,                None,            prompts.open_window),
        (On.YES,        when.always,                BEGUN,           screening.confirmed),
        (On.NO,         when.denials_left,          S.SCREENING,     screening.anew),
        (On.NO,         when.always,                S.CLOSING,       screening.unsettled),
        (On.AGAIN,      when.always,                None,            prompts.say_again),
        (On.SPOKE,      when.prompts_left,          None,            prompts.prompt_again),
        (On.SPOKE,      when.always,                S.CLOSING,       endings.end_as("no_answer")),
        (On.TIME_UP,    when.prompts_left,          None,            prompts.prompt_again),
        (On.TIME_UP,    when.always,                S.CLOSING,       endings.end_as("no_answer"))),
    *_in(S.RATING,
        (On.CUE_DONE,   when.always,                None,            prompts.open_window),
        (On.NUMBER,     when.always,                BEGUN,           rating.rated),
        (On.NO,         when.always,                BEGUN,           rating.passed_over),
        (On.AGAIN,      when.always,                None,            prompts.say_again),
        (On.SPOKE,      when.prompts_left,          None,            prompts.prompt_again),
        (On.SPOKE,      when.always,                BEGUN,           rating.passed_over),
        (On.TIME_UP,    when.prompts_left,          None,            prompts.prompt_again),
        (On.TIME_UP,    when.always,                BEGUN,           rating.passed_over)),

    # -- getting ready
    *_in(S.INTRO,
        (On.CUE_DONE,   when.always,                S.SETUP,         prompts.nothing),
        (On.AGAIN,      when.always,                S.SETUP,         prompts.hush),
        (On.WHY,        when.always,                S.SETUP,         acts.say_why)),
    *_in(S.SETUP,
        (On.CUE_DONE,   when.always,                S.WAITING,       prompts.nothing),
        (On.READY,      when.time_is_over,          S.CLOSING,       endings.end_as("time")),
        (On.READY,      when.always,                S.LEAD_IN,       halts.ready),
        (On.AGAIN,      when.always,                S.SETUP,         prompts.hush),
        (On.WHY,        when.always,                S.SETUP,         acts.say_why)),
    *_in(S.WAITING,
        (On.CUE_DONE,   when.always,                None,            prompts.open_window),
        (On.READY,      when.time_is_over,          S.CLOSING,       endings.end_as("time")),
        (On.READY,      when.always,                S.LEAD_IN,       halts.ready),
        (On.NO,         when.always,                None,            prompts.not_yet),
        (On.AGAIN,      when.always,                S.SETUP,         prompts.hush),
        (On.WHY,        when.always,                S.WAITING,       acts.say_why),
        (On.EASIER,     when.always,                EASED,           acts.ease_between),
        (On.SLOWER,     when.always,                S.WAITING,       acts.slower),
        (On.LEFT,       when.always,                S.WAITING,       acts.sets_left),
        (On.SPOKE,      when.prompts_left,          None,            prompts.prompt_again),
        (On.SPOKE,      when.always,                None,            prompts.nothing),
        (On.TIME_UP,    when.prompts_left,          None,            prompts.prompt_again),
        (On.TIME_UP,    when.always,                S.CLOSING,       endings.end_as("no_answer"))),

    # -- the set; any speech takes a lead-in back
    *_in(S.LEAD_IN,
        (On.CUE_DONE,   when.not_placed,            None,            work_layout.place_work),
        (On.GO,         when.always,                S.WORKING,       acts.go),
        (On.NO,         when.always,                TAKEN_BACK,      halts.take_back),
        (On.SPOKE,      when.always,                TAKEN_BACK,      halts.take_back)),
    *_in(S.WORKING,
        (On.REP,        when.always,                None,            acts.rep),
        (On.PHASE,      when.always,                None,            acts.phase),
        (On.REP_DONE,   when.always,                None,            acts.rep_done),
        (On.SECOND,     when.always,                None,            acts.second),
        (On.DONE,       when.always,                S.SET_END,       acts.close_as("done")),
        (On.CUE_DONE,   when.always,                None,            prompts.nothing),
        (On.ENOUGH,     when.always,                S.SET_END,       acts.enough),
        (On.EASIER,     when.always,                S.SET_END,       acts.ease_in_set),
        (On.SLOWER,     when.always,                None,            acts.slower_in_set),
        (On.LEFT,       when.always,                None,            acts.left_in_set),
        (On.SPOKE,      when.always,                S.STILL,         prompts.nothing)),
    # speech that was not understood: finish the phase, stand still, ask
    *_in(S.STILL,
        (On.TIME_UP,    when.completes_set,         S.SET_END,       acts.complete_set),
        (On.TIME_UP,    when.still_and_prompts_left, None,           prompts.prompt_again),
        (On.TIME_UP,    when.stands_still,          S.PAUSED,        halts.pause_unsure),
        (On.TIME_UP,    when.always,                None,            acts.stand_still),
        (On.CUE_DONE,   when.stands_still,          None,            prompts.open_window),
        (On.CUE_DONE,   when.always,                None,            prompts.nothing),
        (On.READY,      when.always,                S.LEAD_IN,       halts.ready),
        (On.ENOUGH,     when.always,                S.SET_END,       acts.enough),
        (On.EASIER,     when.always,                S.SET_END,       acts.ease_in_set),
        (On.SPOKE,      when.still_and_prompts_left, None,           prompts.prompt_again),
        (On.SPOKE,      when.always,                None,            prompts.nothing)),

    # -- after a set: its questions, then the rest
    *_in(S.SET_END,
        (On.CUE_DONE,   when.always,                AFTER_SET,       prompts.nothing)),
    *_in(S.ASKING,
        (On.CUE_DONE,   when.always,                None,            prompts.open_window),
        (On.AGAIN,      when.always,                None,            prompts.say_again),
        (On.YES,        when.asks_yes_no,           AFTER_ANSWER,    answers.settle_reps),
        (On.YES,        when.on_ladder,             PLACED,          answers.answer_rung),
        (On.NO,         when.asks_yes_no,           AFTER_ANSWER,    answers.settle_reps),
        (On.NO,         when.on_ladder,             PLACED,          answers.answer_rung),
        (On.NUMBER,     when.asks_number,           S.CONFIRMING,    answers.note_number),
        (On.SPOKE,      when.ladder_due,            S.ASKING,        answers.to_ladder),
        (On.SPOKE,      when.number_not_understood, None,            answers.not_understood),
        (On.SPOKE,      when.prompts_left,          None,            prompts.prompt_again),
        (On.SPOKE,      when.about_pain,            S.PAUSED,        answers.pause_unanswered),
        (On.SPOKE,      when.always,                AFTER_ANSWER,    answers.skip_question),
        (On.TIME_UP,    when.prompts_left,          None,            prompts.prompt_again),
        (On.TIME_UP,    when.about_pain,            S.PAUSED,        answers.pause_unanswered),
        (On.TIME_UP,    when.always,                AFTER_ANSWER,    answers.skip_question)),
    *_in(S.CONFIRMING,
        (On.CUE_DONE,   when.always,                None,            prompts.open_window),
        (On.AGAIN,      when.always,                None,            prompts.say_again),
        (On.YES,        when.always,                AFTER_ANSWER,    answers.settle),
        (On.NUMBER,     when.attempts_left,         S.CONFIRMING,    answers.note_number),
        (On.NO,         when.ladder_due,            S.ASKING,        answers.to_ladder),
        (On.NO,         when.attempts_left,         S.ASKING,        answers.deny),
        (On.NO,         when.worst_pain_ends,       AFTER_ANSWER,    answers.settle_worst),
        (On.NO,         when.about_pain,            S.PAUSED,        answers.pause_unanswered),
        (On.NO,         when.always,                AFTER_ANSWER,    answers.skip_question),
        (On.SPOKE,      when.prompts_left,          None,            prompts.prompt_again),
        (On.SPOKE,      when.worst_pain_ends,       AFTER_ANSWER,    answers.settle_worst),
        (On.SPOKE,      when.about_pain,            S.PAUSED,        answers.pause_unanswered),
        (On.SPOKE,      when.always,                AFTER_ANSWER,    answers.skip_question),
        (On.TIME_UP,    when.soft,                  AFTER_ANSWER,    answers.settle),
        (On.TIME_UP,    when.prompts_left,          None,            prompts.prompt_again),
        (On.TIME_UP,    when.worst_pain_ends,       AFTER_ANSWER,    answers.settle_worst),
        (On.TIME_UP,    when.about_pain,            S.PAUSED,        answers.pause_unanswered)),
    *_in(S.RESTING,
        (On.CUE_DONE,   when.always,                None,            prompts.nothing),
        (On.READY,      when.always,                None,            acts.say_rest),
        (On.EASIER,     when.a_set_comes_later,     S.RESTING,       acts.ease_between),
        (On.SLOWER,     when.always,                None,            acts.slower),
        (On.LEFT,       when.always,                None,            acts.sets_left_in_rest),
        (On.TIME_UP,    when.over,                  S.CLOSING,       prompts.nothing),
        (On.TIME_UP,    when.time_is_over,          S.CLOSING,       endings.end_as("time")),
        (On.TIME_UP,    when.exercise_is_over,      S.INTRO,         acts.next_exercise),
        (On.TIME_UP,    when.always,                NEXT_TURN,       acts.next_turn)),

    # -- halts and pauses, and the way back
    *_in(S.HALTED,
        (On.STOP,       when.always,                None,            halts.halt_again),
        (On.CUE_DONE,   when.always,                None,            prompts.open_window),
        (On.AGAIN,      when.always,                None,            prompts.say_again),
        (On.READY,      when.too_many_halts,        S.CLOSING,       endings.end_halts),
        *_resumed(),
        (On.BREAK,      when.too_many_halts,        S.CLOSING,       endings.end_halts),
        (On.BREAK,      when.always,                S.RECOVERING,    halts.tell_break),
        (On.NO,         when.too_many_halts,        S.CLOSING,       endings.end_halts),
        (On.NO,         when.always,                S.RECOVERING,    halts.tell_break),
        (On.SPOKE,      when.prompts_left,          None,            prompts.prompt_again),
        (On.SPOKE,      when.always,                None,            prompts.nothing),
        (On.TIME_UP,    when.prompts_left,          None,            prompts.prompt_again),
        (On.TIME_UP,    when.always,                S.CLOSING,       endings.end_as("no_answer"))),
    *_in(S.RECOVERING,
        (On.CUE_DONE,   when.always,                None,            prompts.open_window),
        (On.AGAIN,      when.always,                None,            prompts.say_again),
        *_resumed(),
        (On.SPOKE,      when.prompts_left,          None,            prompts.prompt_again),
        (On.SPOKE,      when.always,                None,            prompts.nothing),
        (On.TIME_UP,    when.prompts_left,          None,            prompts.prompt_again),
        (On.TIME_UP,    when.always,                S.CLOSING,       endings.end_as("no_answer"))),
    *_in(S.PAUSED,
        (On.CUE_DONE,   when.always,                None,            prompts.open_window),
        (On.AGAIN,      when.always,                None,            prompts.say_again),
        (On.READY,      when.too_many_halts,        S.CLOSING,       endings.end_halts),
        (On.READY,      both(takes_up(S.ASKING), when.time_is_over), S.CLOSING, endings.end_as("time")),
        *_resumed(),
        (On.TIME_UP,    when.prompts_left,          None,            prompts.prompt_again),
        (On.TIME_UP,    when.always,                S.CLOSING,       endings.end_as("no_answer"))),

    # -- lost devices
    *_in(S.DEAF,
        (On.STOP,       when.always,                None,            halts.halt_deaf),
        (On.MIC_BACK,   when.speaker_gone,          S.MUTE,          halts.device),
        (On.MIC_BACK,   when.always,                S.PAUSED,        halts.device),
        (On.SPEAKER_LOST, when.speaker_there,       None,            halts.device_too),
        (On.SPEAKER_BACK, when.speaker_gone,        None,            halts.device_too),
        (On.CUE_DONE,   when.always,                None,            prompts.nothing),
        (On.TIME_UP,    when.always,                S.CLOSING,       endings.end_as("deaf"))),
    *_in(S.MUTE,
        (On.STOP,       when.always,                None,            halts.halt_deaf),
        (On.SPEAKER_BACK, when.mic_gone,            S.DEAF,          halts.device),
        (On.SPEAKER_BACK, when.always,              S.PAUSED,        halts.device),
        (On.MIC_LOST,   when.mic_there,             None,            halts.device_too),
        (On.MIC_BACK,   when.mic_gone,              None,            halts.device_too),
        (On.TIME_UP,    when.always,                S.CLOSING,       endings.end_as("mute"))),

    # -- the end
    *_in(S.CLOSING,
        (On.STOP,       when.always,                S.ENDED,         prompts.nothing),
        (On.READY,      when.always,                None,            prompts.nothing),
        (On.CUE_DONE,   when.always,                S.ENDED,         prompts.nothing),
        (On.TIME_UP,    when.always,                S.ENDED,         prompts.nothing)),
)  # fmt: skip


def rows(state: State, on: On) -> tuple[Row, ...]:
    """Return the rows of one state and event, in the order they are tried."""
    return _INDEX.get((state, on), ())


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
