"""What a session asks for; the engine carries it out in order."""

from __future__ import annotations

from dataclasses import dataclass

from coach.loglines.kinds import Fact
from coach.tempo.timeline import Cue, Mark
from coach.words.phrases import Phrase


@dataclass(frozen=True, slots=True)
class Say:
    """Say this after what is being said; when nothing is left to say, CUE_DONE happens."""

    phrase: Phrase


@dataclass(frozen=True, slots=True)
class PlaceCues:
    """Put cues and marks at exact samples."""

    cues: tuple[Cue, ...]
    marks: tuple[Mark, ...]


@dataclass(frozen=True, slots=True)
class Silence:
    """Fade out everything that sounds, forget all that was to be said, placed or marked; no CUE_DONE follows."""


@dataclass(frozen=True, slots=True)
class CutFrom:
    """Forget placed cues and marks from this sample on; what began before it sounds to its end."""

    at: int


@dataclass(frozen=True, slots=True)
class WakeAt:
    """Make TIME_UP happen at this sample; it replaces an earlier wish. None: no more."""

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
"""Say no more and wait for nothing: what was asked is answered, or is asked anew."""
