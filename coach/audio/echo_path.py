"""Learn how the room turns what the coach plays into what the microphone hears of it."""

from __future__ import annotations

import numpy as np

from coach.ports import Block
from coach.tempo.units import BLOCK

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
        self._played = np.zeros(shape, np.complex128)
        self._answer = np.zeros(shape, np.complex128)
        self._unsure = np.full(shape, UNKNOWN)
        self._else = np.full(BLOCK + 1, 1e-6)
        self._before = np.zeros(BLOCK)

    def process(self, mic: Block, played: Block) -> tuple[Block, Block]:
        """Return what of `mic` (BLOCK samples) is no echo of `played`, and the echo that was taken out."""
        self._played = np.roll(self._played, 1, axis=0)
        self._played[0] = np.fft.rfft(np.concatenate([self._before, played]))
        self._before = np.asarray(played, np.float64)
        echo = np.fft.irfft((self._played * self._answer).sum(axis=0))[BLOCK:]
        rest = mic - echo
        self._learn(np.fft.rfft(np.concatenate([np.zeros(BLOCK), rest])))
        return rest.astype(np.float32), echo.astype(np.float32)

    def _learn(self, rest: np.ndarray[tuple[int], np.dtype[np.complex128]]) -> None:
        # Half of each spectrum is the block before, so only half of a step's power is seen: the 0.5.
        power = np.abs(self._played) ** 2
        whole = power.sum(axis=0)
        peak = int(whole.argmax())
        if whole[max(peak - 1, 0) : peak + 2].sum() > TONE * whole.sum():
            return
        self._else = SMOOTH * self._else + (1 - SMOOTH) * np.abs(rest) ** 2
        known = 0.5 * (power * self._unsure).sum(axis=0)
        gain = self._unsure * np.conj(self._played) / (known + self._else + FLOOR)
        step = np.fft.irfft(gain * rest, axis=1)
        step[:, BLOCK:] = 0.0  # an answer is no longer than its partition
        self._answer = self._answer + np.fft.rfft(step, axis=1)
        left = np.maximum(1.0 - 0.5 * (gain * self._played).real, 0.0)
        self._unsure = left * self._unsure + (1 - STAYS**2) * np.abs(self._answer) ** 2
        self._unsure = np.maximum(self._unsure, FLOOR)
