"""Compare a stretch of sound with a taught word that other sound may cover.

Other sound adds, it takes nothing away: where the word is strong, the stretch must be as strong; where it is much
stronger, something may cover the word, and only so much of that is believed; where the word is weak, nearly anything
may be. The word may be said slower, or up to twice as fast as in the take. The person's own spectrum shows
through a noise or another voice 10 dB below it better than the embeddings do, and another person's does not fit it.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from coach.ears.likeness import row_levels
from coach.ears.spectrum import BANDS, Spectra

WEAKEST = -30.0
"""Decibels below a take's level at which nothing is told apart."""
WEAK, STRONG = -26.0, -12.0
"""Decibels beside a take's level from which a band begins to count, and counts fully."""
A_LITTLE = 0.05
"""What a weak band counts for where the stretch is even weaker."""
MISSING, COVERED = 0.1, 0.05
"""What a decibel too little costs, and one too much."""
MOST = 0.7
"""What a band costs at most: what is far off is no further off."""
NEVER = 9.0
"""Cost of what cannot be, above any other."""
LOUDEST_ROW = 3
"""The row whose level is a stretch's level, from the loudest: one click does not set it."""

Costs = npt.NDArray[np.float32]


@dataclass(frozen=True, slots=True, eq=False)
class Outlines:
    """Some takes, side by side."""

    levels: npt.NDArray[np.float32]
    """Decibels beside each take's level, shape (takes, rows, BANDS); behind a take's end without meaning."""
    strong: npt.NDArray[np.float32]
    """How much each of them counts, 0 to 1, of the same shape."""
    lengths: npt.NDArray[np.int64]
    """Rows of each take."""

    def of(self, takes: npt.NDArray[np.int64]) -> Outlines:
        """Return those of some takes, by their places."""
        longest = int(self.lengths[takes].max())
        return Outlines(self.levels[takes, :longest], self.strong[takes, :longest], self.lengths[takes])


def outlines(takes: Sequence[Spectra]) -> Outlines:
    """Return takes, each of shape (rows, BANDS) in decibels, as they are compared."""
    lengths = np.array([len(take) for take in takes])
    levels = np.full((len(takes), int(lengths.max()), BANDS), WEAKEST, np.float32)
    for row, take in zip(levels, takes, strict=True):
        row[: len(take)] = np.maximum(take - _level(take), WEAKEST)
    return Outlines(levels, np.clip((levels - WEAK) / (STRONG - WEAK), 0.0, 1.0).astype(np.float32), lengths)


def cost(stretch: Spectra, own: Outlines) -> Costs:
    """Return how little each take fits anywhere in `stretch`, shape (takes,): 0 is a perfect fit, MOST none at all.

    The mean over the take's rows, in the best alignment; NEVER if the stretch is too short for the take.
    """
    over = (stretch - _level(stretch))[:, None, None] - own.levels
    must = A_LITTLE + (1.0 - A_LITTLE) * own.strong
    cells = np.where(
        over < 0,
        np.minimum(over * np.float32(-MISSING), np.float32(MOST)) * must,
        np.minimum(over * np.float32(COVERED), np.float32(MOST)) * own.strong,
    )
    return _best_alignment(cells.sum(axis=3), must.sum(axis=2), own.lengths)


def _level(rows: Spectra) -> np.float32:
    level: np.float32 = np.sort(row_levels(rows))[-min(LOUDEST_ROW, len(rows))]
    return level


def _best_alignment(costs: Costs, weights: Costs, lengths: npt.NDArray[np.int64]) -> Costs:
    """Return the least mean cost of a path, or nearly (each step keeps the better mean so far), shape (takes,).

    A path begins in the take's first row, goes on by none, one or two of its rows with each row of the stretch, and
    ends in its last. `costs`: shape (rows of the stretch, takes, rows), `weights`: (takes, rows).
    """
    which, last = np.arange(len(lengths)), lengths - 1
    costs, weights = np.ascontiguousarray(costs.transpose(0, 2, 1)), np.ascontiguousarray(weights.T)
    spent, weight = np.full(weights.shape, 1e6, np.float32), np.ones(weights.shape, np.float32)
    ended = np.empty((len(costs), len(lengths)), np.float32)
    for number, now in enumerate(costs):
        spent_now, weight_now = spent + now, weight + weights
        for skipped in (1, 2):
            other, other_weight = spent[:-skipped] + now[skipped:], weight[:-skipped] + weights[skipped:]
            mine, mine_weight = spent_now[skipped:], weight_now[skipped:]
            better = other * mine_weight <= mine * other_weight
            np.copyto(mine, other, where=better)
            np.copyto(mine_weight, other_weight, where=better)
        spent_now[0], weight_now[0] = now[0], weights[0]
        spent, weight = spent_now, weight_now
        ended[number] = spent[last, which] / weight[last, which]
    ended[np.arange(len(costs))[:, None] < lengths // 2] = NEVER
    return np.asarray(ended.min(axis=0, initial=NEVER), np.float32)
