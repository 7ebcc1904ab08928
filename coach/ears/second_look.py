"""Compare the person's own spectra, which suffer less from noise and other voices than the embeddings.

Two measures of the last second. `near`: the cosine between its place among all words (likeness.py) and the middle of
the word's takes, each mixed with noise and talk. `fits`: how much better it fits a take than talk usually does, if
other sound may cover it (masking.py). `fits` is slow, so it is computed only for words that may still pass.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np
import numpy.typing as npt

from coach.ears.features import Frames
from coach.ears.likeness import ROWS, Stretches, around, as_seen, at_no_level, kept_apart
from coach.ears.masking import NEVER, cost, outlines
from coach.ears.matching import stretched, unit
from coach.ears.spectrum import SILENT, Spectra
from coach.ears.takes import AFTERWARDS, Take

MIXTURES = 12
"""Mixtures per take."""
NOISE, TALKER = (0.0, 20.0), (3.0, 20.0)
"""Decibels of the word over noise and talk in the mixtures."""
SPEEDS = (0.85, 0.92, 1.0, 1.08, 1.18)
LEAST_AFTER, MOST_AFTER = 6, 24
"""Rows after a word's end within which it is searched: 0.12 to 0.46 s."""
TALKS = 32
"""Stretches of talk from which the usual fit of a take is computed."""
NEWEST = 6
"""Most takes of a word that are compared."""


class SecondLook:
    """Compares stretches of spectra with the takes of each word."""

    def __init__(self, takes: Mapping[str, Sequence[Take]]) -> None:
        """Prepare; every take must have its spectra."""
        rng = np.random.default_rng(0)
        talk = around().talk
        starts = np.linspace(0, len(talk) - ROWS, TALKS).astype(np.int64)
        own = [[take.rows for take in takes[word][-NEWEST:]] for word in sorted(takes)]
        self._middles = np.array([_middle(rows, rng) for rows in own])
        self._outlines = outlines([rows for word in own for rows in word])
        self._owners = np.repeat(np.arange(len(own)), [len(word) for word in own])
        each = [self._outlines.of(np.flatnonzero(self._owners == word)) for word in range(len(own))]
        usual = [np.mean([cost(talk[start : start + ROWS], one) for start in starts], axis=0) for one in each]
        self._usual = np.concatenate(usual)

    def near(self, stretch: Spectra) -> npt.NDArray[np.float32]:
        """Return the cosine between `stretch`, shape (ROWS, 28), and each word, in the order of their names."""
        near: npt.NDArray[np.float32] = kept_apart(as_seen(stretch[None]))[0] @ self._middles.T
        return near

    def fits(self, stretch: Spectra, words: npt.NDArray[np.int64]) -> npt.NDArray[np.float32]:
        """Return how much better each of `words` fits than talk does; below 0: worse.

        `words`: one or more indices in the order of the names, ascending.
        """
        takes = np.flatnonzero(np.isin(self._owners, words))
        costs = cost(stretch, self._outlines.of(takes))
        better = np.where(costs < NEVER, self._usual[takes] - costs, np.float32(-1.0))
        best: npt.NDArray[np.float32] = np.maximum.reduceat(better, np.searchsorted(self._owners[takes], words))
        return best


def _middle(takes: Sequence[Spectra], rng: np.random.Generator) -> Frames:
    """Return the mean place of a word's takes, shape (192,), of length 1."""
    lies = kept_apart(as_seen(np.concatenate([mixed(take, rng) for take in takes])))
    return unit(lies.mean(axis=0))


def mixed(word: Spectra, rng: np.random.Generator) -> Stretches:
    """Return MIXTURES stretches with a word: a third each alone, in noise and beside talk."""
    beside = around()
    said = at_no_level(word)
    made = np.full((MIXTURES, ROWS, word.shape[1]), SILENT, np.float32)
    for number, stretch in enumerate(made):
        rows = stretched(said, max(2, round(len(said) / float(rng.choice(SPEEDS)))))
        end = ROWS - int(rng.integers(LEAST_AFTER, MOST_AFTER)) + AFTERWARDS
        rows = rows[max(0, len(rows) - end) :]
        stretch[end - len(rows) : end] = rows
        power = 10.0 ** (stretch / 10.0) + 10.0 ** (rng.uniform(-60.0, -30.0) / 10.0)
        for kind, pool, levels in ((1, beside.noise, NOISE), (2, beside.talk, TALKER)):
            start = int(rng.integers(0, len(pool) - ROWS))
            if number % 3 == kind:
                power += 10.0 ** ((pool[start : start + ROWS] - rng.uniform(*levels)) / 10.0)
        stretch[:] = 10.0 * np.log10(power)
    return made
