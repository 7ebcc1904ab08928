"""The screens sent to the page: a step before or after a session, or a moment of it, with all their wording."""

from __future__ import annotations

from dataclasses import asdict, dataclass
from typing import Any, Literal

Sign = Literal["plain", "small", "good", "bad", "open", "said"]
Weight = Literal["main", "plain", "small"]

LONGEST_NOTE = 1000
"""Characters of a caregiver's note at most."""


@dataclass(frozen=True, slots=True)
class StepLine:
    """One sentence on a step."""

    text: str
    mark: Sign = "plain"
    """The sign before it: found good, found bad, or not known yet. "said": the coach says it now; "small": a
    reason."""


@dataclass(frozen=True, slots=True)
class Choice:
    """A button of a step."""

    id: str
    words: str
    beside: str = ""
    """A small remark beside it."""
    weight: Weight = "plain"


@dataclass(frozen=True, slots=True)
class TextField:
    """A text input of a step."""

    id: str
    label: str
    kind: Literal["line", "text"] = "line"
    most: int = 60
    """Characters at most."""
    value: str = ""


@dataclass(frozen=True, slots=True)
class Meter:
    """A level meter."""

    label: str
    level: float
    """0 to 1."""


@dataclass(frozen=True, slots=True)
class Progress:
    """The progress of slow work."""

    label: str
    done: int
    of: int
    """The total; 0: unknown."""


@dataclass(frozen=True, slots=True)
class Step:
    """One screen before or after a session, with one thing to do."""

    id: str
    head: str
    lead: str = ""
    lines: tuple[StepLine, ...] = ()
    choices: tuple[Choice, ...] = ()
    fields: tuple[TextField, ...] = ()
    meter: Meter | None = None
    progress: Progress | None = None
    problem: str = ""
    """A sentence that says what went wrong; empty: nothing did."""

    def as_json(self, serial: int, lang: str, place: str) -> dict[str, Any]:
        """Return the screen for sending as JSON.

        `serial`: number of the step; an update keeps it. `place`: position of the step, "Step 2 of 5".
        """
        return {"kind": "step", "serial": serial, "lang": lang, "place": place, **asdict(self)}
