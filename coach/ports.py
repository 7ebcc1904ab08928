"""What the engine asks of the world outside: a device, ears, a voice, a store."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Literal, Protocol, TypeAlias

from coach.loglines.kinds import Fact

if TYPE_CHECKING:  # a command that moves no sound need not load it: a tenth of a second
    import numpy as np
    import numpy.typing as npt

Block: TypeAlias = "npt.NDArray[np.float32]"
"""Mono sound, shape (frames,), full scale -1.0 to 1.0."""


@dataclass(frozen=True, slots=True, eq=False)
class Captured:
    """One stretch of time as the device lived it: what it played and what it heard."""

    at: int
    """Index of the first frame, counted from the start of the session."""
    mic: Block
    """What the microphone gave."""
    played: Block
    """What was played in the same frames; same length as `mic`. Never later than its echo in `mic`."""
    clean: Block
    """`mic` with the coach's own sound taken out; the device gives a copy of `mic`, the canceller replaces it."""
    echo_known: bool = False
    """Whether the echo is known so well that what stands out in `clean` is none of it."""


class Device(Protocol):
    """A microphone and a speaker that share one frame count: the clock of a session."""

    rate: int
    """Frames a second."""

    def open(self, render: Callable[[int, int], Block]) -> None:
        """Begin. `render(at, frames)` gives what to play in those frames; it may be called from another thread."""
        ...

    def read(self, timeout: float = 1.0) -> Captured | None:
        """Return the next stretch in order, or None if the device gave none within `timeout` seconds.

        Raises DeviceError when the device is gone for good.
        """
        ...

    def close(self) -> None:
        """Let go of the device. Harmless if it is closed already."""
        ...


@dataclass(frozen=True, slots=True)
class Hearing:
    """One thing that one ear noticed."""

    ear: str
    """Which ear: "taught", "activity", "vosk", or "keys" and "page" for what is pressed."""
    kind: Literal["word", "voice_began", "voice_ended"]
    """A word of the vocabulary; or somebody began or ceased to speak (activity; taught, if it was nearly a word)."""
    word: str
    """The reply's id ("stop", "ready", "n4"); empty for a voice."""
    score: float
    """How sure, 0 to 1; each ear documents its own scale. Keys are always 1."""
    began: int
    """Frame where the sound began, as well as the ear can tell."""
    ended: int
    """Frame where the sound ended (for `voice_began`: same as `began`)."""
    at: int
    """Frame at which the ear knew it: never before `ended` is in the past."""


class Ear(Protocol):
    """Something that turns captured sound (or keys) into hearings."""

    name: str

    def open(self, words: frozenset[str]) -> None:
        """From now on only these reply ids may be answered; others are reported as they are heard, for the record."""
        ...

    def feed(self, captured: Captured) -> Sequence[Hearing]:
        """Take the next stretch; return what was noticed in it, oldest first."""
        ...


class Voice(Protocol):
    """Ready-made clips for sentences."""

    def clip(self, text: str) -> Block:
        """Return the sound of `text`, trimmed to its audible onset. Never calls a speech engine.

        Raises SpeechError if the sentence was not rendered before.
        """
        ...


class Store(Protocol):
    """Where a session's lines go."""

    def take(self, at: int, it: Fact) -> None:
        """Take one line, in memory: nothing waits here."""
        ...

    def flush(self) -> None:
        """Make sure that all lines taken are on the disk; may be called from another thread.

        Raises RecordError with what to do if the disk refuses; the lines stay, to be tried again.
        """
        ...

    def close(self, *, reachable: bool = True) -> None:
        """Write what waits and finish the session's file; what the disk refuses is kept elsewhere. Raises nothing.

        `reachable`: False if a `flush` has not come back.
        """
        ...
