"""What a row of the table asks before it is taken, and what a choice asks after it has acted: named predicates."""

from __future__ import annotations

from collections.abc import Callable

from coach.program.model import Action, Hold
from coach.session.entries import PROMPTS
from coach.session.events import Event, On
from coach.session.lines import last_phase, planned_amount, work_of
from coach.session.rules import Band, band
from coach.session.state import Question, Session, State, Then
from coach.tempo.units import to_samples

Guard = Callable[[Session, Event], bool]
Check = Callable[[Session], bool]


# -- predicates over the session after an act -------------------------------------------------------------------------


def always(_session: Session, _event: Event | None = None) -> bool:
    return True


def ends(session: Session) -> bool:
    """Something decided that the session ends."""
    return bool(session.end_why)


def quiet(session: Session) -> bool:
    return session.quiet


def more_asks(session: Session) -> bool:
    return bool(session.asks)


def over(session: Session, _event: Event | None = None) -> bool:
    """No set of any exercise is left."""
    return exercise_is_over(session) and session.exercise_index + 1 >= len(session.today.exercises)


def exercise_is_over(session: Session, _event: Event | None = None) -> bool:
    """No set of this exercise is left behind the present one."""
    return bool(session.exercise_over) or session.turn + 1 >= len(session.turns)


def no_set_comes(session: Session) -> bool:
    """The set that was to come does not come: the exercise is over, or has fewer sets at its easier level."""
    return bool(session.exercise_over) or session.turn >= len(session.turns)


def needs_setup(session: Session) -> bool:
    return session.new_setup


def needs_intro(session: Session) -> bool:
    """A session was taken up in the middle of this exercise."""
    return session.introduced <= session.exercise_index


def is_taken_up(session: Session) -> bool:
    """The session goes on with one that broke off."""
    return session.today.taken_up is not None


def more_screen(session: Session) -> bool:
    return session.screen_index < len(session.today.screen)


def set_goes_on(session: Session) -> bool:
    return session.then is Then.SET and session.open_set is not None


def set_was_closed(session: Session) -> bool:
    return session.then is Then.REST


def goes_back_to_none(session: Session) -> bool:
    """What was interrupted does not come any more: the set that it was before, or the last of the questions."""
    if session.then is not Then.BACK:
        return False
    if session.back is State.ASKING:
        return not session.asks
    return session.back in (State.INTRO, State.SETUP, State.WAITING) and no_set_comes(session)


def has_screen(session: Session) -> bool:
    return bool(session.today.screen)


def goes_back_to(state: State) -> Check:
    """Return the predicate: this state was interrupted."""

    def back(session: Session) -> bool:
        return session.then is Then.BACK and session.back is state

    return back


def both(one: Check, other: Check) -> Check:
    """Return the predicate that holds where both do."""
    return lambda session: one(session) and other(session)


def pain_unmeasured(session: Session) -> bool:
    """Pain was told after a halt and how much is not known."""
    return session.asks[:1] == (Question.HALT_PAIN,)


# -- guards: over the session before the act, and the event -----------------------------------------------------------


def prompts_left(session: Session, _event: Event) -> bool:
    return session.prompts + 1 < PROMPTS[session.state]


def too_many_halts(session: Session, _event: Event | None = None) -> bool:
    """This halt is the one at which the program ends the session."""
    return session.quiet and session.halts >= session.today.program.limits.halts


def screen_says_end(session: Session, event: Event) -> bool:
    question = session.today.screen[session.screen_index]
    return question.action is Action.END_SESSION and question.answer is (event.on is On.YES)


def not_placed(session: Session, _event: Event) -> bool:
    return not session.placed


def stands_still(session: Session, _event: Event) -> bool:
    return session.still


def still_and_prompts_left(session: Session, event: Event) -> bool:
    return session.still and prompts_left(session, event)


def completes_set(session: Session, event: Event) -> bool:
    """The phase that ran out was the last of the set."""
    running = session.open_set
    if running is None or session.still or isinstance(work_of(session), Hold):
        return False
    return (
        running.side == session.sides[-1]
        and running.rep >= session.target
        and running.counted + 1 >= planned_amount(session)[1]
        and running.phase_began >= 0
        and event.at >= running.phase_until
        and running.phase == last_phase(session)
    )


def asks_yes_no(session: Session, _event: Event) -> bool:
    return session.asked_about is Question.REPS


def asks_number(session: Session, _event: Event) -> bool:
    return session.asked_about is not Question.REPS


def on_ladder(session: Session, _event: Event) -> bool:
    return session.rung >= 0


def placed_in_band(session: Session) -> bool:
    """Yes and no have come to a band."""
    return session.low >= 0


def number_not_understood(session: Session, event: Event) -> bool:
    """A number was asked for, and may be asked for again."""
    return session.rung < 0 and asks_number(session, event) and prompts_left(session, event)


def ladder_due(session: Session, event: Event) -> bool:
    """A number about pain was denied or not understood before."""
    return about_pain(session, event) and not session.by_ladder and session.trouble > 0


def about_pain(session: Session, _event: Event) -> bool:
    return session.asked_about in (Question.PAIN, Question.HALT_PAIN)


def soft(session: Session, _event: Event) -> bool:
    """The number read back can add no work: not denying it is enough."""
    return session.asked_about in (Question.EFFORT, Question.MISSED)


def attempts_left(session: Session, _event: Event) -> bool:
    return session.attempts < PROMPTS[State.ASKING]


def denials_left(session: Session, _event: Event) -> bool:
    return session.attempts + 1 < PROMPTS[State.SCREEN_CHECK]


def worst_pain_ends(session: Session, event: Event) -> bool:
    """Pain is asked about, and the worst number heard would end the session."""
    return about_pain(session, event) and band(session.today.program.limits, session.worst) is Band.END


def mic_there(session: Session, _event: Event | None = None) -> bool:
    return not session.mic_lost


def mic_gone(session: Session, _event: Event | None = None) -> bool:
    return session.mic_lost


def speaker_there(session: Session, _event: Event | None = None) -> bool:
    return not session.speaker_lost


def speaker_gone(session: Session, _event: Event | None = None) -> bool:
    return session.speaker_lost


def a_set_comes_later(session: Session, event: Event) -> bool:
    return not exercise_is_over(session, event)


def time_is_over(session: Session, event: Event) -> bool:
    return event.at - session.began >= to_samples(session.today.program.limits.minutes * 60.0)
