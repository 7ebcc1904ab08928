"""What a session does with the answers to its questions before the start."""

from __future__ import annotations

from coach.loglines.kinds import Answered, ScreenConfirmed, ScreenDenied
from coach.program.model import Action
from coach.session.changed import changed
from coach.session.commands import HUSH, Command, Record
from coach.session.easing import eased_all
from coach.session.events import Event, On
from coach.session.plan import NEXT_DAY
from coach.session.sets import go_on
from coach.session.signs import answer_told
from coach.session.state import Result, Screening, Session
from coach.session.wording import say


def answer(session: Session, event: Event) -> Result:
    """Note a yes or no."""
    question = session.screen_question
    said_yes = event.on is On.YES
    line = Answered(f"screen.{question.id}", said_yes, event.ear, read_back=False, attempts=session.prompts + 1)
    noted = changed(session.screening, answers=(*session.screening.answers, said_yes))
    return changed(session, screening=noted), (*HUSH, Record(event.at, line))


def ends(session: Session, event: Event) -> Result:
    """Note the answer that ends the session before any exercise, and first what follows from it."""
    session, signed = answer_told(session, event)
    session, commands = answer(session, event)
    return changed(session, end_why="screen"), (*signed, *commands)


def confirmed(session: Session, event: Event) -> Result:
    """The answers are confirmed: ease every exercise if one of them asks for it."""
    commands: tuple[Command, ...] = (*HUSH, Record(event.at, ScreenConfirmed(event.ear)))
    causes = [
        question.id
        for question, answer_ in zip(session.today.screen, session.screening.answers, strict=True)
        if answer_ is question.answer and question.action in (Action.EASE, Action.STEP_DOWN)
    ]
    if causes:  # ease once; name a worse morning first, since it counts beyond today
        cause = NEXT_DAY if NEXT_DAY in causes else causes[0]
        session, lines = eased_all(session, event.at, f"screen.{cause}")
        commands += (*lines, *say("eased_today"))
    return go_on(session, event.at), commands


def anew(session: Session, event: Event) -> Result:
    """The read-back was denied: ask all questions again."""
    denials = session.screening.denials + 1
    return changed(session, screening=Screening(denials=denials)), (*HUSH, Record(event.at, ScreenDenied(event.ear)))


def unsettled(session: Session, event: Event) -> Result:
    """The read-back was denied too often: end the session."""
    return changed(session, end_why="screen"), (*HUSH, Record(event.at, ScreenDenied(event.ear)))
