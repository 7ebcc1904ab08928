"""Tell whether a person is on hold: THE rule, from the signs in all their sessions and from what was cleared.

A hold lasts until the clinician clears it. Each sign carries the rule of the program it was told to. So another
program, a missing or unreadable file, or a clock cannot lift a hold. A clear names the sessions known at that time; a
session that turns up later puts the person on hold again, whatever its date.
"""

from __future__ import annotations

from collections.abc import Collection, Iterable
from dataclasses import dataclass
from datetime import date, timedelta

from coach.loglines.safety import PlacedOnHold, SafetySign, SignWhy
from coach.program.model import HoldRule

NEWS_CLEARED = ("news_cleared",)
"""Keys of the phrases that tell the person once that they were cleared."""


@dataclass(frozen=True, slots=True)
class SafetyOccasion:
    """A session, or a part of one, with safety signs."""

    session: str
    """Id of the session, or of the part."""
    whole: str
    """Id of the whole session: its parts count once."""
    began: str
    """UTC, ISO 8601; may be empty."""
    day: date | None
    """The local day; None: not known, so it counts for any day."""
    program: str
    signs: tuple[SafetySign, ...]


@dataclass(frozen=True, slots=True)
class SafetyHold:
    """A reason why nothing may begin."""

    session: str
    """Id of the session that caused it."""
    began: str
    day: date | None
    """The day of that session; None: not known."""
    program: str
    sign: SafetySign

    @property
    def until_cleared(self) -> bool:
        """Whether it lasts until the clinician clears it; otherwise it lasts for its day."""
        return self.sign.effect == "hold"

    @property
    def key(self) -> tuple[str, SignWhy, str]:
        """What distinguishes it from other holds."""
        return self.session, self.sign.why, self.sign.question

    @property
    def line(self) -> PlacedOnHold:
        """The line that keeps it among the decisions."""
        return PlacedOnHold(self.session, self.began, self.program, self.sign)


def safety_holds(
    occasions: Iterable[SafetyOccasion], kept: Iterable[SafetyHold], cleared: Collection[str], today: date
) -> tuple[SafetyHold, ...]:
    """Return every reason why nothing may begin `today`: first those that need a clear, each group oldest first.

    `occasions` are of all programs, in any order; `kept` are the holds among the decisions; `cleared` are the ids of
    the sessions named by clears.
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
    for hold in sorted((*kept, *told), key=lambda one: (not one.until_cleared, one.began, one.key)):
        if hold.session not in cleared if hold.until_cleared else hold.day == today:
            found.setdefault(hold.key, hold)
    return tuple(found.values())


def _same(why: SignWhy, open_ones: Iterable[SafetyOccasion], until: date | None, days: int) -> set[str]:
    """Return the sessions with this sign within `days` up to `until`, and those of an unknown day."""
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
    """Return the signs that would put the person on hold in a session of `today`; `within`: the session taken up."""
    open_ones = [one for one in occasions if one.session not in cleared]
    return tuple(
        why
        for why, rule in rules
        if rule.times and len({within, *_same(why, open_ones, today, rule.days)}) >= rule.times
    )
