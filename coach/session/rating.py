"""What a session does with the person's goals: it asks how near each is, before the work, and never insists."""

from __future__ import annotations

from coach.loglines.kinds import Answered, Unanswered
from coach.session.changed import changed
from coach.session.commands import HUSH, Record
from coach.session.events import Event
from coach.session.goals import GOAL
from coach.session.state import Result, Session
from coach.session.wording import say


def rated(session: Session, event: Event) -> Result:
    """Note how near a goal is, say the number back, and go on."""
    line = Answered(question(session), event.number, event.ear, read_back=False, attempts=session.prompts + 1)
    return _next(session), (*HUSH, Record(event.at, line), *say("goal_noted", n=event.number))


def passed_over(session: Session, event: Event) -> Result:
    """Leave a goal that nobody rates."""
    return _next(session), (*HUSH, Record(event.at, Unanswered(question(session), prompts=session.prompts + 1)))


def question(session: Session) -> str:
    """Return the name of the present question in the record."""
    return f"{GOAL}{session.goal.id}"


def _next(session: Session) -> Session:
    return changed(session, goals_passed=session.goals_passed + 1)
