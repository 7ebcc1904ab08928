"""A taught word is found even if other sound covers a part of it; another word is not."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from coach.ears.masking import MOST, NEVER, Outlines, cost, outlines
from coach.ears.spectrum import BANDS, Spectra

ROWS = 52
QUIET = -80.0


def word(seed: int, rows: int = 20) -> Spectra:
    """Return a made-up word: three strong, moving bands over weak ones."""
    own = np.random.default_rng(seed)
    made = np.full((rows, BANDS), -50.0, np.float32)
    for _ in range(3):
        path = np.clip(np.cumsum(own.integers(-1, 2, rows)) + int(own.integers(3, BANDS - 3)), 0, BANDS - 1)
        made[np.arange(rows), path] = -10.0
    return made


def stretch(inner: Spectra, at: int = 20) -> Spectra:
    rows = np.full((ROWS, BANDS), QUIET, np.float32)
    rows[at : at + len(inner)] = inner
    return rows


def together(one: Spectra, other: Spectra) -> Spectra:
    both: Spectra = (10 * np.log10(10 ** (one / 10) + 10 ** (other / 10))).astype(np.float32)
    return both


OWN, OTHER = outlines([word(1)]), outlines([word(2)])


@given(st.integers(0, 30), st.floats(-30, 20))
def test_the_word_itself_fits_perfectly_wherever_and_however_loud(at: int, louder: float) -> None:
    assert cost(stretch(word(1) + np.float32(louder), at), OWN)[0] < 0.01


def test_another_word_does_not_fit() -> None:
    assert cost(stretch(word(2)), OWN)[0] > 0.3


@pytest.mark.parametrize(("below", "little"), [(25.0, 0.01), (10.0, 0.15)])
def test_sound_below_the_strong_bands_costs_little_and_makes_no_other_word_fit(below: float, little: float) -> None:
    beside = np.random.default_rng(3).uniform(-15 - below, -10 - below, (ROWS, BANDS)).astype(np.float32)

    covered = cost(together(stretch(word(1)), beside), OWN)[0]

    assert covered < little
    assert covered < 0.4 * cost(together(stretch(word(2)), beside), OWN)[0]


def test_missing_sound_costs_more_than_covering_sound() -> None:
    softer, louder = stretch(word(1)), stretch(word(1))
    softer[28:30] -= 7.0
    louder[28:30] += 7.0  # two rows, as of a click, do not set the level

    assert cost(softer, OWN)[0] > 1.5 * cost(louder, OWN)[0] > 0


@given(st.floats(0.6, 1.7))
def test_said_faster_or_slower_it_still_fits(speed: float) -> None:
    rows = word(1)[np.round(np.linspace(0, 19, round(20 / speed))).astype(int)]

    assert cost(stretch(rows, 10), OWN)[0] < 0.15 < cost(stretch(rows, 10), OTHER)[0]


def test_noise_alone_fits_nothing_well() -> None:
    noise = np.random.default_rng(4).uniform(-20, -10, (ROWS, BANDS)).astype(np.float32)

    assert cost(noise, OWN)[0] > 0.1


@given(st.integers(0, 2**31))
def test_takes_compared_together_cost_what_each_costs_alone(seed: int) -> None:
    own = np.random.default_rng(seed)
    takes = [word(int(own.integers(99)), int(own.integers(6, 40))) for _ in range(3)]
    sound = stretch(word(int(own.integers(99)), 25))

    found = cost(sound, outlines(takes))

    np.testing.assert_allclose(found, [cost(sound, outlines([take]))[0] for take in takes], atol=1e-5)
    assert ((found >= 0) & ((found <= MOST + 1e-5) | (found == NEVER))).all()


def test_a_take_of_more_than_twice_the_stretch_never_fits() -> None:
    long: Outlines = outlines([word(1, 3 * ROWS)])

    assert cost(stretch(word(1)), long)[0] == NEVER
