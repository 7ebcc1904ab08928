"""Apply the program's limits: the band of a pain, and how work is eased."""

from __future__ import annotations

from enum import StrEnum
from typing import Literal

from coach.program.model import Limits
from coach.session.state import Session


class Band(StrEnum):
    """What the program's limits make of a pain of 0-10."""

    CARRY_ON = "carry_on"
    EASE = "ease"
    END = "end"


SLOWER_BY = 1.25
"""Factor by which "slower" lengthens every phase: our own choice."""

SLOWEST = 2.0
"""Most that a phase is lengthened, as a factor of what is written."""


def band(limits: Limits, pain: int) -> Band:
    """Return the band of a pain of 0-10."""
    if pain <= limits.pain_carry_on_to:
        return Band.CARRY_ON
    return Band.EASE if pain <= limits.pain_ease_to else Band.END


def fewer(target: int) -> int:
    """Return two thirds of a target, at least 1: the easier target without a lower level. Our own choice."""
    return max(1, target * 2 // 3)


def ease(session: Session) -> tuple[Session, Literal["level", "amount"], tuple[str, str]] | None:
    """Ease the coming sets of this exercise: a lower level, else a smaller target. None: nothing is easier.

    Returns the session, what changed ("level" or "amount"), and its old and new value. A lower level never raises the
    target of the same kind of work.
    """
    index = session.exercise.index
    levels = session.planned.exercise.levels
    if session.level > 0:
        now, lower = levels[session.level], levels[session.level - 1]
        low = lower.dose.work.amount.low
        target = min(session.target, low) if type(now.dose.work) is type(lower.dose.work) else low
        return session.with_level(index, session.level - 1).with_target(index, target), "level", (now.id, lower.id)
    target = fewer(session.target)
    if target == session.target:
        return None
    return session.with_target(index, target), "amount", (str(session.target), str(target))
