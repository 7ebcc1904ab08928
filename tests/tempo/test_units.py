"""Seconds and samples."""

from __future__ import annotations

import doctest

import pytest
from hypothesis import given
from hypothesis import strategies as st

from coach.tempo import units
from coach.tempo.units import BLOCK, RATE, to_samples, to_seconds


@pytest.mark.parametrize(
    ("seconds", "rate", "samples"),
    [
        (0.0, 16_000, 0),
        (1.0, 16_000, 16_000),
        (2.5, 16_000, 40_000),
        (0.1, 44_100, 4_410),
        (1 / 3, 16_000, 5_333),
        (2 / 3, 16_000, 10_667),
        (0.5 / 16_000, 16_000, 1),  # half a sample: up
        (0.49 / 16_000, 16_000, 0),
        (-0.5, 16_000, -8_000),
    ],
)
def test_seconds_become_the_nearest_sample_halves_up(seconds: float, rate: int, samples: int) -> None:
    assert to_samples(seconds, rate) == samples


def test_a_block_is_twenty_milliseconds() -> None:
    assert to_seconds(BLOCK, RATE) == 0.02


def test_the_examples_in_the_file_are_true() -> None:
    ran = doctest.testmod(units)

    assert (ran.failed, ran.attempted) == (0, 3)


@given(st.integers(-(10**9), 10**9), st.sampled_from((8_000, 16_000, 22_050, 44_100, 48_000)))
def test_samples_come_back_from_seconds(samples: int, rate: int) -> None:
    assert to_samples(to_seconds(samples, rate), rate) == samples


@given(st.floats(0, 10_000), st.floats(0, 10_000))
def test_a_longer_time_is_never_fewer_samples(one: float, other: float) -> None:
    short, long = sorted((one, other))

    assert to_samples(short) <= to_samples(long)
    assert abs(to_seconds(to_samples(short)) - short) <= 0.5 / RATE + 1e-9
