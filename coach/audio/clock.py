"""Tell whether the sound keeps pace with a clock that runs on while the computer sleeps."""

from __future__ import annotations

import time

from coach.tempo.units import BLOCK, RATE

BEHIND = 0.8
"""Seconds by which the sound may be behind the clock before it counts as late: lost to xruns or sleep, or not yet read.
Devices that deliver in large pieces, and threads that wait for the processor, stay below half of it."""

AHEAD = 2.0
"""Seconds by which the sound may be ahead of the clock since the device was opened, because the device had some stored.
A device without a clock, such as a file, exceeds it and would make every rep too fast."""

DRIFT = 0.02
"""Allowed difference between the rates of the device's clock and this one, in seconds per second."""

TOLD_EVERY = RATE // 2
"""Frames between two reports of late sound."""


def sleepless_clock() -> float:
    """Return seconds of a clock that goes on while the computer sleeps and ignores changes of the time of day."""
    for name in ("CLOCK_BOOTTIME", "CLOCK_MONOTONIC"):  # Linux; macOS, whose time.monotonic stops during sleep
        if hasattr(time, name):
            return time.clock_gettime(getattr(time, name))
    return time.monotonic()


class Pace:
    """Measures how far the sound is behind or ahead of the clock, from the times at which stretches are read."""

    def __init__(self, opened: float) -> None:
        """`opened`: the earliest time of frame 0, by the same clock as every `now`."""
        self._opened = opened
        self._least: float | None = None
        self._told = -TOLD_EVERY

    def behind(self, at: int, now: float, *, caught_up: bool) -> float:
        """Return the seconds by which the stretch from frame `at` on is late, at most once per TOLD_EVERY; otherwise 0.

        `caught_up`: no stretch waits after it. Then the time is lost, and later stretches are measured from there.
        """
        offset = now - at / RATE
        least = offset if self._least is None else min(self._least, offset)
        late = offset - least
        self._least = least + DRIFT * BLOCK / RATE
        if late <= BEHIND or at - self._told < TOLD_EVERY:
            return 0.0
        self._told = at
        if caught_up:
            self._least = offset
        return late

    def too_fast(self, at: int, now: float) -> bool:
        """Tell whether frame `at` comes before its time, which no real microphone or loudspeaker does."""
        return at / RATE > (now - self._opened) * (1.0 + DRIFT) + AHEAD
