"""The lines about a person's goals: what they want to do again. Their ratings are answers of sessions."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class GoalSet:
    """A person named a goal."""

    goal: str
    """Its id, which is never used again for another goal."""
    text: str
    """In the person's words."""


@dataclass(frozen=True, slots=True)
class GoalDropped:
    """A goal is not asked about any more; its ratings stay."""

    goal: str


GoalChange = GoalSet | GoalDropped

GOAL_CHANGES: dict[str, type[GoalChange]] = {"goal_set": GoalSet, "goal_dropped": GoalDropped}
"""The name of each of these kinds in the file; a part of `KINDS`."""
