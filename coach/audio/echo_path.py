"""Learn how the room turns what the coach plays into what the microphone hears of it."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from coach.ports import Block
from coach.tempo.units import BLOCK

Spectrum = npt.NDArray[np.complex64]

PARTS = 20
"""Stretches of BLOCK that an echo may last, its delay included: 400 ms, a slow wireless loudspeaker and a room."""
STAYS = 0.9995
"""How sure what is known of the room stays from one block to the next; 1 is for ever. With 0.9998 a still room gives
2 dB more and one that changes 8 dB less (an open door, somebody who walks by), with 0.999 it is the other way round."""
UNKNOWN = 1.0
"""Variance of the room's answer before anything is known, for a full-scale echo."""
SMOOTH = 0.9
"""Share of what else sounds in the microphone that is taken from the block before."""
TONE = 0.7
"""Share of the power in three neighbouring bins (75 Hz) from which what is played is a tone: it tells of one frequency
and would spoil what is known of the others. A vowel stays below it."""
FLOOR = 1e-8
"""Power below which nothing is told apart."""


class EchoPath:
    """A Kalman filter on the spectra of blocks: takes out the echo alone and leaves a voice over it as it is.

    Beside a guess of the room it keeps how sure each part of the guess is, and learns little while somebody speaks
    (Enzner and Vary 2006, "Frequency-domain adaptive Kalman filter"; in partitions as Kuech, Mabande and Enzner 2014).
    Takes about 8 ms for each second of sound.
    """

    def __init__(self) -> None:
        shape = (PARTS, BLOCK + 1)
        self._newest = 0
        self._spectra = np.zeros((2 * PARTS, BLOCK + 1), np.complex64)
        """What was played, each block twice, so that the newest PARTS lie together wherever the newest is."""
        self._powers = np.zeros((2 * PARTS, BLOCK + 1), np.float32)
        self._answer = np.zeros(shape, np.complex64)
        self._unsure = np.full(shape, UNKNOWN, np.float32)
        self._else = np.full(BLOCK + 1, 1e-6, np.float32)
        self._before = np.zeros(BLOCK, np.float32)
        self._nothing = np.zeros(BLOCK, np.float32)

    def process(self, mic: Block, played: Block) -> tuple[Block, Block]:
        """Return what of `mic` (BLOCK samples) is no echo of `played`, and the echo that was taken out."""
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
        # Half of each spectrum is the block before, so only half of a step's power is seen: the 0.5.
        power = self._powers[self._newest : self._newest + PARTS]
        whole = power.sum(axis=0)
        peak = int(whole.argmax())
        if whole[max(peak - 1, 0) : peak + 2].sum() > TONE * whole.sum():
            return
        self._else = SMOOTH * self._else + (1 - SMOOTH) * _power(rest)
        known = 0.5 * (power * self._unsure).sum(axis=0)
        share = self._unsure / (known + self._else + FLOOR)
        step = np.fft.irfft(np.conj(heard) * (share * rest), axis=1)
        step[:, BLOCK:] = 0.0  # an answer is no longer than its partition
        self._answer += np.fft.rfft(step, axis=1)
        left = np.maximum(1.0 - 0.5 * share * power, 0.0)
        self._unsure = np.maximum(left * self._unsure + (1 - STAYS**2) * _power(self._answer), FLOOR)


def _power(spectrum: Spectrum) -> npt.NDArray[np.float32]:
    return spectrum.real**2 + spectrum.imag**2


def _spectrum(before: Block, block: Block) -> Spectrum:
    return np.fft.rfft(np.concatenate([before, block])).astype(np.complex64, copy=False)
