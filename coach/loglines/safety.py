"""The lines about safety: signs that may lead to a hold, the hold, and the clinician's clear."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

SignWhy = Literal["screen", "pain", "unsteady"]
"""The kinds of sign: an answer before the start, pain above the limit that ends a session, unsteadiness."""


@dataclass(frozen=True, slots=True)
class SafetySign:
    """The person told something that may put them on hold: no session begins until the clinician clears it.

    The line carries its program's rule, so no other program and no later version can change its effect.
    """

    why: SignWhy
    times: int = 1
    """Number of sessions within `days` with this sign that cause a hold; 0: it causes none, but counts for others."""
    days: int = 1
    effect: Literal["hold", "end_day"] = "hold"
    """"end_day": no other session on this day, and nothing to clear."""
    question: str = ""
    """Id of the question before the start; empty: there was none."""
    asked: str = ""
    """The question in the program's words; empty if it is from the voice pack."""
    answer: bool | None = None
    """The answer: yes or no."""
    call: str = ""
    """Whom to call, as the program says; may be empty."""


@dataclass(frozen=True, slots=True)
class PlacedOnHold:
    """A session put the person on hold. The decisions keep this line too: a lost file must not lift the hold."""

    session: str
    """Id of the session that caused it."""
    began: str
    """When that session began: UTC, ISO 8601; may be empty."""
    program: str
    sign: SafetySign


@dataclass(frozen=True, slots=True)
class Cleared:
    """The clinician has cleared the signs of the named sessions, and no others."""

    sessions: tuple[str, ...]
    """Ids of all sessions with a safety sign that were known then."""
    by: str
    """Who cleared it."""
    note: str = ""


Safety = SafetySign | PlacedOnHold | Cleared

SAFETY: dict[str, type[Safety]] = {"safety_sign": SafetySign, "on_hold": PlacedOnHold, "cleared": Cleared}
"""The name of each of these kinds in the file; part of `KINDS`."""
