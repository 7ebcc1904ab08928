"""Compare speech with the takes of taught words."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import cache
from importlib import resources as package_data
from itertools import pairwise

import numpy as np
import numpy.typing as npt

from coach.ears.features import EMBEDDING_WIDTH, Embedding, Frames
from coach.ears.takes import Take
from coach.tempo.units import to_samples

FIRST = to_samples(0.16)
"""Samples after a word's start from which an embedding is compared."""
LAST = to_samples(0.48)
"""Samples after a word's end up to which embeddings are compared: fewer cause false alarms, more delay the answer."""
LAST_URGENT = to_samples(0.4)
"""The same for urgent words: 80 ms sooner, with about twice the false alarms of that word."""
STRETCHES = (0.8, 1.0, 1.2)
"""Factors of a word's length: said faster, as taught, and slower."""

THRESHOLD = 0.75
"""Score that a word must reach; tests/bench/hearing.py measures its effect on real voices."""
HALT_THRESHOLD = 0.72
"""The same for a word that halts: a missed one can hurt, a false one costs a moment."""

Scores = npt.NDArray[np.float32]


@dataclass(frozen=True, slots=True)
class Match:
    """How one moment of sound compares with the taught words."""

    scores: Scores
    """Likeness of each word to the sound that ends here, shape (words,), in the matcher's measure."""
    began: npt.NDArray[np.int64]
    """For each word the sample where it would have begun."""
    ended: npt.NDArray[np.int64]
    """For each word the sample where it would have ended."""


class Matcher:
    """Compares the newest embeddings with every take in three tempos; a score is a mean cosine."""

    margin = 0.02
    """Score by which a word must beat the next one; otherwise it is no reply, unless it halts."""
    over_coach = 0.62
    """Score that a halt word needs if it began while the coach sounded and is the likeliest word: the canceller lowers
    the score of a voice by about 0.1, and a false halt does less harm than a missed one."""
    patience = 2
    """Most embeddings (80 ms each) for which a word waits until its score falls, so that the best score is known."""
    unvoiced = np.inf
    """Score over its limit that a word needs if no voice is known; infinite, since no safe value was measured."""
    doubt = 0.0
    """Score around the limit within which a sound may be a word: see LearntMatcher."""
    lingers = 0
    """Samples after a word's end within which it may still look like the beginning of another word."""
    pre_roll = to_samples(1.2)
    """Samples before a voice was noticed that are processed again: an embedding looks back 0.8 s, and a soft start is
    noticed late."""

    def __init__(self, takes: Mapping[str, Sequence[Take]], urgent: frozenset[str] = frozenset()) -> None:
        """Prepare the takes of each word, one or more. `urgent` words are answered sooner."""
        self.words = tuple(sorted(takes))
        self.limits = np.array([threshold(word, urgent) for word in self.words], np.float32)
        """Score that each word must reach, shape (words,)."""
        lasts = [LAST_URGENT if word in urgent else LAST for word in self.words]
        templates = [
            (index, _template(take, lasts[index], stretch), take, stretch)
            for index, word in enumerate(self.words)
            for take in takes[word]
            for stretch in STRETCHES
        ]
        lengths = np.array([len(frames) for _, frames, _, _ in templates])
        self._frames = np.concatenate([frames for _, frames, _, _ in templates])
        self._starts = np.concatenate([[0], np.cumsum(lengths)[:-1]])
        self._lengths = lengths
        self._longest = int(lengths.max())
        # Row of the history (0: newest) with which each frame of each template is compared.
        self._rows = np.concatenate([np.arange(length - 1, -1, -1) for length in lengths])
        self._columns = np.arange(len(self._frames))
        owners = np.array([index for index, _, _, _ in templates])
        self._word_starts = np.searchsorted(owners, np.arange(len(self.words)))
        self._tails = np.array([_tail(take, lasts[index]) for index, _, take, _ in templates])
        self._sizes = np.array([int(take.length * stretch) for _, _, take, stretch in templates])
        self.forget()

    def forget(self) -> None:
        """Start again: the next embedding does not follow the last."""
        self._history = np.full((self._longest, len(self._frames)), -1.0, np.float32)
        self._at = 0

    def push(self, found: Embedding) -> Match:
        """Take the next embedding."""
        self._history[1:] = self._history[:-1]
        self._history[0] = self._frames @ unit(found.frame - general_mean())
        sums = np.add.reduceat(self._history[self._rows, self._columns], self._starts)
        scores = sums / self._lengths
        best = [start + int(np.argmax(scores[start:end])) for start, end in self._spans()]
        ended = found.at - self._tails[best]
        return Match(scores[best].astype(np.float32), ended - self._sizes[best], ended)

    @staticmethod
    def sureness(score: float) -> float:
        """Return a score as a share, 0 to 1."""
        return max(0.0, min(score, 1.0))

    def _spans(self) -> list[tuple[int, int]]:
        edges = [*self._word_starts.tolist(), len(self._starts)]
        return list(pairwise(edges))


def threshold(word: str, halts: frozenset[str]) -> float:
    """Return the score that a word must reach."""
    return HALT_THRESHOLD if word in halts else THRESHOLD


def unit(frames: Frames) -> Frames:
    """Return `frames` normalised to length 1 along their last axis."""
    scaled: Frames = frames / np.maximum(np.linalg.norm(frames, axis=-1, keepdims=True), 1e-9)
    return scaled


@cache
def general_mean() -> Frames:
    """Return the mean embedding of speech in general, shape (96,), which all words have in common.

    Computed by tests/bench/general_speech.py from synthesised sentences of several voices.
    """
    with (package_data.files("coach.ears") / "general_speech.npy").open("rb") as file:
        mean: Frames = np.load(file, allow_pickle=False).astype(np.float32).reshape(EMBEDDING_WIDTH)
    return mean


def _inner(take: Take, last: int) -> npt.NDArray[np.bool_]:
    return (take.ends >= FIRST) & (take.ends <= take.length + last)


def _tail(take: Take, last: int) -> int:
    """Return the samples from the word's end to the end of the last compared embedding."""
    return int(take.ends[_inner(take, last)][-1]) - take.length


def _template(take: Take, last: int, stretch: float) -> Frames:
    frames = take.frames[_inner(take, last)] - general_mean()
    return unit(stretched(frames, max(3, round(len(frames) * stretch))))


def stretched(rows: Frames, count: int) -> Frames:
    """Resample `rows`, one or more, to `count` rows evenly between the first and the last."""
    places = np.linspace(0, len(rows) - 1, count)
    low = np.floor(places).astype(int)
    high = np.minimum(low + 1, len(rows) - 1)
    share = (places - low)[:, None].astype(np.float32)
    between: Frames = rows[low] * (1 - share) + rows[high] * share
    return between
