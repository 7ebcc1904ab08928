"""What a session is told of a device that fails, over stretches and holes of every kind."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from coach.device_watch import BACK_AFTER, BACK_AFTER_AT_MOST, DEAD_MIC, SOON, DeviceWatch
from coach.ports import Captured
from coach.session.events import On
from coach.tempo.units import BLOCK, RATE, to_samples

LIVE = np.resize(np.array([1e-4, -1e-4], np.float32), BLOCK)
DEAD = np.zeros(BLOCK, np.float32)


class Told:
    """A device in samples: what it gave and what the session was told of it."""

    def __init__(self) -> None:
        self.watch = DeviceWatch()
        self.now = 0
        self.events: list[tuple[On, int]] = []
        self.calls: list[list[On]] = []
        """What was told at once."""

    def live(self, samples: int) -> None:
        self._give(LIVE, samples)

    def dead(self, samples: int) -> None:
        self._give(DEAD, samples)

    def hole(self) -> None:
        self._tell(self.watch.stalled(self.now))

    def _give(self, mic: np.ndarray, samples: int) -> None:
        for _ in range(samples // BLOCK):
            captured = Captured(self.now, mic, DEAD, mic)
            self.now += BLOCK
            self._tell(self.watch.fed(captured))

    def _tell(self, events: list[On]) -> None:
        self.events += [(on, self.now) for on in events]
        self.calls += [events] if events else []


def test_stopped_sound_is_one_trouble_whichever_sign_comes_first() -> None:
    told = Told()
    told.dead(DEAD_MIC)
    told.hole()
    told.dead(to_samples(3))
    told.hole()
    told.live(to_samples(3))

    assert told.calls == [[On.MIC_LOST], [On.SPEAKER_LOST], [On.SPEAKER_BACK, On.MIC_BACK]]


def test_a_stopped_device_is_neither_heard_nor_played_until_it_is_back() -> None:
    told = Told()
    told.hole()
    shown = [(told.watch.mic_lost, told.watch.speaker_lost)]
    for _ in range(BACK_AFTER // BLOCK - 1):
        told.live(BLOCK)
        shown.append((told.watch.mic_lost, told.watch.speaker_lost))
    told.live(BLOCK)

    assert set(shown) == {(True, True)}
    assert (told.watch.mic_lost, told.watch.speaker_lost) == (False, False)


def test_a_coach_that_is_not_heard_leaves_the_microphone_as_it_is() -> None:
    told = Told()

    assert told.watch.unheard(0) == [On.SPEAKER_LOST]
    assert told.watch.unheard(0) == []
    assert not told.watch.mic_lost


@pytest.mark.parametrize("every", [0.5, 1.2, 1.6])
def test_sound_that_stutters_for_minutes_is_reported_a_few_times_and_not_each_second(every: float) -> None:
    told = Told()
    while told.now < to_samples(200):
        told.live(to_samples(every))
        told.hole()

    assert len(told.events) <= 2 * 6
    last = told.events[-1][1]
    assert every < 1 or last < to_samples(60), "it is not told any more while it goes on"


def test_a_device_that_works_again_for_a_while_is_back_within_a_second_the_next_time() -> None:
    told = Told()
    for _ in range(8):
        told.hole()
        told.live(to_samples(1.2))
    told.live(SOON + BACK_AFTER_AT_MOST)
    told.events.clear()
    told.hole()
    told.live(to_samples(2))

    assert [on for on, _ in told.events] == [On.SPEAKER_LOST, On.SPEAKER_BACK]
    assert told.events[1][1] - told.events[0][1] == RATE


@given(st.lists(st.tuples(st.sampled_from(["live", "dead", "hole"]), st.integers(1, 200)), max_size=30))
def test_nothing_is_reported_twice_and_all_losses_end_at_the_same_moment(
    what: list[tuple[str, int]],
) -> None:
    told = Told()
    for kind, blocks in what:
        if kind == "hole":
            told.hole()
        else:
            getattr(told, kind)(blocks * BLOCK)

    gone: list[On] = []
    for events in told.calls:
        if events[0] in (On.MIC_LOST, On.SPEAKER_LOST):
            assert events[0] not in gone
            gone += events
        else:
            assert [on.replace("back", "lost") for on in events] == gone[::-1], "all, and the first that went last"
            gone = []
