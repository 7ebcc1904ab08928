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
"""Frames processed at a time."""

STEP = to_samples(0.010)
"""Frames that pywebrtc-audio processes at a time."""

OWN_DELAY = 128
"""Samples by which the library's output lags its input; measured by correlation with pywebrtc-audio 0.2."""

IDLE = to_samples(1.0)
"""Samples of played silence after which no echo is left and the microphone is passed on unchanged."""

LEARNT = -18.0
"""Decibels of the residue relative to the removed echo, below which the path is trusted; clear of the 15 dB at which
`ears/activity.py` takes a residue for echo (tests/bench/RESULTS.md, "The echo of the coach")."""
JUDGED = 150
"""Blocks with an echo, 3 s, whose median shows how well the path is known; a word over the coach is shorter."""
SURE = 50
"""Blocks with an echo, 1 s, before that median is used."""
DOUBT = 6.0
"""Decibels above the median up to which the residue still counts as echo."""
DECAY = 0.8
"""Share of an echo's power that may be left one block later: 1 dB per 20 ms, as in a room."""
ROOM_RISE = 1.01
"""Factor by which the estimate of the room's noise may rise per block: 2 dB a second; it falls at once. Echo is
softened down to this noise and not further, because the voice detector misses voices that follow digital silence."""
CLIPPED = 0.98
"""Level from which the microphone may clip, so that the path no longer predicts the residue of the echo."""
CLEAR = to_samples(1.0)
"""Samples without clipping after which the prediction is used again."""
HEARD = 1e-7
"""Lowest power of an echo, -70 dBFS, at which its residue can be measured."""


class Canceller:
    """Fills `clean` of captured sound. Pass each stretch once, in order.

    Two cancellers work side by side. The learnt echo path keeps a person's voice over the coach, but only for a
    loudspeaker and a room that it can learn. The library copes with any, but removes most of the voice as well.
    `clean` is the first while its residue is small, else the second (tests/bench/RESULTS.md, "The echo of the coach").

    `clean` is as long as `mic` and lags it by `delay` samples: OWN_DELAY, and up to FRAME - 1 more if blocks are no
    multiple of FRAME. After IDLE samples of silence the microphone passes with the same lag, which saves nearly all of
    the work.
    """

    def __init__(self) -> None:
        """Begin with an unknown room; learning its echo takes about a second of the coach's speech.

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
        """Samples by which `clean` lags `mic`."""
        return OWN_DELAY + self._padding

    def process(self, captured: Captured) -> Captured:
        """Return `captured` with `clean` filled; `mic` and `played` must have the same length."""
        wanted = len(captured.mic)
        self._mic = np.concatenate([self._mic, captured.mic])
        self._played = np.concatenate([self._played, captured.played])
        whole = len(self._mic) // FRAME * FRAME
        made = [self._frame(self._mic[i : i + FRAME], self._played[i : i + FRAME]) for i in range(0, whole, FRAME)]
        self._mic, self._played = self._mic[whole:], self._played[whole:]
        self._done = np.concatenate([self._done, *made])
        missing = wanted - len(self._done)
        if missing > 0:
            # Happens only at the first odd block lengths: the lag grows once and then stays.
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
        share = np.linspace(0.0, 1.0, FRAME, dtype=np.float32)  # crossfade: a step would click
        return np.asarray(sources[before] * (1 - share) + sources[self._source] * share, dtype=np.float32)

    @property
    def path_known(self) -> bool:
        """Whether the echo path is known well enough for its output to be used."""
        return len(self._left) >= SURE and self._leaves < LEARNT

    def _by_path(self, mic: Block, played: Block) -> Block:
        """Return the echo path's output for `mic`, softened where it is no more than the residue of an echo."""
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
