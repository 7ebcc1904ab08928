"""Turn recordings of words into the same words from far off in an echoing room, strained, and whispered.

    python tests/bench/changed_voices.py

prints how long the rooms really ring, and what of a room is right by an independent library, if it is there
(pip install pyroomacoustics).
"""

from __future__ import annotations

import math
from functools import cache

import numpy as np
import numpy.typing as npt
from scipy.signal import butter, fftconvolve, lfilter, sosfilt

from coach.ports import Block
from coach.tempo.units import RATE, to_samples

Samples = npt.NDArray[np.float64]

SOUND = 343.0
"""Metres a second."""
WALLS = (5.0, 4.0, 2.6)
"""Metres: a living room."""
MOUTH = (1.3, 1.5, 0.5)
"""Metres from a corner: somebody on a mat."""
MICROPHONE = (3.3, 2.4, 0.8)
"""On a low table, 2.2 m from the mouth."""
NEAR = 0.5
"""Metres at which a recording was made: at 2.2 m the voice itself comes 13 dB softer."""
LOWEST = 80.0
"""Hertz below which the image method gives what no room does."""

ORDER = 16
"""Coefficients of a vocal tract at 16 kHz."""
FRAME, HOP = to_samples(0.024), to_samples(0.012)


@cache
def rings(rt60: float) -> Samples:
    """Return what the room makes of a click, for a reverberation time in seconds (as measured over the first 30 dB)."""
    low, high = 0.02, 0.95
    for _ in range(12):
        absorbed = (low + high) / 2
        made = images(absorbed, 1.2 * rt60)
        low, high = (absorbed, high) if measured_rt60(made) > rt60 else (low, absorbed)
    return made


def images(absorbed: float, seconds: float) -> Samples:
    """Return the response of a room of six like walls that swallow the share `absorbed` (Allen and Berkley 1979)."""
    reach = seconds * SOUND
    axes = []
    for size, mouth, ear in zip(WALLS, MOUTH, MICROPHONE, strict=True):
        n = np.arange(-math.ceil(reach / (2 * size)) - 1, math.ceil(reach / (2 * size)) + 2)
        away = np.concatenate([2 * n * size + mouth - ear, 2 * n * size - mouth - ear])
        bounces = np.concatenate([np.abs(2 * n), np.abs(2 * n - 1)])
        axes.append((away, bounces))
    (x, bx), (y, by), (z, bz) = axes
    made = np.zeros(int(seconds * RATE) + 2)
    flat = (y[:, None] ** 2 + z[None, :] ** 2).ravel()
    flat_bounces = (by[:, None] + bz[None, :]).ravel()
    for one, bounces in zip(x, bx, strict=True):
        far = np.sqrt(one**2 + flat)
        heard = far < reach
        at = far[heard] / SOUND * RATE
        gain = NEAR / far[heard] * (1.0 - absorbed) ** ((bounces + flat_bounces[heard]) / 2)
        whole = at.astype(np.int64)
        made += np.bincount(whole, gain * (1 - (at - whole)), len(made))
        made += np.bincount(whole + 1, gain * (at - whole), len(made))
    return np.asarray(sosfilt(butter(2, LOWEST, "high", fs=RATE, output="sos"), made))


def measured_rt60(response: Samples) -> float:
    """Return twice the time in which the remaining energy falls from -5 to -35 dB."""
    left = np.cumsum(response[::-1] ** 2)[::-1]
    decibels = 10 * np.log10(left / left[0] + 1e-30)
    return float((np.argmax(decibels < -35) - np.argmax(decibels < -5)) / RATE * 2)


def far_off(sound: Block, rt60: float) -> Block:
    """Return `sound` as it comes to a microphone 2.2 m off, as long as before."""
    return np.asarray(fftconvolve(sound, rings(rt60))[: len(sound)], np.float32)


def strained(word: Block, rng: np.random.Generator) -> Block:
    """Return `word` in a strained voice: 15 % higher, unsteady, rough, tilted up 4 dB an octave, squeezed."""
    steps = np.arange(0, len(word) - 1, 1.15)
    slow = np.cumsum(lfilter(*butter(2, 12.0, fs=RATE), rng.normal(size=len(steps))))
    quick = lfilter(*butter(2, 120.0, fs=RATE), rng.normal(size=len(steps)))
    wander = to_samples(0.004) * slow / max(float(np.abs(slow).max()), 1e-9) + 2.5 * quick / np.std(quick)
    said = np.interp(np.clip(steps + wander, 0, len(word) - 1), np.arange(len(word)), word)
    rough = 1.0 + 0.35 * np.sign(np.sin(2 * np.pi * np.cumsum(rng.uniform(50, 80, len(said))) / RATE))
    spectrum = np.fft.rfft(said * rough)
    hertz = np.maximum(np.fft.rfftfreq(len(said), 1 / RATE), 100.0)
    tilted = np.fft.irfft(spectrum * (hertz / 500.0) ** (4 / 6.02), len(said))
    squeezed = np.tanh(3.0 * tilted / max(float(np.percentile(np.abs(tilted), 98)), 1e-9))
    return at_level_of(word, squeezed, 0.0)


def whispered(word: Block, rng: np.random.Generator) -> Block:
    """Return `word` with noise for the voice, through the same vocal tract, tilted up 3 dB an octave, 12 dB softer."""
    taper = np.hanning(FRAME)
    padded = np.concatenate([np.zeros(FRAME), word, np.zeros(FRAME)])
    made = np.zeros(len(padded))
    for at in range(0, len(padded) - FRAME, HOP):
        piece = padded[at : at + FRAME] * taper
        tract, power = tract_of(piece)
        breath = lfilter([np.sqrt(power)], tract, rng.normal(size=FRAME))
        made[at : at + FRAME] += breath * taper
    spectrum = np.fft.rfft(made[FRAME : FRAME + len(word)])
    hertz = np.maximum(np.fft.rfftfreq(len(word), 1 / RATE), 100.0)
    return at_level_of(word, np.fft.irfft(spectrum * (hertz / 500.0) ** 0.5, len(word)), -12.0)


def tract_of(piece: Samples) -> tuple[Samples, float]:
    """Return the coefficients of the filter that a piece came through, and the power of what went into it."""
    likeness = np.correlate(piece, piece, "full")[len(piece) - 1 : len(piece) + ORDER] / len(piece)
    likeness[0] = likeness[0] * 1.0001 + 1e-12
    filtered, left = np.array([1.0]), float(likeness[0])
    for order in range(1, ORDER + 1):
        turn = -float(np.dot(filtered, likeness[order:0:-1])) / left
        longer = np.append(filtered, 0.0)
        filtered = longer + turn * longer[::-1]
        left *= 1.0 - turn**2
    return filtered, left


def at_level_of(word: Block, made: Samples, decibels: float) -> Block:
    power = np.sqrt(np.mean(np.square(word, dtype=np.float64)) / (np.mean(made**2) + 1e-20))
    return np.asarray(made * power * 10 ** (decibels / 20), np.float32)


def main() -> None:
    try:
        import pyroomacoustics
    except ImportError:
        pyroomacoustics = None
    for rt60 in (0.3, 0.6, 0.9):
        response = rings(rt60)
        direct = NEAR / math.dist(MOUTH, MICROPHONE)
        over = 10 * np.log10((response**2).sum() / direct**2)
        print(f"RT60 {measured_rt60(response):.2f} s; all of it is {over:.1f} dB over the straight way", end="")
        if pyroomacoustics is not None:
            low, high = 0.02, 0.95
            for _ in range(20):
                absorbed = (low + high) / 2
                low, high = (absorbed, high) if measured_rt60(images(absorbed, 1.2 * rt60)) > rt60 else (low, absorbed)
            place = pyroomacoustics.ShoeBox(
                list(WALLS), fs=RATE, materials=pyroomacoustics.Material(absorbed), max_order=40, air_absorption=False
            )
            place.add_source(list(MOUTH))
            place.add_microphone(list(MICROPHONE))
            place.compute_rir()
            theirs = np.asarray(place.rir[0][0])
            print(f"; the library's: {measured_rt60(theirs):.2f} s", end="")
        print()


if __name__ == "__main__":
    main()
