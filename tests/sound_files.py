"""Sound for tests: written to a file in one go, and looked at."""

from __future__ import annotations

from pathlib import Path

import numpy as np

from coach.audio.wavs import WavWriter
from coach.ports import Block
from coach.tempo.units import RATE
from coach.voice.shape import AUDIBLE


def write_sound(path: Path | str, sound: Block, *, rate: int = RATE) -> None:
    """Write `sound`, shape (frames,) or (frames, channels), as a 16-bit WAV file that is there whole or not at all."""
    channels = 1 if sound.ndim == 1 else sound.shape[1]
    with WavWriter(path, channels=channels, rate=rate) as writer:
        writer.write(sound)


def onset(clip: Block) -> int:
    """Return the index of the first audible sample."""
    return int(np.argmax(np.abs(clip) >= AUDIBLE * np.abs(clip).max()))
