"""Whether a person is on hold: THE rule, from everything that any of their sessions told and what was cleared since.

A hold stands until the clinician clears it. It follows from the signs in the records alone, each with the rule of the
program that it was told to: no other program, no file that is missing or unreadable today, and no clock takes it away.
A clear names the sessions that were known when it was given. So one that comes later to the files holds anew, whatever
day it bears.
"""

from __future__ import annotations

from collections.abc import Collection, Iterable
from dataclasses import dataclass
from datetime import date, timedelta

from coach.loglines.safety import PlacedOnHold, SafetySign, SignWhy
from coach.program.model import HoldRule

NEWS_CLEARED = ("news_cleared",)
"""Keys of the phrases that tell the person, once, that they were cleared."""


@dataclass(frozen=True, slots=True)
class SafetyOccasion:
    """A session, or a part of one, in which signs of safety were told."""

    session: str
    """Id of the session, or of the part."""
    whole: str
    """Id of the session that it is a part of: the parts of one session count once."""
    began: str
    """UTC, ISO 8601; may be empty."""
    day: date | None
    """The local day; None: not known, and then it counts as of any day."""
    program: str
    signs: tuple[SafetySign, ...]


@dataclass(frozen=True, slots=True)
class SafetyHold:
    """Why nothing may begin."""

    session: str
    """Id of the session in which it arose."""
    began: str
    day: date | None
    """The day of that session; None: not known."""
    program: str
    sign: SafetySign

    @property
    def until_cleared(self) -> bool:
        """Whether only the clinician lifts it; if not, the next day does."""
        return self.sign.effect == "hold"

    @property
    def key(self) -> tuple[str, SignWhy, str]:
        """What tells one hold from another."""
        return self.session, self.sign.why, self.sign.question

    @property
    def line(self) -> PlacedOnHold:
        """The hold as it is kept beside the decisions."""
        return PlacedOnHold(self.session, self.began, self.program, self.sign)


def safety_holds(
    occasions: Iterable[SafetyOccasion], kept: Iterable[SafetyHold], cleared: Collection[str], today: date
) -> tuple[SafetyHold, ...]:
    """Return every reason for which nothing may begin `today`, those that must be cleared first, the oldest first.

    `occasions` are of all programs, in any order; `kept` are the holds that stand beside the decisions; `cleared` are
    the ids of the sessions that a clear names.
    """
    known = list(occasions)
    open_ones = [one for one in known if one.session not in cleared]
    told = [
        SafetyHold(one.session, one.began, one.day, one.program, sign)
        for one in known
        for sign in one.signs
        if sign.effect == "end_day"
        or (sign.times and len(_same(sign.why, open_ones, one.day, sign.days)) >= sign.times)
    ]
    found: dict[tuple[str, SignWhy, str], SafetyHold] = {}
    for hold in sorted((*kept, *told), key=lambda one: (not one.until_cleared, one.began, one.session)):
        if hold.session not in cleared if hold.until_cleared else hold.day == today:
            found.setdefault(hold.key, hold)
    return tuple(found.values())


def _same(why: SignWhy, open_ones: Iterable[SafetyOccasion], until: date | None, days: int) -> set[str]:
    """Return the sessions that told the same in the days up to `until`, and those whose day is not known."""
    return {
        one.whole
        for one in open_ones
        if any(sign.why == why for sign in one.signs)
        and (one.day is None or until is None or until - timedelta(days=days) < one.day <= until)
    }


def near_hold(
    rules: Iterable[tuple[SignWhy, HoldRule]],
    occasions: Iterable[SafetyOccasion],
    cleared: Collection[str],
    today: date,
    *,
    within: str = "",
) -> tuple[SignWhy, ...]:
    """Return what puts the person on hold if it is told in a session of `today`, or of the one that is taken up."""
    open_ones = [one for one in occasions if one.session not in cleared]
    return tuple(
        why
        for why, rule in rules
        if rule.times and len({within, *_same(why, open_ones, today, rule.days)}) >= rule.times
    )
