"""What a room is like while nobody speaks, as numbers."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from coach.ears.activity import CHUNK, decibels
from coach.ears.features import Embedder, Frames
from coach.ports import Block
from coach.tempo.units import to_samples

ROOM_SECONDS = 20.0
"""Seconds for which a room is recorded: long enough for a refrigerator or a clock, short enough to keep quiet."""


@dataclass(frozen=True, slots=True, eq=False)
class RoomNoise:
    """The noise of a room without voices; its sound cannot be reconstructed."""

    level: float
    """Its level in dBFS: the median of chunks of 32 ms."""
    frames: Frames
    """Its embeddings in order, shape (n, 96)."""


def room_noise(sound: Block, embedder: Embedder) -> RoomNoise:
    """Return the numbers of a room's `sound` (mono at 16 kHz, a second at least)."""
    if len(sound) < to_samples(1.0):
        raise ValueError("a room needs a second of sound")
    chunks = sound[: len(sound) // CHUNK * CHUNK].reshape(-1, CHUNK)
    embedder.start(0)
    frames = [made.frame for made in embedder.feed(sound)]
    return RoomNoise(float(np.median([decibels(chunk) for chunk in chunks])), np.array(frames, np.float32))
