"""A paced device gives each stretch when a real room would have."""

from __future__ import annotations

import numpy as np

from coach.audio.paced import Paced
from coach.audio.room import VirtualRoom
from coach.tempo.units import BLOCK, RATE


class Wall:
    """A clock that moves only during waits, each time a little less than asked, since a wait may return early."""

    def __init__(self) -> None:
        self.now = 100.0
        self.waits = 0

    def wait(self, seconds: float) -> None:
        self.waits += 1
        self.now += seconds if seconds < 1e-4 else 0.7 * seconds


def run(pace: float, stretches: int) -> float:
    wall = Wall()
    device = Paced(VirtualRoom(), pace, wall.wait, lambda: wall.now)
    device.open(lambda _, frames: np.zeros(frames, np.float32))
    for _ in range(stretches):
        assert device.read() is not None
    device.close()
    return wall.now - 100.0


def test_a_stretch_comes_at_its_time() -> None:
    assert abs(run(1.0, 50) - 50 * BLOCK / RATE) < 1e-3
    assert abs(run(4.0, 50) - 50 * BLOCK / RATE / 4) < 1e-3


def behind(seconds: float) -> int:
    """Return how often a room waits during the next second of its sound, after nobody read for a while."""
    wall = Wall()
    device = Paced(VirtualRoom(), 1.0, wall.wait, lambda: wall.now)
    device.open(lambda _, frames: np.zeros(frames, np.float32))
    wall.now += seconds
    for _ in range(RATE // BLOCK):
        device.read()
    return wall.waits


def test_a_room_that_is_behind_is_not_held_back() -> None:
    assert behind(2.0) == 0


def test_time_lost_while_the_process_was_stopped_is_not_made_up() -> None:
    assert behind(60.0) >= RATE // BLOCK
