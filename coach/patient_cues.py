"""Tell a scripted patient what happens, in the terms of their script."""

from __future__ import annotations

from collections.abc import Callable

from coach.audio.patient import Kind, Moment
from coach.session.events import Event, On
from coach.session.ladder import above
from coach.session.lines import phase_name
from coach.session.plan import NEXT_DAY
from coach.session.state import Question, Session, State
from coach.session.table import BEFORE_EXERCISES

_ABOUT_SETS = {
    Question.REPS: "reps_all",
    Question.MISSED: "reps_how_many",
    Question.PAIN: "pain",
    Question.EFFORT: "effort",
    Question.HALT_PAIN: "halt_pain",
}

_READY = (State.WAITING, State.RECOVERING, State.PAUSED, State.STILL)
"""States that ask for "ready"."""

_RUNNING = {On.GO: Kind.WORK, On.REP: Kind.REP, On.PHASE: Kind.PHASE, On.SECOND: Kind.SECOND}
_ENTERED = {State.RESTING: Kind.REST, State.HALTED: Kind.HALT, State.CLOSING: Kind.CLOSING}


def cued(hear: Callable[[Moment], None]) -> Callable[[Session, Event, State], None]:
    """Return a callable for `engine.Hooks.tell`: `hear` is given each moment that means something to a patient."""

    def tell(session: Session, event: Event, before: State) -> None:
        moment = moment_of(session, event, before)
        if moment is not None:
            hear(moment)

    return tell


def _question(session: Session) -> str:
    if session.state in _READY:
        return "ready"
    match session.state:
        case State.CHECKING:
            return "check"
        case State.SCREENING:
            asked = session.screen_question.id
            return asked if asked == NEXT_DAY else f"screen.{asked}"
        case State.RATING:
            return "goal"
        case State.SCREEN_CHECK | State.CONFIRMING:
            return "confirm"
        case State.ASKING if session.rung is not None:
            return f"pain_above.{above(session)}"
        case State.ASKING:
            return _ABOUT_SETS[session.asked_about]
        case State.HALTED:
            return "why_halt"
        case _:
            return ""


def moment_of(session: Session, event: Event, before: State) -> Moment | None:
    """Return what the person in the room notices of a handled `event`; None: nothing."""
    if event.on in _RUNNING:
        return _moment(session, _RUNNING[event.on], event.at, event)
    if session.state is not before:
        return _moment(session, _ENTERED[session.state], event.at) if session.state in _ENTERED else None
    question = _question(session) if event.on is On.CUE_DONE else ""  # once it is asked
    return _moment(session, Kind.QUESTION, event.at, question=question) if question else None


def _moment(session: Session, kind: Kind, at: int, event: Event | None = None, question: str = "") -> Moment:
    inside = session.state not in BEFORE_EXERCISES
    number = session.present_turn[0]
    return Moment(
        kind,
        at,
        question=question,
        attempt=session.prompts + 1,
        exercise=session.planned.exercise.id if inside else "",
        set=number if inside else 0,
        rep=event.number if event else 0,
        phase=phase_name(session) if event and event.on is On.PHASE else "",
        side=event.side if event else "",
    )
