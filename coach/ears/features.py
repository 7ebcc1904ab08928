"""Turn sound into speech embeddings: 96 numbers every 80 ms that distinguish words."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
import numpy.typing as npt

from coach.ears.spectrum import BANDS, Spectra, Spectrometer
from coach.errors import HearingError
from coach.ports import Block
from coach.tempo.units import RATE

EMBEDDING_STEP = 1280
"""Samples between two embeddings: 80 ms at 16 kHz, the hop of the model."""
EMBEDDING_WIDTH = 96
"""Numbers in an embedding."""
QUIETEST = -90.0
"""dBFS below which levels count as equal."""

Frames = npt.NDArray[np.float32]
"""Embeddings in order, shape (frames, EMBEDDING_WIDTH)."""

NO_ROWS: Spectra = np.zeros((0, BANDS), np.float32)


class Embedding(NamedTuple):
    """One step of sound, as numbers."""

    at: int
    """The sample after the end of its window."""
    frame: Frames
    """Shape (EMBEDDING_WIDTH,)."""
    level: float = QUIETEST
    """dBFS of the loudest 10 ms in its newest EMBEDDING_STEP samples, at least QUIETEST."""
    rows: Spectra = NO_ROWS
    """Spectra since the previous embedding, or since the start."""


class Embedder:
    """Computes speech embeddings of sound without gaps; each takes about 5 ms of one core.

    An embedding looks back 775 ms, so that the first comes 880 ms after a start.
    """

    def __init__(self) -> None:
        """Load the models that travel in the wheel of pyopen-wakeword.

        Raises HearingError where this system has none.
        """
        try:
            from pyopen_wakeword import OpenWakeWordFeatures

            self._model = OpenWakeWordFeatures.from_builtin()
        except (ImportError, OSError, ValueError) as error:
            raise HearingError(
                f"Taught words cannot be heard on this system ({error}); "
                "use the keys instead: coach enrol PERSON --keys-only"
            ) from error
        self._rest = np.zeros(0, dtype=np.float32)
        self._rows = NO_ROWS
        self._spectrometer = Spectrometer()
        self._at = 0
        self.start(0)

    def start(self, at: int) -> None:
        """Forget everything; the next sample fed is number `at`."""
        self._model.reset()
        self._model.new_audio_samples = 0  # otherwise the library first processes 8 s of silence
        self._rest = self._rest[:0]
        self._rows = NO_ROWS
        self._spectrometer.start()
        self._at = at

    def feed(self, sound: Block) -> list[Embedding]:
        """Take the next samples; return each new embedding."""
        self._rest = np.concatenate([self._rest, sound])
        found: list[Embedding] = []
        while len(self._rest) >= EMBEDDING_STEP:
            piece, self._rest = self._rest[:EMBEDDING_STEP], self._rest[EMBEDDING_STEP:]
            self._at += EMBEDDING_STEP
            pcm = (np.clip(piece, -1.0, 1.0) * 32767).astype("<i2").tobytes()
            self._rows = np.concatenate([self._rows, self._spectrometer.feed(piece)])
            for made in self._model.process_streaming(pcm):
                found.append(Embedding(self._at, made.reshape(EMBEDDING_WIDTH), _loudest(piece), self._rows))
                self._rows = NO_ROWS
        return found


def _loudest(piece: Block) -> float:
    powers = np.mean(np.square(piece.reshape(-1, RATE // 100), dtype=np.float64), axis=1)
    return max(QUIETEST, float(10.0 * np.log10(powers.max() + 1e-12)))
