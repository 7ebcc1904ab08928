"""What a session does with the person's goals: it asks how near each is, before the work, and never insists."""

from __future__ import annotations

from coach.loglines.kinds import Answered, Unanswered
from coach.session.changed import changed
from coach.session.commands import HUSH, Record
from coach.session.events import Event
from coach.session.goals import question_about
from coach.session.state import Result, Session
from coach.session.wording import say


def rated(session: Session, event: Event) -> Result:
    """Note how near a goal is, say the number back, and go on."""
    question = question_about(session.goal)
    line = Answered(question, event.number, event.ear, read_back=False, attempts=session.prompts + 1)
    return _next(session), (*HUSH, Record(event.at, line), *say("goal_noted", n=event.number))


def passed_over(session: Session, event: Event) -> Result:
    """Leave a goal that nobody rates."""
    line = Unanswered(question_about(session.goal), prompts=session.prompts + 1)
    return _next(session), (*HUSH, Record(event.at, line))


def _next(session: Session) -> Session:
    return changed(session, goals_passed=session.goals_passed + 1)
