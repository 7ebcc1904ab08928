"""Record safety signs, and note whether they put the person on hold."""

from __future__ import annotations

from coach.loglines.safety import SafetySign, SignWhy
from coach.program.model import Action
from coach.session.changed import changed
from coach.session.commands import Record
from coach.session.events import Event, On
from coach.session.state import Result, Session


def body_told(session: Session, at: int, why: SignWhy) -> Result:
    """Record pain above the limit, or unsteadiness, with the program's rule for it."""
    program = session.today.program
    rule = program.limits.hold_after_pain if why == "pain" else program.limits.hold_after_unsteady
    on_hold = session.on_hold or why in session.today.near_hold
    sign = SafetySign(why, rule.times, rule.days, call=program.call)
    return changed(session, on_hold=on_hold), (Record(at, sign),)


def answer_told(session: Session, event: Event) -> Result:
    """Record the answer to a screen question after which nothing begins today, or until it is cleared."""
    question, call = session.screen_question, session.today.program.call
    on_hold = question.action is Action.HOLD
    sign = SafetySign(
        "screen",
        effect="hold" if on_hold else "end_day",
        question=question.id,
        asked=question.ask,
        answer=event.on is On.YES,
        call=call,
    )
    return changed(session, on_hold=on_hold), (Record(event.at, sign),)
