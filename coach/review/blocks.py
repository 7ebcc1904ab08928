"""The building blocks of a review: titled parts with sentences, tables and drawings, independent of the output."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field
from functools import cached_property
from typing import Protocol

from coach.logbook.pain import Pain
from coach.session.past import Goal, Rating


class Wording(Protocol):
    """The labels of one language, by their key in screens.yaml."""

    def __call__(self, key: str, **values: object) -> str:
        """Return the label of `key` with its {names} filled in."""

    def word(self, group: str, name: str) -> str:
        """Return the label of a name from a record or a program; without a label, the name itself."""


@dataclass(frozen=True, slots=True)
class Sentences:
    """Sentences, one per line."""

    lines: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Grid:
    """A table; the first cell of each row is its heading."""

    caption: str
    header: tuple[str, ...]
    rows: tuple[tuple[str, ...], ...]


@dataclass(frozen=True, slots=True)
class Marks:
    """All marks of one kind in a plot."""

    form: str
    """Its form: a key of `FORMS` in plots.py."""
    points: tuple[tuple[float, ...], ...]
    """x and y of each mark, then its other end if it has a length."""
    name: str
    """Its meaning, for the legend."""


@dataclass(frozen=True, slots=True)
class Scale:
    """One axis: its ends, its ticks and their labels, and its title."""

    low: float
    high: float
    ticks: tuple[float, ...]
    names: tuple[str, ...]
    title: str = ""


@dataclass(frozen=True, slots=True)
class Plot:
    """One plot: marks on two axes."""

    marks: tuple[Marks, ...]
    x: Scale
    y: Scale
    height: int = 250
    """Height in units of which the width is 720."""


Drawn = tuple[tuple[Plot, ...], Grid]
"""One or two plots, one above the other, and their content in figures."""


@dataclass(frozen=True)
class Drawing:
    """Plots with their content in words and in figures. A terminal takes the words, and nothing is drawn for it."""

    title: str
    description: str
    draw: Callable[[], Drawn] = field(repr=False)

    @cached_property
    def drawn(self) -> Drawn:
        """The plots and the figures."""
        return self.draw()

    @property
    def plots(self) -> tuple[Plot, ...]:
        """The plots."""
        return self.drawn[0]

    @property
    def figures(self) -> Grid:
        """Their content in figures."""
        return self.drawn[1]


ReviewBlock = Sentences | Grid | Drawing


@dataclass(frozen=True, slots=True)
class Part:
    """A titled part of the review."""

    id: str
    title: str
    blocks: tuple[ReviewBlock, ...]


@dataclass(frozen=True, slots=True)
class Content:
    """The whole review in order: what needs a decision, what went wrong, how it is going."""

    language: str
    title: str
    facts: tuple[str, ...]
    parts: tuple[Part, ...]


def rests(n: int, labels: Wording) -> str:
    """Return the label for the number of sessions a figure rests on; a single session has its own label."""
    return labels("rests_on_one") if n == 1 else labels("rests_on", n=n)


def percent(part: float, whole: float) -> str:
    """Return a share in percent; a dash if `whole` is 0."""
    return f"{100 * part / whole:.0f} %" if whole else "-"


def shown_pain(pain: Pain | None) -> str:
    """Return a pain as it was stated, a band as a band; a dash if none was stated."""
    if pain is None:
        return "-"
    return str(pain.high) if pain.low == pain.high else f"{pain.low}-{pain.high}"


def rated_words(goal: Goal, ratings: tuple[Rating, ...], labels: Wording) -> str:
    """Return how near a goal was at first and last, with the days; or that nobody has been asked yet."""
    found = sorted((one for one in ratings if one.goal == goal.id), key=lambda one: one.day)
    if not found:
        return labels("goal_unrated")
    first, last = found[0], found[-1]
    if len(found) == 1:
        return labels("goal_rated_once", value=first.value, day=first.day)
    return labels("goal_rated", first=first.value, began=first.day, last=last.value, day=last.day, times=len(found))
