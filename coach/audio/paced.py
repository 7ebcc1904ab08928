"""Run a simulated room in step with the clock, for somebody who watches."""

from __future__ import annotations

from collections.abc import Callable
from time import monotonic

from coach.ports import Block, Captured, Device
from coach.tempo.units import to_seconds

STOPPED = 5.0
"""Seconds without a read that mean that the process was stopped, not slow: a stretch takes milliseconds."""


class Paced:
    """Holds each stretch back until a real room would have delivered it."""

    def __init__(
        self, device: Device, pace: float, wait: Callable[[float], None], now: Callable[[], float] = monotonic
    ) -> None:
        """`pace`: seconds of the room per real second. `wait(seconds)` may return early; it is then called again."""
        self.rate = device.rate
        self._device = device
        self._pace = pace
        self._wait = wait
        self._now = now
        self._began = self._given = 0.0

    def open(self, render: Callable[[int, int], Block]) -> None:
        """Begin."""
        self._device.open(render)
        self._began = self._given = self._now()

    def read(self, timeout: float = 1.0) -> Captured | None:
        """Return the next stretch once its time has come."""
        stood_still = self._now() - self._given
        if stood_still > STOPPED:  # the lost time is not made up
            self._began += stood_still
        captured = self._device.read(timeout)
        if captured is not None:
            due = self._began + to_seconds(captured.at + len(captured.mic), self.rate) / self._pace
            while (early := due - self._now()) > 0:
                self._wait(early)
        self._given = self._now()
        return captured

    def close(self) -> None:
        """Let go of the device."""
        self._device.close()
