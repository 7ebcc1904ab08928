"""Take the coach's own sound out of the microphone."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from coach.errors import DeviceError
from coach.ports import Block, Captured
from coach.tempo.units import RATE, to_samples

FRAME = to_samples(0.010)
"""Frames that the canceller takes at a time."""

OWN_DELAY = 128
"""Samples by which the canceller's output lags its input; measured by correlation with pywebrtc-audio 0.2."""

IDLE = to_samples(1.0)
"""Silence played after which the room has no echo left and the microphone is passed on as it is."""


class Canceller:
    """Fills `clean` of what a device captured. Ask with each stretch once, in order.

    `clean` is as long as `mic` and lags it by `delay` samples: OWN_DELAY, and up to FRAME - 1 more where blocks are no
    multiple of FRAME. While nothing was played for longer than IDLE the microphone passes with the same lag, which
    saves nearly all of the work (about 10 ms for each second of sound).
    """

    def __init__(self) -> None:
        """Begin with a room not yet known; it takes about a second of the coach's speech to learn its echo.

        Raises DeviceError if the library is missing.
        """
        try:
            from pywebrtc_audio import EchoCanceller
        except ImportError as error:
            raise DeviceError(f"The echo canceller is missing ({error}); run: pip install pywebrtc-audio") from error
        self._engine = EchoCanceller(RATE, 1)
        self._mic = np.zeros(0, dtype=np.float32)
        self._played = np.zeros(0, dtype=np.float32)
        self._done = np.zeros(0, dtype=np.float32)
        self._padding = 0
        self._before = np.zeros(OWN_DELAY, dtype=np.float32)
        self._quiet = IDLE + FRAME
        self._passing = True

    @property
    def delay(self) -> int:
        """By how many samples `clean` lags `mic`."""
        return OWN_DELAY + self._padding

    def process(self, captured: Captured) -> Captured:
        """Return `captured` with `clean` filled; `mic` and `played` must be of one length."""
        wanted = len(captured.mic)
        self._mic = np.concatenate([self._mic, captured.mic])
        self._played = np.concatenate([self._played, captured.played])
        whole = len(self._mic) // FRAME * FRAME
        made = [self._frame(self._mic[i : i + FRAME], self._played[i : i + FRAME]) for i in range(0, whole, FRAME)]
        self._mic, self._played = self._mic[whole:], self._played[whole:]
        self._done = np.concatenate([self._done, *made])
        missing = wanted - len(self._done)
        if missing > 0:
            # Happens only while odd block lengths are new: the lag grows once and then stays.
            self._padding += missing
            self._done = np.concatenate([np.zeros(missing, dtype=np.float32), self._done])
        clean, self._done = self._done[:wanted], self._done[wanted:]
        return replace(captured, clean=clean)

    def _frame(self, mic: Block, played: Block) -> Block:
        late = np.concatenate([self._before, mic])
        self._before = late[FRAME:]
        passed = late[:FRAME]
        self._quiet = 0 if played.any() else self._quiet + FRAME
        if self._quiet > IDLE:
            self._passing = True
            return passed
        cancelled = np.asarray(
            self._engine.process(np.ascontiguousarray(mic), np.ascontiguousarray(played)), dtype=np.float32
        )
        if self._passing:
            # What the canceller holds of before is a second old; glide over to it. The echo is still on its way.
            self._passing = False
            share = np.linspace(0.0, 1.0, FRAME, dtype=np.float32)
            cancelled = passed * (1 - share) + cancelled * share
        return cancelled
