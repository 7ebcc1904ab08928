"""Notice that the microphone no longer hears the coach: a loudspeaker that is off still takes sound."""

from __future__ import annotations

from collections import deque

import numpy as np

from coach.ports import Captured
from coach.tempo.units import to_samples

LATE_ECHO = to_samples(0.3)
"""Samples after speech within which its echo may still arrive; a wireless loudspeaker is late."""
LINGERS = to_samples(0.5)
"""Samples after the coach's last sound from which only the room is heard."""
SHORTEST_SAID = to_samples(0.15)
"""Fewest samples of speech whose echo can be judged."""
LOUD = -45.0
"""Level in dBFS that played speech must reach to be judged; a hush may have lowered it."""
MISSING = 12.0
"""Decibels below its usual level at which an echo counts as missing. Noise and voices only add to it."""
ABOVE = 15.0
"""Decibels above the room's noise that an echo must usually reach; a weaker one cannot be missed."""
KNOWN = 4
"""Echoes after which their usual level is known: the quietest of LAST, since other sounds add to an echo."""
LAST = 12
MISSED_ECHOES = 2
"""Missing echoes in a row that count as a silent loudspeaker."""
QUIET_KEPT = 250
"""Blocks without the coach whose 20th percentile is the room's noise: 5 s."""


class EchoWatch:
    """Takes the times of speech and each stretch in order; reports once when the coach is no longer heard.

    With headphones, or a microphone that filters echoes out, there is no echo to miss. After a report, echoes must have
    been heard again before the next one.
    """

    def __init__(self) -> None:
        self._said: deque[tuple[int, int]] = deque()
        self._gains: deque[float] = deque(maxlen=LAST)
        self._quiet: deque[float] = deque(maxlen=QUIET_KEPT)
        self._since = 0
        self._last: tuple[float, float] | None = None
        self._coach_until = -1
        self._played = self._mic = 1e-10
        self._sounded = 0
        self._missed = 0

    def said(self, begin: int, end: int) -> None:
        """Expect the echo of speech between these samples."""
        self._said.append((begin, end))

    def cut(self, at: int) -> None:
        """Forget speech that was to begin at or after `at`: it is not said."""
        self._said = deque(one for one in self._said if one[0] < at)

    @property
    def heard(self) -> bool:
        """Whether the coach was heard last, as far as is known; a single missing echo proves nothing."""
        return self._missed < MISSED_ECHOES

    def feed(self, captured: Captured) -> bool:
        """Take the next stretch; return whether the microphone has just stopped hearing the coach."""
        played, mic = (float(np.dot(each, each)) / len(each) for each in (captured.played, captured.mic))
        end = captured.at + len(captured.mic)
        if played > 0.0:
            self._coach_until = end + LINGERS
        elif captured.at >= self._coach_until:
            self._quiet.append(mic)
            self._since += 1
        if not self._said or end <= self._said[0][0]:
            return False
        if captured.at < self._said[0][1]:
            self._played = max(self._played, played)
            self._sounded += len(captured.mic) if played > 0.0 else 0
        self._mic = max(self._mic, mic)
        return end >= self._said[0][1] + LATE_ECHO and self._judge()

    def _judge(self) -> bool:
        """Judge the oldest speech, and go on to the next."""
        self._said.popleft()
        self._learn()
        sounded, said, echo = self._sounded, _decibels(self._played), _decibels(self._mic)
        self._played, self._mic, self._sounded = 1e-10, 1e-10, 0
        if sounded < SHORTEST_SAID or said < LOUD or not self._quiet:
            return False
        floor = _decibels(float(np.percentile(self._quiet, 20)))
        usual = min(self._gains) if len(self._gains) >= KNOWN else None
        if usual is not None and said + usual >= floor + ABOVE and echo < said + usual - MISSING:
            self._missed += 1
            if self._missed < MISSED_ECHOES:
                return False
            self._gains.clear()
            return True
        self._missed = 0
        if echo >= floor + ABOVE:
            self._last = echo, said
        return False

    def _learn(self) -> None:
        """Keep the level of the last echo, unless the room was about as loud after it and may have hidden it."""
        since = list(self._quiet)[-self._since :] if self._since else [0.0]
        if self._last is not None and self._last[0] >= _decibels(float(np.median(since))) + ABOVE:
            self._gains.append(self._last[0] - self._last[1])
        self._last, self._since = None, 0


def _decibels(power: float) -> float:
    return 10.0 * float(np.log10(power + 1e-10))
