"""Augment a take with rooms, speeds and noise, so that the word is learnt as it sounds in all of them."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from coach.ears.features import EMBEDDING_STEP, Embedder, Frames
from coach.ports import Block
from coach.tempo.units import RATE, to_samples

QUIET_ROOM = -65.0
"""dBFS of a quiet room at a usual microphone setting; the least noise around a take, since without noise its embeddings
differ from those in any real room (tests/bench/RESULTS.md, "What the constants of the ears rest on")."""
A_WORD = 72
"""Augmented takes per word, about: 24 of each of three takes. Each costs 0.1 s of one core."""
AT_LEAST = 6
"""Fewest augmented takes per take, however many takes there are."""
SPEEDS = (0.85, 0.92, 1.0, 1.0, 1.08, 1.18)
"""Factors of the speed; the pitch changes with it, as in an excited or a tired voice."""
SNR = (4.0, 20.0)
"""Least and most decibels of the word over the noise."""
BEFORE, AFTER = to_samples(1.0), to_samples(0.7)
"""Samples before and after the word."""


@dataclass(frozen=True, slots=True, eq=False)
class Augmented:
    """One augmented take, as numbers."""

    frames: Frames
    """Embeddings from before the word to after it, shape (n, 96)."""
    levels: npt.NDArray[np.float32]
    """dBFS of each, shape (n,); see features.Embedding."""
    ends: npt.NDArray[np.int32]
    """Samples from the word's end to the end of each embedding's window, shape (n,)."""


class Augmenter:
    """Augments takes; the same takes always give the same numbers."""

    def __init__(self, embedder: Embedder | None = None, room: Block | None = None, talk: Block | None = None) -> None:
        """Prepare. `room`: sound of the person's room; `talk`: a minute or more of anybody's speech."""
        self._embedder = embedder or Embedder()
        makers: dict[str, Callable[[np.random.Generator, int], Block]] = {
            "white": lambda rng, n: coloured(rng, n, 0.0),
            "pink": lambda rng, n: coloured(rng, n, 1.0),
            "brown": lambda rng, n: coloured(rng, n, 1.7),
            "clatter": clatter,
        }
        if talk is not None and len(talk) > BEFORE + AFTER + 2 * RATE:
            makers["talker"] = lambda rng, n: _talk(rng, n, talk, 1)
            makers["babble"] = lambda rng, n: _talk(rng, n, talk, 5)
        if room is not None and len(room) > BEFORE + AFTER + 2 * RATE and np.any(room):
            makers["room"] = lambda rng, n: _stretch(rng, n, room)
        self._makers: Mapping[str, Callable[[np.random.Generator, int], Block]] = makers

    def augment(self, word: Block, takes: int) -> tuple[Augmented, ...]:
        """Return one take augmented: `word` is its sound with nothing around it, `takes` how many the word has."""
        rng = np.random.default_rng(len(word))
        kinds = ["", "", *self._makers]
        return tuple(
            self._one(word, kinds[number % len(kinds)], rng, plain=not number) for number in range(times(takes))
        )

    def _one(self, word: Block, kind: str, rng: np.random.Generator, *, plain: bool) -> Augmented:
        said = word if plain else _faster(word, float(rng.choice(SPEEDS)))
        begin = BEFORE + int(rng.integers(EMBEDDING_STEP))
        sound = np.zeros(begin + len(said) + AFTER, np.float32)
        sound[begin : begin + len(said)] = said
        if not plain and rng.random() < 0.7:
            sound = in_room(sound, rng)
        sound += rng.normal(0.0, 10 ** (QUIET_ROOM / 20), len(sound)).astype(np.float32)
        if kind:
            noise = self._makers[kind](rng, len(sound))
            sound += noise * np.float32(loudness(word) / 10 ** (rng.uniform(*SNR) / 20))
        self._embedder.start(-begin - len(said))
        made = self._embedder.feed(sound)
        return Augmented(
            np.array([found.frame for found in made], np.float32),
            np.array([found.level for found in made], np.float32),
            np.array([found.at for found in made], np.int32),
        )


def times(takes: int) -> int:
    """Return how often each take of a word with this many takes is augmented, so that all words weigh alike."""
    return max(AT_LEAST, A_WORD // max(1, takes))


def _faster(word: Block, speed: float) -> Block:
    import soxr

    changed: Block = soxr.resample(word, RATE * speed, RATE).astype(np.float32)
    return changed


def in_room(sound: Block, rng: np.random.Generator) -> Block:
    """Add the tail of a small room: 50 to 350 ms."""
    length = int(rng.uniform(0.05, 0.35) * RATE)
    answer = rng.normal(size=length) * np.exp(-np.arange(length) / (length / 5))
    answer *= rng.uniform(0.05, 0.35) / np.sqrt(np.sum(answer**2))
    answer[0] = 1.0
    size = len(sound) + length
    both = np.fft.irfft(np.fft.rfft(sound, size) * np.fft.rfft(answer, size), size)
    return np.asarray(both[: len(sound)], np.float32)


def loudness(sound: Block) -> float:
    """Return the RMS of the parts that are not far below the loudest 10 ms."""
    pieces = sound[: len(sound) // 160 * 160].reshape(-1, 160)
    levels = np.sqrt(np.mean(np.square(pieces, dtype=np.float64), axis=1) + 1e-12)
    return float(np.sqrt(np.mean(levels[levels > 0.1 * levels.max()] ** 2)))


def coloured(rng: np.random.Generator, length: int, slope: float) -> Block:
    """Return noise whose power falls by `slope` times 3 dB per octave."""
    spectrum = np.fft.rfft(rng.normal(size=length))
    spectrum /= np.maximum(np.arange(len(spectrum)), 1) ** (slope / 2)
    return at_unit_power(np.fft.irfft(spectrum, length))


def clatter(rng: np.random.Generator, length: int) -> Block:
    """Return clatter, as of dishes, a chair or a door: strokes that ring and fade."""
    sound = 0.05 * coloured(rng, length, 1.0).astype(np.float64)
    for _ in range(int(rng.integers(2, 12))):
        at, size = int(rng.integers(0, length - 800)), int(rng.integers(200, 3000))
        times = np.arange(min(size, length - at))
        ring = np.sin(2 * np.pi * rng.uniform(300, 6000) / RATE * times) + 0.7 * rng.normal(size=len(times))
        sound[at : at + len(times)] += rng.uniform(0.2, 1.0) * np.exp(-times / rng.uniform(50, 800)) * ring
    return at_unit_power(sound)


def _talk(rng: np.random.Generator, length: int, talk: Block, talkers: int) -> Block:
    """Return several people talking at once, each with a voice higher or lower than `talk`."""
    sound = np.zeros(length, np.float32)
    for _ in range(talkers):
        changed = _faster(_stretch(rng, int(length * 1.3), talk), float(rng.uniform(0.8, 1.25)))[:length]
        sound[: len(changed)] += changed / max(loudness(changed), 1e-4)
    return at_unit_power(sound) if talkers > 1 else sound


def _stretch(rng: np.random.Generator, length: int, sound: Block) -> Block:
    """Return `length` samples from a random place in `sound`, which is repeated if it is too short."""
    long = np.resize(sound, max(len(sound), length + RATE))
    at = int(rng.integers(0, len(long) - length))
    piece = long[at : at + length]
    return at_unit_power(piece) if np.any(piece) else piece


def at_unit_power(sound: npt.NDArray[np.floating]) -> Block:
    """Return `sound` scaled to an RMS of 1."""
    scaled: Block = (sound / np.sqrt(np.mean(np.square(sound)) + 1e-12)).astype(np.float32)
    return scaled
