"""What a room is like while nobody speaks, as numbers."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from coach.ears.activity import CHUNK, decibels
from coach.ears.features import Embedder, Frames
from coach.ports import Block
from coach.tempo.units import to_samples

ROOM_SECONDS = 20.0
"""How long a room is listened to: a refrigerator or a clock shows in it, and somebody can keep quiet so long."""


@dataclass(frozen=True, slots=True, eq=False)
class RoomNoise:
    """A room without voices; the sound cannot be had back from it."""

    level: float
    """dBFS: the median of its chunks of 32 ms."""
    frames: Frames
    """Embeddings of it, in order, shape (n, 96)."""


def room_noise(sound: Block, embedder: Embedder) -> RoomNoise:
    """Return the numbers of a room's `sound` (mono at 16 kHz, a second at least)."""
    if len(sound) < to_samples(1.0):
        raise ValueError("a room needs a second of sound")
    chunks = sound[: len(sound) // CHUNK * CHUNK].reshape(-1, CHUNK)
    embedder.start(0)
    frames = [made.frame for made in embedder.feed(sound)]
    return RoomNoise(float(np.median([decibels(chunk) for chunk in chunks])), np.array(frames, np.float32))
