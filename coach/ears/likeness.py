"""Tell words apart in noise and beside other voices, by a small network on their spectra."""

from __future__ import annotations

from functools import cache
from importlib import resources as package_data
from typing import NamedTuple

import numpy as np
import numpy.typing as npt

from coach.ears.features import Frames
from coach.ears.matching import unit
from coach.ears.spectrum import SILENT, Spectra

ROWS = 52
"""Spectra that are looked at together: 1.04 s."""
A_UNIT = 15.0
"""Decibels that count as 1."""
LEAST, MOST = -3.0, 1.0
"""What is looked at lies between these."""
KERNEL = 5
"""Rows that a number of each of the three lower layers looks at."""
STRIDES = (1, 2, 2)
"""Rows from one number to the next in them."""

Stretches = npt.NDArray[np.float32]
"""Stretches of spectra in decibels, shape (n, ROWS, BANDS)."""


class Around(NamedTuple):
    """What may sound beside a word, in decibels over its mean power: made by tests/bench/likeness_learning.py."""

    talk: Spectra
    noise: Spectra


def as_seen(stretches: Stretches) -> Stretches:
    """Return what the network looks at: levels against the loudest row, so that how loud it is tells nothing."""
    loudest = row_levels(stretches).max(axis=1)
    seen: Stretches = np.clip((stretches - loudest[:, None, None]) / np.float32(A_UNIT), LEAST, MOST)
    return seen


def row_levels(rows: Spectra) -> npt.NDArray[np.float32]:
    """Return the level of each row, in decibels of its mean power."""
    level: npt.NDArray[np.float32] = 10.0 * np.log10(np.mean(10.0 ** (rows / 10.0), axis=-1) + 10 ** (SILENT / 10))
    return level


def kept_apart(seen: Stretches) -> Frames:
    """Return where each of n stretches, see `as_seen`, lies: shape (n, 192), of length 1; near it lies the same word.

    A network of three layers over time and one over all, learnt from synthesised words in noise and beside talkers by
    tests/bench/likeness_learning.py; it has heard no real person.
    """
    net = _file()
    lit = seen
    for number, stride in enumerate(STRIDES):
        lit = np.maximum(side_by_side(lit, stride) @ net[f"layer{number}"] + net[f"constant{number}"], 0.0)
    return unit(lit.reshape(len(lit), -1) @ net["last"] + net["last_constant"])


def side_by_side(rows: Stretches, stride: int) -> Stretches:
    """Return KERNEL rows after each other as one, of every `stride`-th row."""
    count = (rows.shape[1] - KERNEL) // stride + 1
    return np.concatenate([rows[:, n : n + stride * (count - 1) + 1 : stride] for n in range(KERNEL)], axis=2)


@cache
def around() -> Around:
    """Return some talk and some noises."""
    file = _file()
    return Around(at_no_level(file["talk"]), at_no_level(file["noise"]))


def at_no_level(rows: Spectra) -> Spectra:
    """Return `rows` at a mean power of no decibels."""
    return rows - np.float32(10.0 * np.log10(np.mean(10.0 ** (row_levels(rows) / 10.0))))


@cache
def _file() -> dict[str, npt.NDArray[np.float32]]:
    with (
        (package_data.files("coach.ears") / "likeness.npz").open("rb") as file,
        np.load(file, allow_pickle=False) as data,
    ):
        return {name: data[name].astype(np.float32) for name in data.files}
