"""The clinician's limits applied: what a pain, a halt or a tired set leads to, and how work is eased."""

from __future__ import annotations

from enum import StrEnum

from coach.program.model import Action, Limits, Program
from coach.session.plan import amount, dose
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
    """Return two thirds of a target, at least 1: what easing takes where there is no lower level."""
    return max(1, target * 2 // 3)


def ease(session: Session, *, set_running: bool = False) -> tuple[Session, str, tuple[str, str]]:
    """Make the coming sets of this exercise easier: a lower level, else fewer.

    Returns the session, what changed ("level" or "amount") and from what to what. Never makes anything harder: where a
    lower level is written with more reps, the smaller number stands.
    """
    index = session.exercise_index
    exercise = session.planned.exercise
    if session.level > 0 and not set_running:
        lower = exercise.levels[session.level - 1]
        target = (
            min(session.target, amount(lower.dose.work).low) if _same_kind(session) else amount(lower.dose.work).low
        )
        changed = session.with_level(index, session.level - 1).with_target(index, target)
        return changed, "level", (exercise.levels[session.level].id, lower.id)
    target = fewer(session.target)
    return session.with_target(index, target), "amount", (str(session.target), str(target))


def _same_kind(session: Session) -> bool:
    exercise = session.planned.exercise
    now, lower = dose(exercise, session.level).work, dose(exercise, session.level - 1).work
    return type(now) is type(lower)


def ends_session(action: Action) -> bool:
    """Tell whether `action` ends the session."""
    return action is Action.END_SESSION


def days_to_next(program: Program, *, sore: bool) -> int:
    """Return how many days until the next session, by how the body answered."""
    return program.schedule.after_sore_days if sore else program.schedule.every_days
