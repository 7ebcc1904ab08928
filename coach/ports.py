"""The interfaces the engine needs: a device, ears, a voice, a store."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Literal, Protocol, TypeAlias

from coach.loglines.kinds import Fact

if TYPE_CHECKING:  # loading it takes 0.1 s, and commands without sound do not need it
    import numpy as np
    import numpy.typing as npt

Block: TypeAlias = "npt.NDArray[np.float32]"
"""Mono sound, shape (frames,), full scale -1.0 to 1.0."""


@dataclass(frozen=True, slots=True, eq=False)
class Captured:
    """One stretch of time: what the device played and what it heard."""

    at: int
    """Index of the first frame, counted from the start of the session."""
    mic: Block
    """Sound from the microphone."""
    played: Block
    """Sound played in the same frames, as long as `mic` and never later than its echo in `mic`."""
    clean: Block
    """`mic` without the coach's own sound; the device gives a copy of `mic`, the echo canceller replaces it."""
    echo_known: bool = False
    """True: the echo's path is learnt, so that a loud sound in `clean` is not echo."""


class Device(Protocol):
    """A microphone and a speaker with one common frame count, which is the clock of a session."""

    rate: int
    """Frames a second."""

    def open(self, render: Callable[[int, int], Block]) -> None:
        """Start. `render(at, frames)` returns the sound for those frames; another thread may call it."""
        ...

    def read(self, timeout: float = 1.0) -> Captured | None:
        """Return the next stretch in order, or None if none came within `timeout` seconds.

        Raises DeviceError if the device is gone for good.
        """
        ...

    def close(self) -> None:
        """Release the device. A second call does nothing."""
        ...


@dataclass(frozen=True, slots=True)
class Hearing:
    """One thing that one ear noticed."""

    ear: str
    """The ear: "taught", "activity" or "vosk"; "keys" and "page" for key presses and buttons."""
    kind: Literal["word", "voice_began", "voice_ended"]
    """A word of the vocabulary, or a voice's beginning or end (from "activity"; from "taught" if nearly a word)."""
    word: str
    """The reply's id ("stop", "ready", "n4"); empty for a voice."""
    score: float
    """Certainty, 0 to 1; each ear documents its own scale. Keys always have 1."""
    began: int
    """Frame where the sound began, as estimated by the ear."""
    ended: int
    """Frame where the sound ended (for `voice_began`: same as `began`)."""
    at: int
    """Frame at which the ear recognised it, never before `ended`."""


class Ear(Protocol):
    """Turns captured sound (or keys) into hearings."""

    name: str

    def open(self, words: frozenset[str]) -> None:
        """Accept only these reply ids from now on; report other words too, for the record."""
        ...

    def feed(self, captured: Captured) -> Sequence[Hearing]:
        """Take the next stretch; return the hearings in it, oldest first."""
        ...


class Voice(Protocol):
    """Ready-made clips for sentences."""

    def clip(self, text: str) -> Block:
        """Return the sound of `text`, trimmed to its audible onset. Never calls a speech engine.

        Raises SpeechError if the sentence was not rendered before.
        """
        ...


class Store(Protocol):
    """Stores the lines of a session."""

    def take(self, at: int, it: Fact) -> None:
        """Take one line into memory; never waits."""
        ...

    def flush(self) -> None:
        """Write all taken lines to the disk; another thread may call it.

        Raises RecordError, which says what to do, if the disk refuses; the lines are kept for another try.
        """
        ...

    def close(self, *, reachable: bool = True) -> None:
        """Write the remaining lines and finish the session's file; lines the disk refuses are kept elsewhere.

        Raises nothing. `reachable`: False if a `flush` has not returned.
        """
        ...
