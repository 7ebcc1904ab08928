"""Convert between seconds and samples; no other module multiplies by a sample rate.

Seconds are rounded to the nearest sample, halves up.

>>> to_samples(1.0, 16000)
16000
>>> to_samples(0.00003125, 16000)  # half a sample
1
>>> to_seconds(8000, 16000)
0.5
"""

from __future__ import annotations

from math import floor

RATE = 16_000
"""Samples a second in every session: the rate of the ears (the device converts if it must)."""

BLOCK = 320
"""Samples the device reads and plays at a time: 20 ms, two frames of the echo canceller."""


def to_samples(seconds: float, rate: int = RATE) -> int:
    """Return `seconds` as a whole number of samples at `rate` a second."""
    return floor(seconds * rate + 0.5)


def to_seconds(samples: int, rate: int = RATE) -> float:
    """Return `samples` at `rate` a second as seconds."""
    return samples / rate
