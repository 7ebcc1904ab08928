"""Tell which questions before the start ended a session, in the words in which they were asked."""

from __future__ import annotations

from coach.program.model import Action
from coach.review.figures import Visit

SCREEN_QUESTION = "screen."
"""How the name of a question before the start begins in a record; its id in the program follows."""

ENDS = (Action.END_SESSION, Action.HOLD)
"""What an answer before the start does that ends the session."""


def ended_by(visit: Visit) -> tuple[tuple[str, bool], ...]:
    """Return each question that ended a session before its work, with the answer; none if something else ended it.

    The words are empty for the question about the morning after, which is no program's. A record that has no safety
    signs is compared with the program that it ran, if that was kept.
    """
    if visit.brief.why != "screen":
        return ()
    record = visit.record
    signed = tuple((one.asked, one.answer is True) for one in record.signs if one.why == "screen")
    if signed or visit.program is None:
        return signed
    said = {
        one.question.removeprefix(SCREEN_QUESTION): one.value
        for one in record.questions
        if one.question.startswith(SCREEN_QUESTION)
    }
    return tuple(
        (one.ask, one.answer) for one in visit.program.screen if one.action in ENDS and said.get(one.id) is one.answer
    )
