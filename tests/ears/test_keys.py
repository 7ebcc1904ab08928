from __future__ import annotations

import numpy as np

from coach.ears.keys import Keys
from coach.ports import Captured, Hearing
from coach.tempo.units import BLOCK

QUIET = np.zeros(BLOCK, np.float32)


def test_a_key_is_heard_with_the_next_stretch_and_only_once() -> None:
    keys = Keys()
    keys.press(" ")

    first = keys.feed(Captured(640, QUIET, QUIET, QUIET))
    second = keys.feed(Captured(960, QUIET, QUIET, QUIET))

    assert first == [Hearing("keys", "word", "stop", 1.0, 960, 960, 960)]
    assert second == []


def test_keys_come_in_their_order_and_capitals_count() -> None:
    keys = Keys()
    for key in "7Yx":
        assert keys.press(key)

    found = keys.feed(Captured(0, QUIET, QUIET, QUIET))

    assert [hearing.word for hearing in found] == ["n7", "yes", "n10"]


def test_a_key_without_a_meaning_is_ignored() -> None:
    keys = Keys()

    assert not keys.press("\n")
    assert keys.feed(Captured(0, QUIET, QUIET, QUIET)) == []
