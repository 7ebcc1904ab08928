"""A lesson by voice without a device: a simulated person says each word asked for."""

from __future__ import annotations

import re
from collections.abc import Iterable
from pathlib import Path

import numpy as np
import pytest
from sound_files import write_sound

from coach.audio.room import VirtualRoom
from coach.audio.wavs import read_sound
from coach.ears.cohort import Talk, cohort
from coach.ports import Block
from coach.tempo.units import to_samples
from coach.voice.render import Renderer

RATES = (140, 155, 170)
"""Words a minute of each take of a word."""


def record_takes(folder: Path, words: Iterable[str]) -> None:
    """Write three takes of each word, WORD_00.wav and so on."""
    for number, rate in enumerate(RATES):
        for word, clip in Renderer("en-us+m3", rate).render(tuple(words)).items():
            write_sound(folder / f"{word}_0{number}.wav", clip)


def learn_little(patch: pytest.MonkeyPatch) -> None:
    """Learn from two augmented takes per take instead of 24, and against 5 minutes of talk instead of 50."""
    whole = cohort()
    few = len(whole.frames) // 10
    little = Talk(whole.frames[:few], whole.levels[:few])
    patch.setattr("coach.ears.augment.times", lambda _takes: 2)
    for module in ("teaching", "forecast"):
        patch.setattr(f"coach.ears.{module}.cohort", lambda: little)


class Lesson(VirtualRoom):
    """A room in place of the device, with a person who says each word asked for."""

    def __init__(self, takes: Path, stops_at: int = 1000) -> None:
        super().__init__()
        self._takes = takes
        self._stops_at = stops_at
        self._word = ""
        self._said = 0

    def prepare(self, texts: list[str], _: object) -> int:
        return len(texts)

    def clip(self, text: str) -> Block:
        asked = re.fullmatch(r"Please say: (\w+)\.", text)
        self._word = asked[1] if asked else self._word
        if asked or text in ("Again.", "Once more."):
            if self._said == self._stops_at:
                raise KeyboardInterrupt
            sound = read_sound(self._takes / f"{self._word}_0{self._said % 3}.wav")
            self._said += 1
            self.speak(sound, self.now + to_samples(1.0))
        return np.zeros(to_samples(0.2), np.float32)
