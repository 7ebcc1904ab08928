"""Other people's talk, as numbers: no taught word may be heard in it."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache
from importlib import resources as package_data

import numpy as np
import numpy.typing as npt

from coach.ears.features import Frames


@dataclass(frozen=True, slots=True, eq=False)
class Talk:
    """Speech as consecutive embeddings."""

    frames: Frames
    """Embeddings, shape (n, 96)."""
    levels: npt.NDArray[np.float32]
    """dBFS of each, shape (n,)."""


@cache
def cohort() -> Talk:
    """Return 50 minutes of synthesised talk; made by tests/bench/cohort_speech.py."""
    with (
        (package_data.files("coach.ears") / "cohort.npz").open("rb") as file,
        np.load(file, allow_pickle=False) as data,
    ):
        return Talk(
            data["frames"].astype(np.float32) * data["scale"] + data["middle"], data["levels"].astype(np.float32)
        )
