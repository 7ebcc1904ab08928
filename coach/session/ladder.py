"""The yes/no ladder: "more than n?" finds the band of a pain, for people whose spoken numbers are not heard well."""

from __future__ import annotations

from coach.program.model import SCALE_END, Limits
from coach.session.state import Given, Question, Session

NONE = "none"
"""How the record writes "no pain"."""


def rungs(limits: Limits, question: Question) -> tuple[int, ...]:
    """Return the n of each question "more than n?", lowest first; 0 asks whether there is any pain at all.

    After a halt for pain 0 is left out, unless a limit of the program is 0.
    """
    begin = {0} if question is Question.PAIN else set()
    return tuple(sorted(n for n in {limits.pain_carry_on_to, limits.pain_ease_to} | begin if n < SCALE_END)) or (0,)


def bands(limits: Limits, question: Question) -> tuple[tuple[int, int], ...]:
    """Return the bands that the ladder may end in, as (lowest, highest) pain: one more than it has rungs."""
    steps = rungs(limits, question)
    lows = (min(1, steps[0]), *(step + 1 for step in steps))
    return tuple(zip(lows, (*steps, SCALE_END), strict=True))


def above(session: Session) -> int:
    """Return the n of the present rung's "more than n?"."""
    assert session.rung is not None
    return rungs(session.today.program.limits, session.asked_about)[session.rung]


def climbed(session: Session, *, more: bool) -> Given | None:
    """Return the band that the answer to the present rung gives, or None if a higher rung must be asked."""
    assert session.rung is not None
    found = bands(session.today.program.limits, session.asked_about)
    place = session.rung + more
    if more and place + 1 < len(found):
        return None
    low, high = found[place]
    return Given(high, low)


def stated(given: Given) -> int | str:
    """Return a pain as the record writes it: a number, or a band, which is never turned into a number."""
    if given.low is None:
        return given.number
    return f"{given.low}-{given.number}" if given.number else NONE
