"""What is looked at to tell words apart: the last second, and what of it noise and other voices leave as it is."""

from __future__ import annotations

from functools import cache
from importlib import resources as package_data

import numpy as np
import numpy.typing as npt

from coach.ears.features import WIDTH, Frames
from coach.ears.matching import general_mean, unit

SPAN = 12
"""Embeddings that are looked at together: 0.96 s, and the 775 ms that the first of them looks back. Of 300 words of
three speakers in household noise at 10 dB, 6 of them heard 73 %, 8 heard 81 %, 12 heard 86 %, 16 heard 82 %."""
SIZE = SPAN * (WIDTH + 1)
"""Numbers that are looked at together."""
SCALE = 10.7
"""Standard deviation of the numbers in an embedding of talk, measured over the cohort."""
LEVEL_WEIGHT = 0.1
"""What a decibel counts for beside an embedding, whose numbers vary by about 1 after SCALE."""
DEEPEST = -30.0
"""Decibels below the loudest at which levels are no longer told apart."""


def looked_at(frames: Frames, levels: npt.NDArray[np.float32]) -> Frames:
    """Return what is looked at, at each of n embeddings, shape (n, SIZE), newest first; the first stands for before."""
    rows = np.maximum(np.arange(len(frames))[:, None] - np.arange(SPAN), 0)
    seen = ((frames - general_mean()) / SCALE)[rows].reshape(len(frames), -1)
    around = levels[rows]
    below = np.maximum(around - around.max(axis=1, keepdims=True), DEEPEST) * LEVEL_WEIGHT
    return np.concatenate([seen, below], axis=1).astype(np.float32)


def kept_apart(seen: Frames) -> Frames:
    """Return where each of n rows of `looked_at` lies, shape (n, 192), of length 1: near it lies the same word.

    A network of two layers, learnt from synthesised words in noise and beside talkers by
    tests/bench/likeness_learning.py; it has heard no real person.
    """
    net = _network()
    lit = np.maximum(seen @ net["first"] + net["first_constant"], 0.0)
    return unit(lit @ net["second"] + net["second_constant"])


@cache
def _network() -> dict[str, npt.NDArray[np.float32]]:
    with (
        (package_data.files("coach.ears") / "likeness.npz").open("rb") as file,
        np.load(file, allow_pickle=False) as data,
    ):
        return {name: data[name].astype(np.float32) for name in data.files}
