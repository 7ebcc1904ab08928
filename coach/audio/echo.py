"""Take the coach's own sound out of the microphone."""

from __future__ import annotations

from collections import deque
from dataclasses import replace
from statistics import median

import numpy as np

from coach.audio.echo_path import EchoPath
from coach.errors import DeviceError
from coach.ports import Block, Captured
from coach.tempo.units import BLOCK, RATE, to_samples

FRAME = BLOCK
"""Frames that are taken at a time."""

STEP = to_samples(0.010)
"""Frames that pywebrtc-audio takes at a time."""

OWN_DELAY = 128
"""Samples by which the canceller's output lags its input; measured by correlation with pywebrtc-audio 0.2."""

IDLE = to_samples(1.0)
"""Silence played after which the room has no echo left and the microphone is passed on as it is."""

LEARNT = -18.0
"""Decibels of what the echo path leaves against the echo it takes out, below which it is trusted: clear of the 15 dB
from which `ears/activity.py` takes what is left for echo. A loudspeaker that distorts (3 dB into the bend: -13), or
devices whose clocks run apart by 50 in a million (-12), are left to the library."""
JUDGED = 150
"""Blocks with an echo, 3 s, whose median tells how well the path is known: a word over the coach is shorter."""
SURE = 50
"""Blocks with an echo, 1 s, before it can be told."""
DOUBT = 6.0
"""Decibels by which an echo may leave more than the median for what is left to be taken for echo."""
DECAY = 0.8
"""Share of an echo's power that may still be left of it a block later: 1 dB each 20 ms, as the answer of a room."""
ROOM_RISE = 1.01
"""How much louder the room's own noise is taken to be from block to block: 2 dB a second; it falls at once. What is
taken for echo is softened down to it and not below: out of a deader silence the voice detector knows no voice."""
CLIPPED = 0.98
"""Level from which a microphone may be clipped: then what is left of the echo is not what the path foretells."""
CLEAR = to_samples(1.0)
"""Samples without clipping after which it may be foretold again."""
HEARD = 1e-7
"""Power of an echo, -70 dBFS, from which it can be told how much of it is left."""


class Canceller:
    """Fills `clean` of what a device captured. Ask with each stretch once, in order.

    Two cancellers work side by side. The learnt echo path leaves a person's voice over the coach as it is, where
    loudspeaker and room are what it can learn; the library copes with any, but takes most of the voice out as well
    (of words 6 dB under the echo, it leaves a correlation of 0.7 with what was said, the path 0.99). `clean` is the
    first while it does well, else the second.

    `clean` is as long as `mic` and lags it by `delay` samples: OWN_DELAY, and up to FRAME - 1 more where blocks are no
    multiple of FRAME. While nothing was played for longer than IDLE the microphone passes with the same lag, which
    saves nearly all of the work (about 15 ms for each second of sound).
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
        self._path = EchoPath()
        self._late = np.zeros(OWN_DELAY, dtype=np.float32)
        self._left: deque[float] = deque(maxlen=JUDGED)
        self._leaves = 0.0
        self._room = 1.0
        self._loud = 0.0
        self._gain = 1.0
        self._clear = 0
        self._source = 0

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
        return replace(captured, clean=clean, echo_known=self._source == 1 and self._clear > CLEAR)

    def _frame(self, mic: Block, played: Block) -> Block:
        late = np.concatenate([self._before, mic])
        self._before = late[FRAME:]
        passed = late[:FRAME]
        self._clear = 0 if float(np.abs(mic).max()) > CLIPPED else self._clear + FRAME
        self._quiet = 0 if played.any() else self._quiet + FRAME
        if self._quiet > IDLE:
            self._source, self._late = 0, self._before
            return passed
        by_path = np.concatenate([self._late, self._by_path(mic, played)])
        self._late = by_path[FRAME:]
        by_library = np.concatenate(
            [
                self._engine.process(
                    np.ascontiguousarray(mic[i : i + STEP]), np.ascontiguousarray(played[i : i + STEP])
                )
                for i in range(0, FRAME, STEP)
            ]
        )
        sources = (passed, by_path[:FRAME], by_library)
        before, self._source = self._source, 1 if self.path_known else 2
        if before == self._source:
            return np.asarray(sources[before], dtype=np.float32)
        share = np.linspace(0.0, 1.0, FRAME, dtype=np.float32)  # glide over: a step would be a click
        return np.asarray(sources[before] * (1 - share) + sources[self._source] * share, dtype=np.float32)

    @property
    def path_known(self) -> bool:
        """Whether the echo path is known so well that what it leaves is taken."""
        return len(self._left) >= SURE and self._leaves < LEARNT

    def _by_path(self, mic: Block, played: Block) -> Block:
        """Return what the echo path leaves of `mic`, softened where it is no more than what an echo leaves."""
        rest, echo = self._path.process(mic, played)
        power, left = float(np.mean(echo**2)), float(np.mean(rest**2))
        self._loud = max(power, DECAY * self._loud)
        if power > max(HEARD, 0.1 * self._loud):
            self._left.append(10 * float(np.log10(max(left - self._room, 0.0) / power + 1e-10)))
            self._leaves = median(self._left)
        self._room = max(min(left, self._room * ROOM_RISE), 1e-10)
        echo_left = self._loud * 10 ** ((self._leaves + DOUBT) / 10)
        gain = np.sqrt(max(1.0 - echo_left / (left + 1e-12), min(self._room / (left + 1e-12), 1.0)))
        ramp = np.linspace(self._gain, gain, FRAME, dtype=np.float32)
        self._gain = gain
        return rest * ramp
