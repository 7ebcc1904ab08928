"""Compare a stretch of sound with a taught word that other sound may cover.

Other sound only adds. Where the word is strong, the stretch must be as strong; where the stretch is much stronger,
something may cover the word, at a limited cost; where the word is weak, nearly anything may sound. The word may be said
slower, or up to twice as fast as in the take. With noise or another voice 10 dB below it, the person's own spectrum
remains clearer than the embeddings, and another person's does not fit it.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from coach.ears.likeness import row_levels
from coach.ears.spectrum import BANDS, Spectra

WEAKEST = -30.0
"""Decibels relative to a take's level below which values count as equal."""
WEAK, STRONG = -26.0, -12.0
"""Decibels relative to a take's level at which a band begins to count, and at which it counts fully."""
A_LITTLE = 0.05
"""Weight of a weak band if the stretch is even weaker."""
MISSING, COVERED = 0.1, 0.05
"""Cost of a decibel too little, and of one too much."""
MOST = 0.7
"""Highest cost of a band."""
NEVER = 9.0
"""Cost of an impossible alignment, above any other."""
LOUDEST_ROW = 3
"""Rank, from the loudest, of the row whose level is the stretch's level, so that a click does not set it."""

Costs = npt.NDArray[np.float32]


@dataclass(frozen=True, slots=True, eq=False)
class Outlines:
    """Some takes, side by side."""

    levels: npt.NDArray[np.float32]
    """Decibels relative to each take's level, shape (takes, rows, BANDS); undefined after a take's end."""
    strong: npt.NDArray[np.float32]
    """Weight of each value, 0 to 1, of the same shape."""
    lengths: npt.NDArray[np.int64]
    """Number of rows of each take."""

    def of(self, takes: npt.NDArray[np.int64]) -> Outlines:
        """Return the selected takes, by index."""
        longest = int(self.lengths[takes].max())
        return Outlines(self.levels[takes, :longest], self.strong[takes, :longest], self.lengths[takes])


def outlines(takes: Sequence[Spectra]) -> Outlines:
    """Prepare takes, each of shape (rows, BANDS) in decibels, for the comparison."""
    lengths = np.array([len(take) for take in takes])
    levels = np.full((len(takes), int(lengths.max()), BANDS), WEAKEST, np.float32)
    for row, take in zip(levels, takes, strict=True):
        row[: len(take)] = np.maximum(take - _level(take), WEAKEST)
    return Outlines(levels, np.clip((levels - WEAK) / (STRONG - WEAK), 0.0, 1.0).astype(np.float32), lengths)


def cost(stretch: Spectra, own: Outlines) -> Costs:
    """Return the cost of each take's best place in `stretch`, shape (takes,): 0 is a perfect fit, MOST no fit.

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
    """Return nearly the least mean cost of a path (each step keeps the better mean so far), shape (takes,).

    A path begins in the take's first row, advances by none, one or two rows with each row of the stretch, and ends in
    the last. `costs`: shape (rows of the stretch, takes, rows), `weights`: (takes, rows).
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
