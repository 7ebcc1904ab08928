"""While somebody speaks the coach is quiet; nothing moves in time, and it does not last."""

from __future__ import annotations

from typing import Literal

import numpy as np
import pytest

from coach.audio.hush import HUSH_AFTER_VOICE, HUSHED_AT_MOST, Hush
from coach.audio.mixer import RAMP, Layer, Mixer
from coach.ports import Hearing
from coach.tempo.units import BLOCK, RATE

BEGAN = RATE
"""Sample at which somebody begins to speak."""


class Speaking:
    """A coach in the middle of a sentence of ten seconds, hushed as time goes on."""

    def __init__(self) -> None:
        self.mixer = Mixer()
        self.mixer.place(np.full(10 * RATE, 0.3, np.float32), 0, layer=Layer.SPEECH)
        self.hush = Hush(self.mixer)
        self.now = 0
        self.go_on(BEGAN)

    def hear(self, kind: Literal["word", "voice_began", "voice_ended"]) -> bool:
        return self.hush.heard(Hearing("activity", kind, "", 1.0, self.now, self.now, self.now), self.now)

    def go_on(self, until: int) -> list[int]:
        """Let time go on; return the blocks, by their last sample, at whose end the coach is heard."""
        heard = []
        while self.now < until:
            sound = self.mixer.render(self.now, BLOCK)
            self.now += BLOCK
            heard += [self.now] if sound[-1] else []
            self.hush.pass_by(self.now)
        return heard


def test_a_voice_makes_the_coach_quiet_until_a_moment_after_its_end() -> None:
    coach = Speaking()

    assert coach.hear("voice_began")
    assert coach.go_on(BEGAN + RATE // 2) == []
    coach.hear("voice_ended")
    assert coach.go_on(2 * RATE + RATE // 2)[0] - (BEGAN + RATE // 2) == HUSH_AFTER_VOICE + BLOCK


def test_a_voice_that_comes_to_nothing_keeps_the_coach_quiet_for_a_while_only() -> None:
    coach = Speaking()
    coach.hear("voice_began")

    assert coach.go_on(4 * RATE)[0] - BEGAN == HUSHED_AT_MOST + BLOCK


def test_an_understood_word_lets_the_coach_speak_at_once() -> None:
    coach = Speaking()
    coach.hear("voice_began")
    coach.go_on(BEGAN + RATE // 4)
    understood = coach.now
    coach.hush.end(understood)

    assert RAMP <= BLOCK
    assert coach.go_on(2 * RATE)[0] == understood + BLOCK


@pytest.mark.parametrize("kind", ["word", "voice_ended"])
def test_only_the_beginning_of_a_voice_makes_the_coach_quiet(kind: Literal["word", "voice_ended"]) -> None:
    coach = Speaking()

    assert not coach.hear(kind)
    assert len(coach.go_on(BEGAN + RATE // 2)) == RATE // 2 // BLOCK


def test_a_coach_that_says_nothing_is_not_hushed() -> None:
    assert not Hush(Mixer()).heard(Hearing("activity", "voice_began", "", 1.0, 0, 0, 0), 0)
