"""Make the coach's own sounds by calculation: a soft tick and a falling tone.

Levels are against speech clips of about -20 dBFS RMS (coach/voice): the tick peaks at -18 dBFS, the tone runs at
-27 dBFS RMS, so both are plain to hear alone and easy to put under speech. Pitches stay between 260 and 1,050 Hz, where
hearing that fades with age lasts longest and a small loudspeaker still sounds.
"""

from __future__ import annotations

from functools import cache

import numpy as np
import numpy.typing as npt

from coach.ports import Block
from coach.tempo.units import RATE, to_samples

TICK_PEAK = 10 ** (-18 / 20)
"""Peak of a tick, of full scale."""

TONE_PEAK = 10 ** (-24 / 20)
"""Peak of a tone, of full scale."""

LOUDEST = 100.0
"""Where sound from outside is cut off: 40 dB above full scale, so that no sum overflows."""

SOFT = to_samples(0.040)
"""Samples in which a tone comes and goes; a sudden start would be taken for a tick."""


@cache
def tick() -> Block:
    """Return a soft tick of 30 ms at 1,050 Hz, sounding from its first sample. Do not write into it."""
    frames = to_samples(0.030)
    time = np.arange(1, frames + 1) / RATE
    attack = np.minimum(1.0, np.arange(1, frames + 1) / to_samples(0.002))
    wave = np.sin(2 * np.pi * 1050 * time) * attack * np.exp(-time / 0.007)
    wave *= np.minimum(1.0, np.arange(frames, 0, -1) / to_samples(0.005))
    return _frozen(wave * TICK_PEAK / np.abs(wave).max())


@cache
def falling_tone(samples: int, *, high: float = 520.0, low: float = 260.0) -> Block:
    """Return a quiet tone of `samples` frames that glides from `high` to `low` hertz, evenly to the ear.

    It begins and ends softly; the end of the fall is the end of the phase that it shapes. Do not write into it.
    """
    if samples <= 0:
        return _frozen(np.zeros(0))
    share = np.arange(samples) / max(1, samples - 1)
    phase = 2 * np.pi * np.cumsum(high * (low / high) ** share) / RATE
    wave = np.sin(phase) + 0.25 * np.sin(2 * phase)
    return _frozen(wave / 1.25 * TONE_PEAK * _soft_ends(samples))


def finite(sound: npt.ArrayLike) -> Block:
    """Return `sound` as float32, with silence for what is no number and cut off at LOUDEST; its shape is kept.

    One sample that is no number would stay for ever in what learns from the sound, such as the echo's path.
    """
    made: Block = np.nan_to_num(np.asarray(sound, dtype=np.float32), posinf=0.0, neginf=0.0)
    return np.clip(made, -LOUDEST, LOUDEST)


def level(clip: Block) -> float:
    """Return how loud `clip` is where it sounds: the RMS of its 20 ms stretches within 20 dB of the loudest one.

    A pause inside or around the words does not count, so that two clips of one voice come out alike. 0 for silence.
    """
    sound = finite(clip).reshape(-1).astype(np.float64)
    if not len(sound):
        return 0.0
    step = min(len(sound), to_samples(0.020))
    whole = len(sound) // step * step
    power = (sound[:whole].reshape(-1, step) ** 2).mean(axis=1)
    return float(np.sqrt(power[power >= power.max() / 100].mean()))


def _soft_ends(samples: int) -> np.ndarray[tuple[int], np.dtype[np.float64]]:
    ramp = min(SOFT, samples // 2)
    gain = np.ones(samples)
    if ramp:
        rise = 0.5 - 0.5 * np.cos(np.pi * np.arange(ramp) / ramp)
        gain[:ramp], gain[-ramp:] = rise, rise[::-1]
    return gain


def _frozen(wave: np.ndarray[tuple[int], np.dtype[np.float64]]) -> Block:
    block = wave.astype(np.float32)
    block.setflags(write=False)
    return block
