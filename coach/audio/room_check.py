"""Measure the room before the work begins: does the microphone hear the coach, how loud is everything else."""

from __future__ import annotations

from collections import deque

import numpy as np
import numpy.typing as npt

from coach.ports import Block, Captured, Hearing
from coach.tempo.units import RATE, to_samples

ECHO_TAIL = to_samples(0.3)
"""Samples after the coach's last sound within which its echo may still be heard."""
LATEST = to_samples(0.5)
"""Largest delay of an echo in samples: more than that of a wireless loudspeaker."""
STANDS_OUT = 8.0
"""Multiple of the standard deviation at which a lag counts as an echo; without an echo, the highest of a second's 8,000
lags reaches about 4."""
SECONDS = 2
"""Seconds of the coach's speech in which an echo must be found at the same lag."""
SAME_LAG = to_samples(0.002)
"""Samples by which the lag of an echo may vary; other voices cause peaks at random lags."""
AT_LEAST = 3
"""Seconds of the coach's speech without an echo before the check reports that there is none."""
QUIET_SHARE = 20
"""Percentile of the levels between words that is the room's noise; in some of them the person answers."""
LEVELS_KEPT = to_samples(60.0)
"""Samples whose levels are kept."""
SHORTEST_QUIET = to_samples(0.2)
"""Fewest samples without the coach that give a level."""
A_LEVEL = to_samples(0.1)
"""Window of the loudest moment in samples: about a vowel."""


class RoomCheck:
    """Takes every stretch from the first word to the answer of the start check; its properties hold the findings."""

    def __init__(self) -> None:
        self._coach_until = -1
        self._levels: deque[tuple[int, float]] = deque()
        self._kept = 0
        self._mic: list[Block] = []
        self._played: list[Block] = []
        self._gathered = 0
        self._spoken = 0
        self._lags: list[int] = []
        self._voice = False
        self._voiced = 0

    def heard(self, hearing: Hearing) -> None:
        """Note that somebody begins or ceases to speak."""
        if hearing.kind != "word":
            self._voice = hearing.kind == "voice_began"

    def feed(self, captured: Captured) -> None:
        """Take the next stretch as the device gave it."""
        self._voiced += len(captured.mic) if self._voice else 0
        if captured.played.any():
            self._coach_until = captured.at + len(captured.mic) + ECHO_TAIL
        elif captured.at >= self._coach_until and len(captured.mic):
            self._keep(len(captured.mic), float(np.mean(np.square(captured.mic, dtype=np.float64))))
        self._mic.append(captured.mic)
        self._played.append(captured.played)
        self._gathered += len(captured.mic)
        if self._gathered >= RATE:
            self._look()

    def voices(self, now: int) -> float:
        """Return the share of the time, up to sample `now`, in which somebody spoke; 0 to 1."""
        return round(self._voiced / max(1, now), 2)

    @property
    def echo(self) -> bool | None:
        """Whether the microphone hears the coach; None: the coach has not said enough to tell."""
        middle = np.median(self._lags) if self._lags else 0
        near = sum(abs(lag - middle) <= SAME_LAG for lag in self._lags)
        if near >= SECONDS and 2 * near >= len(self._lags):
            return True
        return False if self._spoken >= AT_LEAST else None

    @property
    def floor(self) -> float | None:
        """Noise of the room in dBFS; None: the coach was not silent for long enough."""
        return _decibels(np.percentile(self._powers, QUIET_SHARE)) if self._kept >= SHORTEST_QUIET else None

    @property
    def level(self) -> float | None:
        """The loudest tenth of a second while the coach was silent, in dBFS; None: not silent for long enough."""
        if self._kept < SHORTEST_QUIET:
            return None
        powers = self._powers
        of_a_tenth = max(1, round(A_LEVEL * len(powers) / self._kept))
        return _decibels(np.convolve(powers, np.full(of_a_tenth, 1 / of_a_tenth), mode="valid").max())

    @property
    def _powers(self) -> npt.NDArray[np.float64]:
        return np.array([power for _, power in self._levels])

    def _keep(self, frames: int, power: float) -> None:
        self._levels.append((frames, power))
        self._kept += frames
        while self._kept > LEVELS_KEPT:
            self._kept -= self._levels.popleft()[0]

    def _look(self) -> None:
        """Look for an echo in the collected second."""
        mic, played = np.concatenate(self._mic), np.concatenate(self._played)
        self._mic, self._played, self._gathered = [], [], 0
        if np.count_nonzero(played) < len(played) // 2:
            return
        self._spoken += 1
        lag = _echo(mic, played)
        self._lags += [] if lag is None else [lag]


def _echo(mic: Block, played: Block) -> int | None:
    """Return the lag of `mic` behind `played` with a clear peak in their whitened correlation, or None."""
    size = 2 * len(mic)
    cross = np.fft.rfft(mic, size) * np.conj(np.fft.rfft(played, size))
    lags = np.fft.irfft(cross / np.maximum(np.abs(cross), 1e-12))[:LATEST]
    return int(lags.argmax()) if float(lags.max()) > STANDS_OUT * float(np.std(lags)) else None


def _decibels(power: float | np.floating) -> float:
    return round(float(10.0 * np.log10(float(power) + 1e-10)), 1)
