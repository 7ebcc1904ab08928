"""The goals of a person: which of them are asked about today."""

from __future__ import annotations

from collections.abc import Iterable
from datetime import date

from coach.session.past import Goal, Rating

GOAL = "goal."
"""Before a goal's id, the name of the question about it in the record."""

MOST_GOALS = 3
"""Goals of a person at one time: more questions before the work tire. Our own choice."""


def question_about(goal: Goal) -> str:
    """Return the name of the question about a goal in the record."""
    return f"{GOAL}{goal.id}"


def goals_due(goals: Iterable[Goal], ratings: Iterable[Rating], today: date, every: int) -> tuple[Goal, ...]:
    """Return the goals that were not rated in the last `every` days. A rating dated after today does not count."""
    last = {one.goal: one.day for one in sorted(ratings, key=lambda one: one.day) if one.day <= today}
    return tuple(goal for goal in goals if goal.id not in last or (today - last[goal.id]).days >= every)
