"""Sounds for the tests of the canceller."""

from __future__ import annotations

import numpy as np

from coach.ports import Block
from coach.tempo.units import RATE


def speechlike(seconds: float, seed: int) -> Block:
    """Noise with the spectrum and the syllables of speech."""
    random, frames = np.random.default_rng(seed), int(seconds * RATE)
    spectrum = np.fft.rfft(random.standard_normal(frames)) / (1 + (np.fft.rfftfreq(frames, 1 / RATE) / 500) ** 1.5)
    syllables = np.repeat(random.random(int(seconds * 5) + 1) > 0.35, RATE // 5)[:frames].astype(float)
    sound = np.fft.irfft(spectrum, frames) * np.convolve(syllables, np.hanning(800) / 400, "same")
    loudest = float(np.abs(sound).max())
    return np.asarray(sound * (0.6 / loudest), dtype=np.float32)


def power(sound: Block) -> float:
    return float((sound.astype(np.float64) ** 2).mean())


def decibels(sound: Block, beside: Block) -> float:
    return 10 * float(np.log10(power(sound) / power(beside)))


def echo_of(played: Block, seed: int = 1, late: float = 0.06) -> Block:
    """The impulse response of a room; its echo is as loud as the played sound."""
    answer = np.random.default_rng(seed).normal(size=1920) * np.exp(-np.arange(1920) / 320) * 0.2
    answer[0] = 1.0
    wet = np.convolve(np.concatenate([np.zeros(int(late * RATE)), played]), answer)[: len(played)]
    return np.asarray(wet * np.sqrt(power(played) / power(wet.astype(np.float32))), np.float32)
