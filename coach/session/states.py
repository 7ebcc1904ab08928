"""THE table: every state a session can be in, what it takes, and where that leads.

Three rules make it true:
1. Everything that changes the state of a session is a row of TABLE; `machine.handle` only looks rows up.
2. Rows of one state and event are tried from the top; the first whose `when` holds is taken. No row: out of place.
3. Work (LEAD_IN) is reached through READY and nothing else; silence and unclear speech lead away from it.

A row's `act` runs first; then `to` is entered. `to` is one state, or None (stay, without entering anew), or a choice: pairs
of a predicate over the session after the act and a state, the first that holds.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import dataclass

from coach.program.model import Action, Hold, Reps
from coach.session import acts
from coach.session.acts import Act
from coach.session.entries import PROMPTS
from coach.session.events import REPLIES, Event, On
from coach.session.lines import planned_amount, work_of
from coach.session.state import Question, Session, State, Then
from coach.tempo.units import to_samples

Guard = Callable[[Session, Event], bool]
Choice = tuple[tuple[Callable[[Session], bool], State], ...]


@dataclass(frozen=True, slots=True)
class Row:
    """One line of the table."""

    state: State
    on: On
    when: Guard
    to: State | Choice | None
    act: Act


# -- predicates over the session after an act ---------------------------------------------------------------------------


def always(_session: Session, _event: Event | None = None) -> bool:
    return True


def ends(session: Session) -> bool:
    """Something decided that the session ends."""
    return bool(session.end_why)


def halted(session: Session) -> bool:
    return session.halted


def more_asks(session: Session) -> bool:
    return bool(session.asks)


def over(session: Session) -> bool:
    """No set of any exercise is left."""
    last_turn = session.turn + 1 >= len(session.turns) or bool(session.exercise_over)
    return last_turn and session.exercise_index + 1 >= len(session.today.exercises)


def needs_setup(session: Session) -> bool:
    return session.new_setup


def more_screen(session: Session) -> bool:
    return session.screen_index < len(session.today.screen)


def set_goes_on(session: Session) -> bool:
    return session.then is Then.SET and session.open_set is not None


def set_was_closed(session: Session) -> bool:
    return session.then is Then.REST


def has_screen(session: Session) -> bool:
    return bool(session.today.screen)


def goes_back_to(state: State) -> Callable[[Session], bool]:
    """Return the predicate: this state was interrupted."""

    def back(session: Session) -> bool:
        return session.then is Then.BACK and session.back is state

    return back


def both(one: Callable[[Session], bool], other: Callable[[Session], bool]) -> Callable[[Session], bool]:
    """Return the predicate that holds where both do."""
    return lambda session: one(session) and other(session)


def pain_unmeasured(session: Session) -> bool:
    """Pain was told after a halt and how much is not known."""
    return session.asks[:1] == (Question.HALT_PAIN,)


BACK_TO = (
    State.OPENING, State.SCREENING, State.INTRO, State.SETUP, State.WAITING, State.ASKING, State.RESTING,
)  # fmt: skip
"""States that can be taken up again after an interruption."""

AFTER_SET: Choice = (
    (ends, State.CLOSING),
    (more_asks, State.ASKING),
    (over, State.CLOSING),
    (always, State.RESTING),
)
AFTER_ANSWER: Choice = ((ends, State.CLOSING), (halted, State.RECOVERING), *AFTER_SET[1:])
RESUME: Choice = (
    (pain_unmeasured, State.ASKING),
    (set_goes_on, State.LEAD_IN),
    (both(set_was_closed, more_asks), State.ASKING),
    (both(set_was_closed, over), State.CLOSING),
    (set_was_closed, State.RESTING),
    (both(goes_back_to(State.WAITING), needs_setup), State.SETUP),
    *((goes_back_to(state), state) for state in BACK_TO),
)
DECIDED: Choice = ((ends, State.CLOSING), (always, State.RECOVERING))


# -- guards: over the session before the act, and the event ---------------------------------------------------------------


def prompts_left(session: Session, _event: Event) -> bool:
    return session.prompts + 1 < PROMPTS[session.state]


def too_many_halts(session: Session, _event: Event) -> bool:
    return session.halted and session.halts >= session.today.program.limits.halts


def screen_says_end(session: Session, event: Event) -> bool:
    question = session.today.screen[session.screen_index]
    return question.action is Action.END_SESSION and question.answer is (event.on is On.YES)


def not_placed(session: Session, _event: Event) -> bool:
    return not session.placed


def held(session: Session, _event: Event) -> bool:
    return session.held


def held_and_prompts_left(session: Session, event: Event) -> bool:
    return session.held and prompts_left(session, event)


def completes_set(session: Session, event: Event) -> bool:
    """The phase that ran out was the last of the set."""
    running = session.open_set
    if running is None or session.held or isinstance(work_of(session), Hold):
        return False
    last_side = running.side == session.sides[-1]
    return (
        last_side
        and running.rep >= session.target
        and running.counted + 1 >= planned_amount(session)[1]
        and running.phase_began >= 0
        and event.at >= running.phase_until
        and running.phase == _last_phase(session)
    )


def _last_phase(session: Session) -> int:
    work = work_of(session)
    if isinstance(work, Hold):
        return 0
    return len(work.phases if isinstance(work, Reps) else work.points) - 1


def asks_yes_no(session: Session, _event: Event) -> bool:
    return session.asked_about is Question.REPS


def asks_number(session: Session, _event: Event) -> bool:
    return session.asked_about is not Question.REPS


def about_pain(session: Session, _event: Event) -> bool:
    return session.asked_about in (Question.PAIN, Question.HALT_PAIN)


def soft(session: Session, _event: Event) -> bool:
    """The number read back can add no work: not denying it is enough."""
    return session.asked_about in (Question.EFFORT, Question.MISSED)


def attempts_left(session: Session, _event: Event) -> bool:
    return session.attempts < PROMPTS[State.ASKING]


def exercise_is_over(session: Session, _event: Event) -> bool:
    return bool(session.exercise_over) or session.turn + 1 >= len(session.turns)


def time_is_over(session: Session, event: Event) -> bool:
    return event.at - session.began >= to_samples(session.today.program.limits.minutes * 60.0)


# -- the table ------------------------------------------------------------------------------------------------------------


def _for(states: Iterable[State], on: On, when: Guard, to: State | Choice | None, act: Act) -> tuple[Row, ...]:
    """Return the same row for each of `states`."""
    return tuple(Row(state, on, when, to, act) for state in states)


S, A = State, acts
BEFORE = (S.OPENING, S.SCREENING, S.SCREEN_CHECK)
EXERCISING = (
    S.INTRO, S.SETUP, S.WAITING, S.LEAD_IN, S.WORKING, S.HOLDING, S.SET_END, S.ASKING, S.CONFIRMING, S.RESTING,
    S.RECOVERING, S.PAUSED, S.HALTED,
)  # fmt: skip
GONE = (S.DEAF, S.MUTE)
LIVE = (*BEFORE, *EXERCISING, *GONE)

TABLE: tuple[Row, ...] = (
    # in                on             when                 to                act
    # a halt comes first, from everywhere
    *_for((s for s in (*BEFORE, *EXERCISING) if s is not S.HALTED), On.STOP, always, S.HALTED, A.halt),
    Row(S.HALTED,       On.STOP,       always,              None,             A.halt_again),
    *_for(GONE, On.STOP, always, None, A.halt_deaf),
    Row(S.CLOSING,      On.STOP,       always,              S.ENDED,          A.nothing),
    *_for((*LIVE, S.CLOSING), On.QUIT, always, S.ENDED, A.end_as("quit")),
    # why, said at once or when asked
    *_for(EXERCISING, On.PAIN, always, S.ASKING, A.tell_pain),
    *_for(EXERCISING, On.TIRED, always, DECIDED, A.tell_tired),
    *_for(EXERCISING, On.UNSTEADY, always, DECIDED, A.tell_unsteady),
    *_for(LIVE, On.FINISH, always, S.CLOSING, A.end_as("asked")),
    # devices
    *_for((s for s in LIVE if s is not S.DEAF), On.MIC_LOST, always, S.DEAF, A.device("mic_lost")),
    *_for((s for s in LIVE if s is not S.MUTE), On.SPEAKER_LOST, always, S.MUTE, A.device("speaker_lost")),
    Row(S.DEAF,         On.MIC_BACK,   always,              S.PAUSED,         A.device("mic_back")),
    Row(S.MUTE,         On.SPEAKER_BACK, always,            S.PAUSED,         A.device("speaker_back")),
    Row(S.DEAF,         On.CUE_DONE,   always,              None,             A.nothing),
    Row(S.DEAF,         On.TIME_UP,    always,              S.CLOSING,        A.end_as("deaf")),
    Row(S.MUTE,         On.TIME_UP,    always,              S.CLOSING,        A.end_as("mute")),
    # opening and screening
    Row(S.OPENING,      On.START,      always,              S.OPENING,        A.nothing),
    Row(S.OPENING,      On.CUE_DONE,   always,              ((has_screen, S.SCREENING), (always, S.INTRO)), A.nothing),
    Row(S.OPENING,      On.AGAIN,      always,              S.OPENING,        A.hush),
    *_for((S.SCREENING, S.SCREEN_CHECK), On.CUE_DONE, always, None, A.open_window),
    *_for((S.SCREENING, S.SCREEN_CHECK), On.AGAIN, always, None, A.say_again),
    *_for((S.SCREENING, S.SCREEN_CHECK), On.SPOKE, prompts_left, None, A.prompt_again),
    *_for((S.SCREENING, S.SCREEN_CHECK), On.TIME_UP, prompts_left, None, A.prompt_again),
    *_for((S.SCREENING, S.SCREEN_CHECK), On.SPOKE, always, S.CLOSING, A.end_as("no_answer")),
    *_for((S.SCREENING, S.SCREEN_CHECK), On.TIME_UP, always, S.CLOSING, A.end_as("no_answer")),
    *(row for on in (On.YES, On.NO) for row in (
        Row(S.SCREENING, on,           screen_says_end,     S.CLOSING,        A.screen_ends),
        Row(S.SCREENING, on,           always, ((more_screen, S.SCREENING), (always, S.SCREEN_CHECK)), A.answer_screen),
    )),
    Row(S.SCREEN_CHECK, On.YES,        always,              S.INTRO,          A.screen_confirmed),
    Row(S.SCREEN_CHECK, On.NO,         prompts_left,        S.SCREENING,      A.screen_anew),
    Row(S.SCREEN_CHECK, On.NO,         always,              S.CLOSING,        A.end_as("no_answer")),
    # getting ready
    Row(S.INTRO,        On.CUE_DONE,   always,              S.SETUP,          A.nothing),
    Row(S.SETUP,        On.CUE_DONE,   always,              S.WAITING,        A.nothing),
    *_for((S.SETUP, S.WAITING), On.READY, always, S.LEAD_IN, A.ready),
    Row(S.WAITING,      On.CUE_DONE,   always,              None,             A.open_window),
    Row(S.WAITING,      On.NO,         always,              None,             A.not_yet),
    Row(S.WAITING,      On.SPOKE,      prompts_left,        None,             A.prompt_again),
    Row(S.WAITING,      On.SPOKE,      always,              None,             A.nothing),
    Row(S.WAITING,      On.TIME_UP,    prompts_left,        None,             A.prompt_again),
    Row(S.WAITING,      On.TIME_UP,    always,              S.CLOSING,        A.end_as("no_answer")),
    *_for((S.INTRO, S.SETUP, S.WAITING), On.AGAIN, always, S.SETUP, A.hush),
    *_for((S.INTRO, S.SETUP), On.WHY, always, S.SETUP, A.say_why),
    Row(S.WAITING,      On.WHY,        always,              S.WAITING,        A.say_why),
    Row(S.WAITING,      On.EASIER,     always, ((needs_setup, S.SETUP), (always, S.WAITING)), A.ease_between),
    Row(S.WAITING,      On.SLOWER,     always,              S.WAITING,        A.slower),
    Row(S.WAITING,      On.LEFT,       always,              S.WAITING,        A.sets_left),
    # the lead-in: anything but quiet takes it back
    Row(S.LEAD_IN,      On.CUE_DONE,   not_placed,          None,             A.place_work),
    Row(S.LEAD_IN,      On.GO,         always,              S.WORKING,        A.go),
    *_for((S.LEAD_IN,), On.SPOKE, always, ((set_goes_on, S.HOLDING), (always, S.WAITING)), A.take_back),
    *_for((S.LEAD_IN,), On.NO, always, ((set_goes_on, S.HOLDING), (always, S.WAITING)), A.take_back),
    # the work
    Row(S.WORKING,      On.REP,        always,              None,             A.rep),
    Row(S.WORKING,      On.PHASE,      always,              None,             A.phase),
    Row(S.WORKING,      On.REP_DONE,   always,              None,             A.rep_done),
    Row(S.WORKING,      On.SECOND,     always,              None,             A.second),
    Row(S.WORKING,      On.DONE,       always,              S.SET_END,        A.close_as("done")),
    Row(S.WORKING,      On.CUE_DONE,   always,              None,             A.nothing),
    Row(S.WORKING,      On.ENOUGH,     always,              S.SET_END,        A.enough),
    Row(S.WORKING,      On.EASIER,     always,              S.SET_END,        A.ease_in_set),
    Row(S.WORKING,      On.SLOWER,     always,              None,             A.slower),
    Row(S.WORKING,      On.LEFT,       always,              None,             A.left_in_set),
    Row(S.WORKING,      On.SPOKE,      always,              S.HOLDING,        A.nothing),
    # somebody spoke and nobody understood: finish the phase, hold, ask
    Row(S.HOLDING,      On.TIME_UP,    completes_set,       S.SET_END,        A.complete_set),
    Row(S.HOLDING,      On.TIME_UP,    held_and_prompts_left, None,           A.prompt_again),
    Row(S.HOLDING,      On.TIME_UP,    held,                S.PAUSED,         A.pause_unsure),
    Row(S.HOLDING,      On.TIME_UP,    always,              None,             A.hold_here),
    Row(S.HOLDING,      On.CUE_DONE,   held,                None,             A.open_window),
    Row(S.HOLDING,      On.CUE_DONE,   always,              None,             A.nothing),
    Row(S.HOLDING,      On.SPOKE,      held_and_prompts_left, None,           A.prompt_again),
    Row(S.HOLDING,      On.SPOKE,      always,              None,             A.nothing),
    Row(S.HOLDING,      On.READY,      always,              S.LEAD_IN,        A.ready),
    Row(S.HOLDING,      On.ENOUGH,     always,              S.SET_END,        A.enough),
    Row(S.HOLDING,      On.EASIER,     always,              S.SET_END,        A.ease_in_set),
    # after a set
    Row(S.SET_END,      On.CUE_DONE,   always,              AFTER_SET,        A.nothing),
    *_for((S.ASKING, S.CONFIRMING), On.CUE_DONE, always, None, A.open_window),
    *_for((S.ASKING, S.CONFIRMING), On.AGAIN, always, None, A.say_again),
    Row(S.ASKING,       On.YES,        asks_yes_no,         AFTER_ANSWER,     A.settle),
    Row(S.ASKING,       On.NO,         asks_yes_no,         AFTER_ANSWER,     A.settle),
    Row(S.ASKING,       On.NUMBER,     asks_number,         S.CONFIRMING,     A.note_number),
    *_for((S.ASKING,), On.SPOKE, prompts_left, None, A.prompt_again),
    *_for((S.ASKING,), On.TIME_UP, prompts_left, None, A.prompt_again),
    *_for((S.ASKING,), On.SPOKE, about_pain, S.PAUSED, A.pause_unanswered),
    *_for((S.ASKING,), On.TIME_UP, about_pain, S.PAUSED, A.pause_unanswered),
    *_for((S.ASKING,), On.SPOKE, always, AFTER_ANSWER, A.skip_question),
    *_for((S.ASKING,), On.TIME_UP, always, AFTER_ANSWER, A.skip_question),
    Row(S.CONFIRMING,   On.YES,        always,              AFTER_ANSWER,     A.settle),
    Row(S.CONFIRMING,   On.NUMBER,     attempts_left,       S.CONFIRMING,     A.note_number),
    Row(S.CONFIRMING,   On.NO,         attempts_left,       S.ASKING,         A.deny),
    Row(S.CONFIRMING,   On.NO,         always,              AFTER_ANSWER,     A.settle),
    Row(S.CONFIRMING,   On.TIME_UP,    soft,                AFTER_ANSWER,     A.settle),
    *_for((S.CONFIRMING,), On.TIME_UP, prompts_left, None, A.prompt_again),
    *_for((S.CONFIRMING,), On.TIME_UP, always, AFTER_ANSWER, A.settle),
    *_for((S.CONFIRMING,), On.SPOKE, prompts_left, None, A.prompt_again),
    *_for((S.CONFIRMING,), On.SPOKE, always, AFTER_ANSWER, A.settle),
    Row(S.RESTING,      On.CUE_DONE,   always,              None,             A.nothing),
    Row(S.RESTING,      On.READY,      always,              None,             A.say_rest),
    Row(S.RESTING,      On.EASIER,     always,              None,             A.ease_between),
    Row(S.RESTING,      On.SLOWER,     always,              None,             A.slower),
    Row(S.RESTING,      On.LEFT,       always,              None,             A.sets_left_in_rest),
    Row(S.RESTING,      On.TIME_UP,    time_is_over,        S.CLOSING,        A.end_as("time")),
    Row(S.RESTING,      On.TIME_UP,    exercise_is_over,    S.INTRO,          A.next_exercise),
    Row(S.RESTING,      On.TIME_UP,    always, ((needs_setup, S.SETUP), (always, S.WAITING)), A.next_turn),
    # halted, and back
    Row(S.HALTED,       On.CUE_DONE,   always,              None,             A.open_window),
    Row(S.HALTED,       On.AGAIN,      always,              None,             A.say_again),
    *_for((S.HALTED, S.RECOVERING), On.SPOKE, prompts_left, None, A.prompt_again),
    *_for((S.HALTED, S.RECOVERING), On.TIME_UP, prompts_left, None, A.prompt_again),
    *_for((S.HALTED, S.RECOVERING), On.SPOKE, always, None, A.nothing),
    *_for((S.HALTED, S.RECOVERING), On.TIME_UP, always, S.CLOSING, A.end_as("no_answer")),
    *_for((S.HALTED, S.RECOVERING), On.READY, too_many_halts, S.CLOSING, A.end_as("halts")),
    *_for((S.HALTED, S.RECOVERING, S.PAUSED), On.READY, always, RESUME, A.ready),
    *_for((S.HALTED,), On.BREAK, too_many_halts, S.CLOSING, A.end_as("halts")),
    *_for((S.HALTED,), On.NO, too_many_halts, S.CLOSING, A.end_as("halts")),
    *_for((S.HALTED,), On.BREAK, always, S.RECOVERING, A.tell_break),
    *_for((S.HALTED,), On.NO, always, S.RECOVERING, A.tell_break),
    Row(S.RECOVERING,   On.CUE_DONE,   always,              None,             A.open_window),
    Row(S.RECOVERING,   On.AGAIN,      always,              None,             A.say_again),
    # paused
    *_for(
        (S.INTRO, S.SETUP, S.WAITING, S.LEAD_IN, S.WORKING, S.HOLDING, S.RESTING, S.SET_END, S.ASKING, S.CONFIRMING),
        On.PAUSE, always, S.PAUSED, A.pause,
    ),
    *_for((S.WORKING, S.HOLDING, S.LEAD_IN, S.WAITING), On.BREAK, always, S.PAUSED, A.pause),
    Row(S.PAUSED,       On.CUE_DONE,   always,              None,             A.open_window),
    Row(S.PAUSED,       On.AGAIN,      always,              None,             A.say_again),
    Row(S.PAUSED,       On.TIME_UP,    prompts_left,        None,             A.prompt_again),
    Row(S.PAUSED,       On.TIME_UP,    always,              S.CLOSING,        A.end_as("no_answer")),
    # the end
    Row(S.CLOSING,      On.CUE_DONE,   always,              S.ENDED,          A.nothing),
    Row(S.CLOSING,      On.TIME_UP,    always,              S.ENDED,          A.nothing),
    *_for((S.CLOSING,), On.READY, always, None, A.nothing),
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
