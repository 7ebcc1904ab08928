"""The clinician's limits applied: what a pain, a halt or a tired set leads to, and how work is eased."""

from __future__ import annotations

from enum import StrEnum
from typing import Literal

from coach.program.model import Limits
from coach.session.state import Session


class Band(StrEnum):
    """Where a pain 0-10 lies in the program's limits."""

    CARRY_ON = "carry_on"
    EASE = "ease"
    END = "end"


SLOWER_BY = 1.25
"""How much longer every phase gets when the person says "slower"."""

SLOWEST = 2.0
"""Phases never get longer than so many times what is written."""


def band(limits: Limits, pain: int) -> Band:
    """Return the band of a pain of 0-10."""
    if pain <= limits.pain_carry_on_to:
        return Band.CARRY_ON
    return Band.EASE if pain <= limits.pain_ease_to else Band.END


def fewer(target: int) -> int:
    """Return two thirds of a target, at least 1: what easing takes where there is no lower level. Our own choice."""
    return max(1, target * 2 // 3)


def ease(session: Session) -> tuple[Session, Literal["level", "amount"], tuple[str, str]] | None:
    """Make the coming sets of this exercise easier: a lower level, else fewer. None: nothing is easier.

    Returns the session, what changed ("level" or "amount") and from what to what. Never makes anything harder: where a
    lower level is written with more reps, the smaller number stands.
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
