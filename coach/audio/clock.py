"""Tell whether the sound keeps pace with a clock that runs on while the computer sleeps."""

from __future__ import annotations

import time

from coach.tempo.units import BLOCK, RATE

BEHIND = 0.8
"""Seconds by which the sound may fall behind the clock: lost to xruns or sleep, or not yet looked at. What a device
hands over in lumps, and a thread that waits for its turn, stay under half of it."""

AHEAD = 2.0
"""Seconds by which there may be more sound than time since the device was opened: what it had in store. More comes from
one that waits for no clock, such as a file, and would make every rep too fast."""

DRIFT = 0.02
"""Seconds in each second by which the device's clock may run slower or faster than this one, and is as it should be."""

TOLD_EVERY = RATE // 2
"""Frames between two words of it."""


def sleepless_clock() -> float:
    """Return seconds that go on while the computer sleeps, and that no change of the time of day moves."""
    for name in ("CLOCK_BOOTTIME", "CLOCK_MONOTONIC"):  # Linux; macOS, whose time.monotonic stands still asleep
        if hasattr(time, name):
            return time.clock_gettime(getattr(time, name))
    return time.monotonic()


class Pace:
    """How far the sound is behind the clock or ahead of it, from the moments at which stretches are taken."""

    def __init__(self, opened: float) -> None:
        """`opened`: when frame 0 could come at the earliest, by the same clock as every `now`."""
        self._opened = opened
        self._least: float | None = None
        self._told = -TOLD_EVERY

    def behind(self, at: int, now: float, *, caught_up: bool) -> float:
        """Return the seconds by which the stretch that begins at frame `at` is late, told once each TOLD_EVERY; or 0.

        `caught_up`: none waits behind it. Then the time is lost, and what comes later is measured from there.
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
        """Tell whether frame `at` comes before its time: no device that is played or heard does that."""
        return at / RATE > (now - self._opened) * (1.0 + DRIFT) + AHEAD
