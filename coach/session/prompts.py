"""What a session does while it waits for an answer: set a time limit, ask again, repeat."""

from __future__ import annotations

from coach.session.changed import changed
from coach.session.commands import HUSH, Command, WakeAt
from coach.session.events import Event, On
from coach.session.state import Question, Result, Session, State
from coach.session.waits import SOFT_CONFIRM, WINDOW
from coach.session.wording import ask, ask_goal, ask_screen, own, read_back, say, screen_answers
from coach.tempo.units import to_samples


def nothing(session: Session, _event: Event) -> Result:
    """Take the event and do nothing."""
    return session, ()


# -- prompts ----------------------------------------------------------------------------------------------------------


def open_window(session: Session, event: Event) -> Result:
    """Nothing is left to say: wait for an answer, for as long as the state's WINDOW."""
    soft = session.state is State.CONFIRMING and session.asked_about in (Question.EFFORT, Question.MISSED)
    seconds = SOFT_CONFIRM if soft else WINDOW[session.state]
    return session, (WakeAt(event.at + to_samples(seconds)),)


def prompt_again(session: Session, event: Event) -> Result:
    """Ask again; say whether the reply was not understood or nothing was heard."""
    session = changed(session, prompts=session.prompts + 1)
    lead = own(session, "not_understood") if event.on is On.SPOKE else own(session, "nothing_heard")
    return session, (*HUSH, *say(lead), *question_again(session))


def question_again(session: Session) -> tuple[Command, ...]:
    """Return the present state's question or request once more."""
    match session.state:
        case State.CHECKING:
            return say("check_ready")
        case State.SCREENING:
            return ask_screen(session)
        case State.SCREEN_CHECK:
            return screen_answers(session)
        case State.RATING:
            return ask_goal(session)
        case State.ASKING:
            return ask(session)
        case State.CONFIRMING:
            return read_back(session)
        case State.HALTED:
            return say("halt_why")
        case State.RECOVERING | State.PAUSED if session.quiet:
            return say("halt_ready_when")
        case State.STILL | State.PAUSED:
            return say("ready_when")
        case _:
            return say("ask_ready")


def say_again(session: Session, _event: Event) -> Result:
    """Repeat the question or request."""
    return session, (*HUSH, *question_again(session))


def hush(session: Session, _event: Event) -> Result:
    """Stop what is being said; entering the state says it again."""
    return session, HUSH


def not_yet(session: Session, _event: Event) -> Result:
    """ "No" to "are you ready": say "take your time"."""
    return session, (*HUSH, *say("take_your_time"))
