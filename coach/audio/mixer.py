"""Place sounds at exact samples and render what the loudspeaker plays.

Its rules:

- A sound is placed by its sample; the output does not depend on how the time is divided into blocks.
- Rendered samples never change. A sound that comes too late begins at the next sample (speech; a tone from its middle)
  or is dropped (ticks and counts off the beat).
- `silence` takes effect at the next sample, and nothing from before it comes back.
"""

from __future__ import annotations

from bisect import insort
from dataclasses import dataclass
from enum import StrEnum
from threading import Lock

import numpy as np

from coach.audio.sounds import falling_tone, finite, level, tick
from coach.ports import Block
from coach.tempo.timeline import Sound
from coach.tempo.units import to_samples

FADE = to_samples(0.005)
"""Samples in which `silence` fades all sound to zero: 5 ms, instant to the ear and without a click."""

RAMP = to_samples(0.010)
"""Samples of a change by `hush` or ducking: 10 ms."""

LATE_COUNT = to_samples(0.060)
"""Samples after which a late count is dropped, as it would sound off the beat (25 ms are noticed on a 1 s beat)."""

LATE_TICK = to_samples(0.005)
"""Samples after which a late tick is dropped: a tick off the beat is worse than none."""

UNDER_SPEECH_DB = 22.0
"""Decibels by which ticks and tones are kept below simultaneous speech; WCAG 1.4.7 asks for 20 dB."""

KNEE = 0.8
"""Level below which the limiter changes nothing."""


class Layer(StrEnum):
    """Kind of a sound: decides its gain, its ducking and what happens if it is late."""

    SPEECH = "speech"
    TICK = "tick"
    TONE = "tone"


def beat(sound: Sound, length: int) -> tuple[Block, Layer]:
    """Return the clip and layer of a sound of a set that is not speech; `length` in samples is for the tone alone."""
    if sound is Sound.TICK:
        return tick(), Layer.TICK
    return falling_tone(length), Layer.TONE


@dataclass(slots=True, eq=False)
class _Sound:
    at: int
    clip: Block
    layer: Layer
    level: float
    """RMS of the clip where it is loud, before gains."""
    faded_from: int | None = None
    """Sample at which it begins to fade to nothing within FADE."""
    joined: int = 0
    """Frames skipped because it was placed late; it then fades in within FADE."""

    @property
    def end(self) -> int:
        """Sample after its last."""
        whole = self.at + len(self.clip)
        return whole if self.faded_from is None else min(whole, self.faded_from + FADE)


class Mixer:
    """Everything that the coach plays, on one frame count. All methods are safe to call from any thread."""

    def __init__(self, *, speech_gain: float = 1.0, tick_gain: float = 1.0, tone_gain: float = 1.0) -> None:
        """Gains multiply the clips: 1 plays a kind of sound as made, 0 turns it off."""
        self._gain = {Layer.SPEECH: speech_gain, Layer.TICK: tick_gain, Layer.TONE: tone_gain}
        self._lock = Lock()
        self._sounds: list[_Sound] = []
        self._rendered = 0
        self._hush: list[tuple[int, float]] = [(0, 1.0)]

    def place(self, clip: Block, at: int, *, layer: Layer, on_beat: bool = False) -> int | None:
        """Play `clip` with its first sample at `at`; return where it begins, or None if it came too late.

        If sample `at` was already rendered, speech begins at once, since its message must not be lost; but a count
        (`on_beat`) is dropped if it is more than LATE_COUNT late, and a tick if it is more than LATE_TICK late. A late
        tone starts at the position that it should have reached.
        """
        with self._lock:
            late = max(0, self._rendered - at)
            begins, joined = at + late, 0
            if layer is Layer.TONE:
                if late >= len(clip):
                    return None
                clip, joined = clip[late:], late
            elif (layer is Layer.TICK and late > LATE_TICK) or (on_beat and late > LATE_COUNT):
                return None
            self._add(_Sound(begins, finite(clip).reshape(-1), layer, level=level(clip), joined=joined))
            return begins

    def silence(self, now: int) -> None:
        """Fade out all current sound within FADE of `now` and forget everything else."""
        with self._lock:
            now = max(now, self._rendered)
            self._sounds = [sound for sound in self._sounds if sound.at < now]
            for sound in self._sounds:
                if sound.faded_from is None or sound.faded_from > now:
                    sound.faded_from = now

    def cut_from(self, at: int) -> None:
        """Forget what was placed to begin at or after `at`; what began before sounds to its end."""
        with self._lock:
            self._sounds = [sound for sound in self._sounds if sound.at < at]

    def hush(self, on: bool, now: int) -> None:
        """Mute the coach's output while `on`, with a fade, without moving anything in time."""
        with self._lock:
            now = max(now, self._rendered)
            points = [point for point in self._hush if point[0] < now]
            here = float(_line(now, now + 1, *self._hush)[0])
            target = 0.0 if on else 1.0
            points += [(now, here), (now + max(1, round(RAMP * abs(target - here))), target)]
            self._hush = points

    def render(self, at: int, frames: int) -> Block:
        """Return the `frames` samples from `at`, within -1 to 1. Call in order: rendered sounds are forgotten."""
        with self._lock:
            end = at + max(0, frames)
            out = np.zeros(end - at, dtype=np.float32)
            self._rendered = max(self._rendered, end)
            if not self._sounds:
                return out
            for sound in self._sounds:
                if sound.at >= end:
                    break
                if sound.end > at:
                    self._mix(sound, out, at)
            # Speech is kept a little longer: ticks right after it are still ducked.
            self._sounds = [sound for sound in self._sounds if sound.end + RAMP > end]
            self._apply_hush(out, at)
        _limit(out)
        return out

    @property
    def sounding_until(self) -> int:
        """Sample after the end of everything queued or placed that is still to be played."""
        with self._lock:
            return max((sound.end for sound in self._sounds), default=0)

    def _add(self, sound: _Sound) -> None:
        insort(self._sounds, sound, key=lambda each: each.at)

    def _mix(self, sound: _Sound, out: Block, at: int) -> None:
        gain = self._gain[sound.layer]
        if gain <= 0:
            return
        first, last = max(at, sound.at), min(at + len(out), sound.end)
        part = sound.clip[first - sound.at : last - sound.at] * np.float32(gain)
        if sound.faded_from is not None and last > sound.faded_from:
            part = part * _line(first, last, (sound.faded_from, 1.0), (sound.faded_from + FADE, 0.0))
        if sound.joined and first < sound.at + FADE:
            part = part * _line(first, last, (sound.at, 0.0), (sound.at + FADE, 1.0))
        if sound.layer is not Layer.SPEECH:
            part = self._duck(sound, part, first, last)
        out[first - at : last - at] += part

    def _duck(self, sound: _Sound, part: Block, first: int, last: int) -> Block:
        """Keep `part` UNDER_SPEECH_DB below simultaneous speech, with a ramp of RAMP before and after."""
        lowest: Block | None = None
        own = sound.level * self._gain[sound.layer]
        for speech in self._sounds:
            if speech.at - RAMP >= last:
                break
            loud = speech.level * self._gain[Layer.SPEECH]
            if speech.layer is not Layer.SPEECH or speech.end + RAMP <= first or loud <= 0 or own <= 0:
                continue
            under = min(1.0, loud / own * 10 ** (-UNDER_SPEECH_DB / 20))
            points = ((speech.at - RAMP, 1.0), (speech.at, under), (speech.end, under), (speech.end + RAMP, 1.0))
            curve = _line(first, last, *points)
            lowest = curve if lowest is None else np.minimum(lowest, curve)
        return part if lowest is None else part * lowest

    def _apply_hush(self, out: Block, at: int) -> None:
        if len(self._hush) > 1 and self._hush[-1][0] <= at:
            self._hush = self._hush[-1:]
        if len(self._hush) > 1:
            out *= _line(at, at + len(out), *self._hush)
        elif self._hush[0][1] != 1.0:
            out *= np.float32(self._hush[0][1])


def _line(first: int, last: int, *points: tuple[int, float]) -> Block:
    """Interpolate between `points` (sample, value); return the values from sample `first` up to `last`."""
    line: Block = np.interp(
        np.arange(first, last), [float(where) for where, _ in points], [value for _, value in points]
    ).astype(np.float32)
    return line


def _limit(out: Block) -> None:
    """Bend levels above KNEE smoothly towards 1, in place and per sample, so that block borders do not matter."""
    loud = np.abs(out) > KNEE
    if loud.any():
        over = (np.abs(out[loud]) - KNEE) / (1 - KNEE)
        out[loud] = np.sign(out[loud]) * (KNEE + (1 - KNEE) * np.tanh(over))
