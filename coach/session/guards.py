"""Named predicates: a row of the table asks one before it is taken, a branch after the row has acted."""

from __future__ import annotations

from collections.abc import Callable

from coach.program.model import Action, Hold
from coach.session.events import Event, On
from coach.session.lines import last_phase, planned_amount, work_of
from coach.session.rules import Band, band
from coach.session.state import Question, Session, State
from coach.session.waits import PROMPTS
from coach.tempo.units import to_samples

Guard = Callable[[Session, Event], bool]


def always(_session: Session, _event: Event) -> bool:
    return True


def both(one: Guard, other: Guard) -> Guard:
    """Return the predicate that holds if both do."""
    return lambda session, event: one(session, event) and other(session, event)


# -- what comes ------------------------------------------------------------------------------------------------------


def ends(session: Session, _event: Event) -> bool:
    """Something decided that the session ends."""
    return session.end_why is not None


def time_is_over(session: Session, event: Event) -> bool:
    return event.at - session.began >= to_samples(session.today.program.limits.minutes * 60.0)


def rates_goals(session: Session, _event: Event) -> bool:
    """A goal is still to be asked about, and its number will be heard; a session taken up asks about none."""
    here = session.today
    return here.taken_up is None and not session.by_ladder and session.goals_passed < len(here.goals)


def is_taken_up(session: Session, _event: Event) -> bool:
    """The session continues one that broke off."""
    return session.today.taken_up is not None


def exercise_is_over(session: Session, _event: Event) -> bool:
    """No set of this exercise comes after the present one."""
    return session.exercise.over is not None or session.exercise.turn + 1 >= len(session.turns)


def a_set_comes_later(session: Session, event: Event) -> bool:
    return not exercise_is_over(session, event)


def no_set_comes(session: Session, _event: Event) -> bool:
    """The next set is dropped: the exercise is over, or its easier level has fewer sets."""
    return session.exercise.over is not None or session.exercise.turn >= len(session.turns)


def over(session: Session, event: Event) -> bool:
    """No set of any exercise is left."""
    return exercise_is_over(session, event) and session.exercise.index + 1 >= len(session.today.exercises)


def needs_setup(session: Session, _event: Event) -> bool:
    return session.exercise.new_setup


def needs_intro(session: Session, _event: Event) -> bool:
    """A session was taken up in the middle of this exercise."""
    return session.introduced <= session.exercise.index


# -- screening --------------------------------------------------------------------------------------------------------


def has_screen(session: Session, _event: Event) -> bool:
    return bool(session.today.screen)


def more_screen(session: Session, _event: Event) -> bool:
    return len(session.screening.answers) < len(session.today.screen)


def screen_says_end(session: Session, event: Event) -> bool:
    question = session.screen_question
    return question.action in (Action.END_SESSION, Action.HOLD) and question.answer is (event.on is On.YES)


def denials_left(session: Session, _event: Event) -> bool:
    return session.screening.denials + 1 < PROMPTS[State.SCREEN_CHECK]


# -- the set ----------------------------------------------------------------------------------------------------------


def prompts_left(session: Session, _event: Event) -> bool:
    return session.prompts + 1 < PROMPTS[session.state]


def not_placed(session: Session, _event: Event) -> bool:
    return not session.placed


def in_set(session: Session, _event: Event) -> bool:
    """A set is open."""
    return session.open_set is not None


def stands_still(session: Session, _event: Event) -> bool:
    return session.still


def still_and_prompts_left(session: Session, event: Event) -> bool:
    return session.still and prompts_left(session, event)


def completes_set(session: Session, event: Event) -> bool:
    """The set's last phase has run out."""
    running = session.open_set
    if running is None or session.still or isinstance(work_of(session), Hold):
        return False
    return (
        running.side == session.sides[-1]
        and running.rep >= session.target
        and running.counted + 1 >= planned_amount(session)[1]
        and running.phase == last_phase(session)
        and running.phase_ran_out(event.at)
    )


# -- questions --------------------------------------------------------------------------------------------------------


def more_asks(session: Session, _event: Event) -> bool:
    return bool(session.asks)


def asks_yes_no(session: Session, _event: Event) -> bool:
    return session.asked_about is Question.REPS


def asks_number(session: Session, _event: Event) -> bool:
    return session.asked_about is not Question.REPS


def about_pain(session: Session, _event: Event) -> bool:
    return session.asked_about in (Question.PAIN, Question.HALT_PAIN)


def soft(session: Session, _event: Event) -> bool:
    """The number read back can add no work, so it counts unless it is denied."""
    return session.asked_about in (Question.EFFORT, Question.MISSED)


def on_ladder(session: Session, _event: Event) -> bool:
    return session.rung is not None


def placed_in_band(session: Session, _event: Event) -> bool:
    """The yes/no ladder has arrived at a band."""
    given = session.open_question.given
    return given is not None and given.low is not None


def number_not_understood(session: Session, event: Event) -> bool:
    """A number is asked for and may be asked for again."""
    return session.rung is None and asks_number(session, event) and prompts_left(session, event)


def ladder_due(session: Session, event: Event) -> bool:
    """A number about pain was denied or not understood before."""
    return about_pain(session, event) and not session.by_ladder and session.open_question.trouble > 0


def attempts_left(session: Session, _event: Event) -> bool:
    return session.open_question.attempts < PROMPTS[State.ASKING]


def worst_pain_ends(session: Session, event: Event) -> bool:
    """Pain is asked about, and the worst number heard would end the session."""
    worst = session.open_question.worst
    limits = session.today.program.limits
    return about_pain(session, event) and worst is not None and band(limits, worst.number) is Band.END


# -- halts, pauses and lost devices -----------------------------------------------------------------------------------


def too_many_halts(session: Session, _event: Event) -> bool:
    return session.is_last_halt


def quiet(session: Session, _event: Event) -> bool:
    return session.quiet


def pain_unmeasured(session: Session, _event: Event) -> bool:
    """Somebody told of pain and not yet how much."""
    return session.pain_unmeasured


def takes_up(state: State) -> Guard:
    """Return the predicate that "ready" leads back to `state`."""

    def taken_up(session: Session, _event: Event) -> bool:
        return session.interruption is not None and session.interruption.back is state

    return taken_up


def nothing_to_take_up(session: Session, event: Event) -> bool:
    """Nothing is left of what was interrupted: its set is dropped, or no question is open."""
    back = session.interruption.back if session.interruption else None
    if back is State.ASKING:
        return not session.asks
    return back in (State.INTRO, State.SETUP, State.WAITING) and no_set_comes(session, event)


def mic_there(session: Session, _event: Event) -> bool:
    return not session.equipment.mic_lost


def mic_gone(session: Session, _event: Event) -> bool:
    return session.equipment.mic_lost


def speaker_there(session: Session, _event: Event) -> bool:
    return not session.equipment.speaker_lost


def speaker_gone(session: Session, _event: Event) -> bool:
    return session.equipment.speaker_lost
