"""The lines about change: the clinician's decisions, new versions of a program file, and what sessions told."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal


@dataclass(frozen=True, slots=True)
class Decided:
    """The clinician decided about the level of an exercise, or whether it is part of the sessions."""

    program: str
    """Id of the program."""
    digest: str
    """SHA-256 of the program file, in hex."""
    exercise: str
    verdict: Literal["up", "stay", "down", "admit", "pause", "withdraw"]
    from_level: str
    to_level: str
    by: str
    """Who decided."""
    note: str = ""
    proposed: bool = True
    """False: the clinician decided on a step up, or an exercise that joins, that the program had not proposed."""
    until: str = ""
    """The day on which a pause is over, ISO 8601; empty: when the exercise is admitted."""


@dataclass(frozen=True, slots=True)
class ProgramVersion:
    """A person began to use a version of a program file."""

    program: str
    """Id of the program."""
    digest: str
    """SHA-256 of the file, in hex; a copy of it is kept under the person."""
    before: str
    """SHA-256 of the version before; empty: this is the first."""
    written_by: str
    """Name and role, as the file says; may be empty."""
    written_on: str = ""
    """The date in the file, ISO 8601; empty: it has none."""


@dataclass(frozen=True, slots=True)
class Told:
    """The coach said before an exercise what is new since last time."""

    exercise: str
    """Empty: said at the beginning, about the whole session."""
    news: tuple[str, ...]
    """Phrase keys: "news_up", "news_gap", ..."""


Change = Told | Decided | ProgramVersion

CHANGES: dict[str, type[Change]] = {"told": Told, "decided": Decided, "program_version": ProgramVersion}
"""The name of each of these kinds in the file; part of `KINDS`."""
