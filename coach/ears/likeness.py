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
"""Spectra in one input: 1.04 s."""
A_UNIT = 15.0
"""Decibels per unit of the input."""
LEAST, MOST = -3.0, 1.0
"""Bounds of the input."""
KERNEL = 5
"""Rows in the window of each of the three lower layers."""
STRIDES = (1, 2, 2)
"""Rows from one window to the next in them."""

Stretches = npt.NDArray[np.float32]
"""Stretches of spectra in decibels, shape (n, ROWS, BANDS)."""


class Around(NamedTuple):
    """Talk and noise beside a word, in decibels over its mean power; made by tests/bench/likeness_learning.py."""

    talk: Spectra
    noise: Spectra


def as_seen(stretches: Stretches) -> Stretches:
    """Return the network's input: levels relative to the loudest row, so that the loudness does not matter."""
    loudest = row_levels(stretches).max(axis=1)
    seen: Stretches = np.clip((stretches - loudest[:, None, None]) / np.float32(A_UNIT), LEAST, MOST)
    return seen


def row_levels(rows: Spectra) -> npt.NDArray[np.float32]:
    """Return the level of each row: its mean power in decibels."""
    level: npt.NDArray[np.float32] = 10.0 * np.log10(np.mean(10.0 ** (rows / 10.0), axis=-1) + 10 ** (SILENT / 10))
    return level


def kept_apart(seen: Stretches) -> Frames:
    """Return the place of each of n stretches (see `as_seen`): shape (n, 192), of length 1; equal words lie close.

    A network of three layers over time and one over all, trained by tests/bench/likeness_learning.py on synthesised
    words in noise and beside talkers; it never heard a real person.
    """
    net = _file()
    lit = seen
    for number, stride in enumerate(STRIDES):
        lit = np.maximum(side_by_side(lit, stride) @ net[f"layer{number}"] + net[f"constant{number}"], 0.0)
    return unit(lit.reshape(len(lit), -1) @ net["last"] + net["last_constant"])


def side_by_side(rows: Stretches, stride: int) -> Stretches:
    """Return windows of KERNEL rows as one row each, at every `stride`-th row."""
    count = (rows.shape[1] - KERNEL) // stride + 1
    return np.concatenate([rows[:, n : n + stride * (count - 1) + 1 : stride] for n in range(KERNEL)], axis=2)


@cache
def around() -> Around:
    """Return some talk and some noises."""
    file = _file()
    return Around(at_no_level(file["talk"]), at_no_level(file["noise"]))


def at_no_level(rows: Spectra) -> Spectra:
    """Return `rows` scaled to a mean power of 0 dB."""
    return rows - np.float32(10.0 * np.log10(np.mean(10.0 ** (row_levels(rows) / 10.0))))


@cache
def _file() -> dict[str, npt.NDArray[np.float32]]:
    with (
        (package_data.files("coach.ears") / "likeness.npz").open("rb") as file,
        np.load(file, allow_pickle=False) as data,
    ):
        return {name: data[name].astype(np.float32) for name in data.files}
