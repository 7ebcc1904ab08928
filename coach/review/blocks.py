"""What a review is made of: titled parts with sentences, tables and drawings, whatever shows them."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Protocol

from coach.review.figures import Pain


class Wording(Protocol):
    """The labels of one language, by their key in screens.yaml."""

    def __call__(self, key: str, **values: object) -> str:
        """Return the label of `key` with its {names} filled in."""

    def word(self, group: str, name: str) -> str:
        """Return the label of a name that comes from a record or a program, or the name itself."""


@dataclass(frozen=True, slots=True)
class Sentences:
    """Sentences, each a line."""

    lines: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Grid:
    """A table; the first of each row is what the row is about."""

    caption: str
    header: tuple[str, ...]
    rows: tuple[tuple[str, ...], ...]


@dataclass(frozen=True, slots=True)
class Marks:
    """One kind of mark with its places."""

    form: str
    """How it is drawn: a key of `FORMS` in plots.py."""
    points: tuple[tuple[float, ...], ...]
    """x and y, and where the mark has a length the other end."""
    name: str
    """What it means."""


@dataclass(frozen=True, slots=True)
class Scale:
    """One axis: from where to where, what is written at which place, and what it measures."""

    low: float
    high: float
    ticks: tuple[float, ...]
    names: tuple[str, ...]
    title: str = ""


@dataclass(frozen=True, slots=True)
class Plot:
    """One field of marks."""

    marks: tuple[Marks, ...]
    x: Scale
    y: Scale
    height: int = 250
    """In units of which a plot is 720 wide."""


@dataclass(frozen=True, slots=True)
class Drawing:
    """One or two plots one above the other, with what they show in words and in figures."""

    title: str
    description: str
    plots: tuple[Plot, ...]
    figures: Grid


ReviewBlock = Sentences | Grid | Drawing


@dataclass(frozen=True, slots=True)
class Part:
    """A titled part of the review."""

    id: str
    title: str
    blocks: tuple[ReviewBlock, ...]


@dataclass(frozen=True, slots=True)
class Content:
    """The whole review, top down: what needs a decision, what went wrong, how it is going."""

    language: str
    title: str
    facts: tuple[str, ...]
    parts: tuple[Part, ...]


def rests(n: int, labels: Wording) -> str:
    """Say how many sessions a figure rests on; one is said as such."""
    return labels("rests_on_one") if n == 1 else labels("rests_on", n=n)


def percent(part: float, whole: float) -> str:
    """Return a share in percent; a dash where there is no whole."""
    return f"{100 * part / whole:.0f} %" if whole else "-"


def shown_pain(pain: Pain | None) -> str:
    """Return a pain as it was told, a band as a band; a dash: none was told."""
    if pain is None:
        return "-"
    return str(pain.high) if pain.low == pain.high else f"{pain.low}-{pain.high}"
