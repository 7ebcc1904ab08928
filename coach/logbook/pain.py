"""What an answer says about pain: a number 0-10, a band, or nothing."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from coach.loglines.kinds import Answer


@dataclass(frozen=True, slots=True)
class Pain:
    """A pain as it was stated, as a span; for a number both ends are equal."""

    low: int
    high: int


def is_pain(question: str) -> bool:
    """Tell whether a question asks for a pain of 0-10."""
    return question in ("pain", "halt_pain")


def edge(pain: Answer) -> int | None:
    """Return the highest pain 0-10 that an answer may mean: 5 for "4-5", 0 for "none"; None if it states no pain."""
    if isinstance(pain, str):
        last = pain.rpartition("-")[2]
        return 0 if pain == "none" else int(last) if last.isdecimal() else None
    return None if isinstance(pain, bool) else pain


def worse(one: Answer, other: Answer) -> Answer:
    """Return the higher of two pains; a band counts as its highest, and a number wins over an equal band."""
    known = [pain for pain in (one, other) if edge(pain) is not None]
    if known:
        return max(known, key=lambda pain: (edge(pain) or 0, isinstance(pain, int)))
    return other if one is None else one


def highest(pains: Iterable[Answer]) -> int | None:
    """Return the highest pain or effort that any of the answers may mean; None if they state none."""
    return max((known for pain in pains if (known := edge(pain)) is not None), default=None)


def span(pain: Answer) -> Pain | None:
    """Return the pain in an answer; None if the answer holds none, which does not mean no pain."""
    high = edge(pain)
    if high is None:
        return None
    low = pain.partition("-")[0] if isinstance(pain, str) else ""
    return Pain(int(low) if low.isdecimal() else high, high)


def worst(pains: Iterable[Pain | None]) -> Pain | None:
    """Return the pain with the highest upper end; None if none was stated."""
    return max((pain for pain in pains if pain), key=lambda pain: (pain.high, pain.low), default=None)
