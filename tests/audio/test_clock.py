from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from coach.audio.clock import AHEAD, BEHIND, DRIFT, Pace, sleepless_clock
from coach.tempo.units import BLOCK, RATE


@given(st.lists(st.floats(0.0, 0.3), min_size=50, max_size=400), st.floats(-0.9, 0.9))
def test_large_pieces_and_drifting_clocks_are_never_late(lumps: list[float], drift: float) -> None:
    pace = Pace(0.0)
    told = [
        pace.behind(number * BLOCK, number * BLOCK / RATE * (1 + drift * DRIFT) + lump, caught_up=True)
        for number, lump in enumerate(lumps)
    ]
    assert not any(told)


@given(st.integers(0, 200), st.floats(BEHIND + 0.01, 3600.0), st.lists(st.floats(0.0, 0.1), min_size=260, max_size=260))
def test_every_gap_in_the_sound_is_reported_once(at: int, hole: float, lumps: list[float]) -> None:
    pace = Pace(0.0)
    told = []
    for number, lump in enumerate(lumps):
        now = number * BLOCK / RATE + (hole + 0.1 if number >= at else 0.0) + lump
        if pace.behind(number * BLOCK, now, caught_up=True):
            told.append(number)
    assert told == ([at] if at else [])  # nothing can be late before the first stretch


@given(st.lists(st.floats(0.0, 0.3), min_size=50, max_size=400), st.floats(-0.9, 0.9))
def test_large_pieces_and_drifting_clocks_are_never_too_fast(lumps: list[float], drift: float) -> None:
    pace = Pace(100.0)

    times = [(number * BLOCK, 100.0 + number * BLOCK / RATE * (1 + drift * DRIFT)) for number in range(len(lumps))]
    assert not any(pace.too_fast(at, now + lump) for (at, now), lump in zip(times, lumps, strict=True))


@pytest.mark.parametrize("speed", [1.1, 1.5, 2.0, 50.0])
def test_a_device_without_a_clock_is_noticed_before_it_is_far_ahead(speed: float) -> None:
    pace = Pace(100.0)
    blocks = range(60 * RATE // BLOCK)

    found = next(at for at in (n * BLOCK for n in blocks) if pace.too_fast(at, 100.0 + at / RATE / speed))

    won = found / RATE * (1 - 1 / speed)
    assert AHEAD <= won <= AHEAD * 1.5


def test_a_change_of_the_time_of_day_does_not_move_the_clock_of_the_sound(monkeypatch: pytest.MonkeyPatch) -> None:
    before = sleepless_clock()
    monkeypatch.setattr("time.time", lambda: 0.0)

    assert 0.0 <= sleepless_clock() - before < 60.0
