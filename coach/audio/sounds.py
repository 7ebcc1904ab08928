"""Calculate the coach's own sounds: a soft tick and a falling tone.

The levels suit speech clips of about -20 dBFS RMS (coach/voice): the tick peaks at -18 dBFS and the tone has -27 dBFS
RMS, so both are clear alone and easy to keep below speech. Pitches stay between 260 and 1,050 Hz, where hearing
declines last with age and a small loudspeaker still sounds.
"""

from __future__ import annotations

from functools import cache

import numpy as np
import numpy.typing as npt

from coach.ports import Block
from coach.tempo.units import RATE, to_samples

TICK_PEAK = 10 ** (-18 / 20)
"""Peak of a tick, relative to full scale."""

TONE_PEAK = 10 ** (-24 / 20)
"""Peak of a tone, relative to full scale."""

LOUDEST = 100.0
"""Limit for sound from outside: 40 dB above full scale, so that no sum overflows."""

SOFT = to_samples(0.040)
"""Samples of a tone's fade in and out; a sudden start would sound like a tick."""


@cache
def tick() -> Block:
    """Return a soft tick of 30 ms at 1,050 Hz that sounds from its first sample. Do not write into it."""
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
    """Return `sound` as float32 of the same shape, with zeros for NaN and clipped at LOUDEST.

    A single NaN would stay for ever in whatever learns from the sound, such as the echo path.
    """
    made: Block = np.nan_to_num(np.asarray(sound, dtype=np.float32), posinf=0.0, neginf=0.0)
    return np.clip(made, -LOUDEST, LOUDEST)


def level(clip: Block) -> float:
    """Return the level of `clip` where it sounds: the RMS of its 20 ms stretches within 20 dB of the loudest one.

    Pauses in or around the words do not count, so two clips of one voice get equal levels. 0 for silence.
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
