"""The lines about safety: what was told on which a hold rests, the hold, and that the clinician has cleared it."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

SignWhy = Literal["screen", "pain", "unsteady"]
"""What was told: an answer before the start, pain above the limit that ends a session, or unsteadiness."""


@dataclass(frozen=True, slots=True)
class SafetySign:
    """Something was told that may put the person on hold: then no session begins until the clinician clears it.

    The line holds the rule of its program, so that no other program and no later version changes what follows from it.
    """

    why: SignWhy
    times: int = 1
    """In how many sessions within `days` the same must have been told; 1: this one is enough; 0: it only counts."""
    days: int = 1
    effect: Literal["hold", "end_day"] = "hold"
    """"end_day": no session again on this day, and nothing to clear."""
    question: str = ""
    """Id of the question before the start; empty: there was none."""
    asked: str = ""
    """The question, in the program's words; empty where it is one of the voice pack."""
    answer: bool | None = None
    """What was answered: yes or no."""
    call: str = ""
    """Whom to call, as the program says; may be empty."""


@dataclass(frozen=True, slots=True)
class PlacedOnHold:
    """A session put the person on hold. It stands beside the decisions too, lest a file that is lost lifts the hold."""

    session: str
    """Id of the session in which it arose."""
    began: str
    """When that session began: UTC, ISO 8601; may be empty."""
    program: str
    sign: SafetySign


@dataclass(frozen=True, slots=True)
class Cleared:
    """The clinician has cleared a hold: what was told in the named sessions, and nothing that nobody had seen."""

    sessions: tuple[str, ...]
    """Ids of all sessions with a sign of safety that were known then."""
    by: str
    """Who cleared it."""
    note: str = ""


Safety = SafetySign | PlacedOnHold | Cleared

SAFETY: dict[str, type[Safety]] = {"safety_sign": SafetySign, "on_hold": PlacedOnHold, "cleared": Cleared}
"""The name of each of these kinds in the file; a part of `KINDS`."""
