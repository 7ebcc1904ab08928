"""What a session asks for; the engine carries it out in order."""

from __future__ import annotations

from dataclasses import dataclass

from coach.loglines.kinds import Fact
from coach.tempo.timeline import Cue, Mark
from coach.words.phrases import Phrase


@dataclass(frozen=True, slots=True)
class Say:
    """Say this after what is being said. CUE_DONE follows once nothing is left to say."""

    phrase: Phrase


@dataclass(frozen=True, slots=True)
class PlaceCues:
    """Put cues and marks at exact samples."""

    cues: tuple[Cue, ...]
    marks: tuple[Mark, ...]


@dataclass(frozen=True, slots=True)
class Silence:
    """Fade out what sounds and forget everything still to be said, placed or marked. No CUE_DONE follows."""


@dataclass(frozen=True, slots=True)
class CutFrom:
    """Forget cues and marks placed at this sample or later; what began before it plays to its end."""

    at: int


@dataclass(frozen=True, slots=True)
class WakeAt:
    """Make TIME_UP happen at this sample, in place of any earlier WakeAt. None: cancel it."""

    at: int | None


@dataclass(frozen=True, slots=True)
class Record:
    """Write a line into the logbook."""

    at: int
    """Sample at which it happened."""
    fact: Fact


@dataclass(frozen=True, slots=True)
class End:
    """The session is over: close the record, let go of the device."""


Command = Say | PlaceCues | Silence | CutFrom | WakeAt | Record | End

HUSH: tuple[Command, ...] = (WakeAt(None), Silence())
"""Stop speaking and waiting: the question is answered, or will be asked again."""
