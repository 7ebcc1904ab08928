"""Learn the echo path: how loudspeaker, room and microphone change what the coach plays."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from coach.ports import Block
from coach.tempo.units import BLOCK

Spectrum = npt.NDArray[np.complex64]

PARTS = 20
"""Length of an echo with its delay, in blocks: 400 ms cover a slow wireless loudspeaker and a room."""
STAYS = 0.9995
"""Forgetting factor per block; 1 never forgets. A compromise between still and changing rooms (tests/bench/RESULTS.md,
"The echo of the coach")."""
UNKNOWN = 1.0
"""Initial variance of the room's response, for a full-scale echo."""
SMOOTH = 0.9
"""Weight of the previous block in the estimate of the microphone's other sound."""
TONE = 0.7
"""Share of the power in three neighbouring bins (75 Hz) from which the played sound is a tone. A tone excites one
frequency and would spoil the estimate of the others. A vowel stays below it."""
FLOOR = 1e-8
"""Lowest power in any division."""


class EchoPath:
    """A Kalman filter on the spectra of blocks: removes the echo and keeps a voice over it.

    It keeps the uncertainty of each part of its estimate, so it learns little while somebody speaks (Enzner and Vary
    2006, "Frequency-domain adaptive Kalman filter"; in partitions as in Kuech, Mabande and Enzner 2014).
    """

    def __init__(self) -> None:
        shape = (PARTS, BLOCK + 1)
        self._newest = 0
        self._spectra = np.zeros((2 * PARTS, BLOCK + 1), np.complex64)
        """Spectra of the played blocks, each stored twice, so that the newest PARTS are always contiguous."""
        self._powers = np.zeros((2 * PARTS, BLOCK + 1), np.float32)
        self._answer = np.zeros(shape, np.complex64)
        self._unsure = np.full(shape, UNKNOWN, np.float32)
        self._else = np.full(BLOCK + 1, 1e-6, np.float32)
        self._before = np.zeros(BLOCK, np.float32)
        self._nothing = np.zeros(BLOCK, np.float32)

    def process(self, mic: Block, played: Block) -> tuple[Block, Block]:
        """Return `mic` (BLOCK samples) without the echo of `played`, and the removed echo."""
        heard = self._take(played)
        echo = np.fft.irfft((heard * self._answer).sum(axis=0))[BLOCK:].astype(np.float32)
        rest = mic - echo
        self._learn(heard, _spectrum(self._nothing, rest))
        return rest, echo

    def _take(self, played: Block) -> Spectrum:
        """Return the spectra of the last PARTS blocks, the newest first."""
        newest = _spectrum(self._before, played)
        self._before = np.asarray(played, np.float32)
        self._newest = (self._newest - 1) % PARTS
        for row in (self._newest, self._newest + PARTS):
            self._spectra[row], self._powers[row] = newest, _power(newest)
        return self._spectra[self._newest : self._newest + PARTS]

    def _learn(self, heard: Spectrum, rest: Spectrum) -> None:
        # The 0.5: half of each spectrum is the previous block, so only half of a step's power is seen.
        power = self._powers[self._newest : self._newest + PARTS]
        whole = power.sum(axis=0)
        peak = int(whole.argmax())
        if whole[max(peak - 1, 0) : peak + 2].sum() > TONE * whole.sum():
            return
        self._else = SMOOTH * self._else + (1 - SMOOTH) * _power(rest)
        known = 0.5 * (power * self._unsure).sum(axis=0)
        share = self._unsure / (known + self._else + FLOOR)
        step = np.fft.irfft(np.conj(heard) * (share * rest), axis=1)
        step[:, BLOCK:] = 0.0  # a response is no longer than its partition
        self._answer += np.fft.rfft(step, axis=1)
        left = np.maximum(1.0 - 0.5 * share * power, 0.0)
        self._unsure = np.maximum(left * self._unsure + (1 - STAYS**2) * _power(self._answer), FLOOR)


def _power(spectrum: Spectrum) -> npt.NDArray[np.float32]:
    return spectrum.real**2 + spectrum.imag**2


def _spectrum(before: Block, block: Block) -> Spectrum:
    return np.fft.rfft(np.concatenate([before, block])).astype(np.complex64, copy=False)
