"""Rooms and words for the tests of the ears."""

from __future__ import annotations

from pathlib import Path
from typing import Protocol

import numpy as np

from coach.ears.augment import QUIET_ROOM
from coach.ports import Block, Captured
from coach.tempo.units import BLOCK, to_samples
from coach.words.phrases import ReplyWords

REPLIES = {name: ReplyWords(name) for name in ("stop", "ready", "yes", "no")} | {
    "n3": ReplyWords("three"),
    "left": ReplyWords("how many"),
}
TAUGHT_AT = (140, 155, 170)
SPOKEN_AT = 150
SENTENCES = (
    "The kettle is on and the bread is nearly done, so we might eat at half past twelve.",
    "My neighbour asked whether the bus still runs beside the old library.",
)


class Voice(Protocol):
    """Returns a word spoken at a number of words a minute."""

    def __call__(self, word: str, rate: int = SPOKEN_AT) -> Block: ...


def room(seconds: float, *sounds: tuple[float, Block], noise: float = QUIET_ROOM, seed: int = 1) -> Block:
    """Return seconds of a room's noise at a level in dBFS, with sounds that begin at given seconds."""
    whole = np.random.default_rng(seed).normal(0, 10 ** (noise / 20), to_samples(seconds)).astype(np.float32)
    for begin, sound in sounds:
        at = to_samples(begin)
        whole[at : at + len(sound)] += sound[: len(whole) - at]
    return whole


def blocks(mic: Block, *, played: Block | None = None, clean: Block | None = None) -> list[Captured]:
    """Return `mic` as a device would give it; nothing is played unless `played` is given."""
    played = np.zeros_like(mic) if played is None else played
    clean = mic if clean is None else clean
    return [
        Captured(at, mic[at : at + BLOCK], played[at : at + BLOCK], clean[at : at + BLOCK])
        for at in range(0, len(mic) - BLOCK + 1, BLOCK)
    ]


def as_version(path: Path, version: int) -> None:
    """Change the version in the file of an enrolment."""
    with np.load(path) as data:
        arrays = {name: data[name] for name in data.files} | {"format": np.array(version)}
    with path.open("wb") as file:
        np.savez(file, **arrays)
