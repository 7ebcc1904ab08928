"""Turn sound into short spectra: the strength of 28 bands every 20 ms."""

from __future__ import annotations

from functools import cache

import numpy as np
import numpy.typing as npt

from coach.ports import Block
from coach.tempo.units import RATE, to_samples

ROW = to_samples(0.02)
"""Samples from one spectrum to the next."""
SPECTRUM_WINDOW = 512
"""Samples in the window of one spectrum: 32 ms, of which the last are its ROW."""
BANDS = 28
LOWEST, HIGHEST = 150.0, 3700.0
"""Range in hertz: it distinguishes words. Beyond it microphones differ, and the measured voices end at 4 kHz."""
SILENT = -90.0
"""Decibels below which levels count as equal."""

Spectra = npt.NDArray[np.float32]
"""Decibels of the bands in order, shape (rows, BANDS)."""


class Spectrometer:
    """Computes spectra of sound without gaps, with silence before its start."""

    def __init__(self) -> None:
        self.start()

    def start(self) -> None:
        """Forget everything."""
        self._rest = np.zeros(SPECTRUM_WINDOW - ROW, np.float32)

    def feed(self, sound: Block) -> Spectra:
        """Take the next samples, a multiple of ROW; return their spectra."""
        self._rest = np.concatenate([self._rest, sound])
        rows = len(sound) // ROW
        if not rows:
            return np.zeros((0, BANDS), np.float32)
        windows = np.lib.stride_tricks.sliding_window_view(self._rest, SPECTRUM_WINDOW)[: rows * ROW : ROW]
        self._rest = self._rest[rows * ROW :]
        powers = np.square(np.abs(np.fft.rfft(windows * _taper()))) @ _bands()
        return np.asarray(10.0 * np.log10(powers + 10 ** (SILENT / 10)), np.float32)


def spectra(sound: Block) -> Spectra:
    """Return the spectra of all whole rows of `sound`."""
    return Spectrometer().feed(sound[: len(sound) // ROW * ROW])


@cache
def _taper() -> npt.NDArray[np.float32]:
    taper = np.hanning(SPECTRUM_WINDOW)
    return np.asarray(taper / np.sqrt(np.sum(taper**2)), np.float32)


@cache
def _bands() -> npt.NDArray[np.float32]:
    """Return the weight of each frequency in each band, shape (frequencies, BANDS).

    The bands are overlapping triangles with centres evenly spaced on the mel scale, which follows the ear's resolution.
    """
    ends = _mel(np.array([LOWEST, HIGHEST]))
    edges = 700.0 * (10 ** (np.linspace(ends[0], ends[1], BANDS + 2) / 2595.0) - 1.0)
    hertz = np.arange(SPECTRUM_WINDOW // 2 + 1)[:, None] * RATE / SPECTRUM_WINDOW
    rising = (hertz - edges[:-2]) / (edges[1:-1] - edges[:-2])
    falling = (edges[2:] - hertz) / (edges[2:] - edges[1:-1])
    weights = np.maximum(np.minimum(rising, falling), 0.0)
    return np.asarray(weights / weights.sum(axis=0), np.float32)


def _mel(hertz: npt.NDArray[np.float64]) -> npt.NDArray[np.float64]:
    mel: npt.NDArray[np.float64] = 2595.0 * np.log10(1.0 + hertz / 700.0)
    return mel
