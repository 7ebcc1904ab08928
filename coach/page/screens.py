"""What the page is told to show: a step before or after a session, or a moment of one, with every word on it."""

from __future__ import annotations

from dataclasses import asdict, dataclass
from typing import Any, Literal

Sign = Literal["plain", "small", "good", "bad", "open", "said"]
Weight = Literal["main", "plain", "small"]

LONGEST_NOTE = 1000
"""Characters of a caregiver's note."""


@dataclass(frozen=True, slots=True)
class StepLine:
    """One sentence on a step."""

    text: str
    mark: Sign = "plain"
    """Which sign stands before it: found good, found bad, not known yet. "said": the coach says it now; "small": a
    reason."""


@dataclass(frozen=True, slots=True)
class Choice:
    """Something that can be pressed."""

    id: str
    words: str
    beside: str = ""
    """What is said about it in small."""
    weight: Weight = "plain"


@dataclass(frozen=True, slots=True)
class TextField:
    """Something that can be typed."""

    id: str
    label: str
    kind: Literal["line", "text"] = "line"
    most: int = 60
    """Characters at most."""
    value: str = ""


@dataclass(frozen=True, slots=True)
class Meter:
    """A level that moves."""

    label: str
    level: float
    """0 to 1."""


@dataclass(frozen=True, slots=True)
class Progress:
    """How far something is that takes its time."""

    label: str
    done: int
    of: int
    """0: not known."""


@dataclass(frozen=True, slots=True)
class Step:
    """One thing at a time, before or after a session."""

    id: str
    head: str
    lead: str = ""
    lines: tuple[StepLine, ...] = ()
    choices: tuple[Choice, ...] = ()
    fields: tuple[TextField, ...] = ()
    meter: Meter | None = None
    progress: Progress | None = None
    problem: str = ""
    """What went wrong, in a sentence."""

    def as_json(self, serial: int, lang: str, place: str) -> dict[str, Any]:
        """Return the screen as it is sent.

        `serial`: of the step; an update of the same step has the same. `place`: how far it is, "Step 2 of 5".
        """
        return {"kind": "step", "serial": serial, "lang": lang, "place": place, **asdict(self)}
