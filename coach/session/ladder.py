"""The yes/no ladder: "more than so much?" places pain in its band, for people whose numbers are not heard well."""

from __future__ import annotations

from coach.program.model import SCALE_END, Limits
from coach.session.state import Given, Question, Session

NONE = "none"
"""How a band without any pain is written."""


def rungs(limits: Limits, question: Question) -> tuple[int, ...]:
    """Return what is asked: "more than so much?", from the least on; 0 asks whether there is any pain at all.

    Whoever has just said "pain" is not asked whether there is any, unless the program lets no pain carry on.
    """
    begin = {0} if question is Question.PAIN else set()
    return tuple(sorted(n for n in {limits.pain_carry_on_to, limits.pain_ease_to} | begin if n < SCALE_END)) or (0,)


def bands(limits: Limits, question: Question) -> tuple[tuple[int, int], ...]:
    """Return the bands that the ladder may end in, each with its lowest and highest pain; one more than its rungs."""
    steps = rungs(limits, question)
    lows = (min(1, steps[0]), *(step + 1 for step in steps))
    return tuple(zip(lows, (*steps, SCALE_END), strict=True))


def above(session: Session) -> int:
    """Return the pain of the present rung, which asks whether it is more than that."""
    assert session.rung is not None
    return rungs(session.today.program.limits, session.asked_about)[session.rung]


def climbed(session: Session, *, more: bool) -> Given | None:
    """Return the band that the answer to the present rung comes to, or None if a higher rung is still to be asked."""
    assert session.rung is not None
    found = bands(session.today.program.limits, session.asked_about)
    place = session.rung + more
    if more and place + 1 < len(found):
        return None
    low, high = found[place]
    return Given(high, low)


def stated(given: Given) -> int | str:
    """Return a pain as it is written: a number, or its band; a band is never turned into a number."""
    if given.low is None:
        return given.number
    return f"{given.low}-{given.number}" if given.number else NONE
