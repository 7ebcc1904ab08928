"""Spectra show the strong bands of a sound, and are the same in pieces and as a whole."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from coach.ears.spectrum import BANDS, ROW, SILENT, Spectrometer, spectra
from coach.tempo.units import RATE


@pytest.mark.parametrize("hertz", [300.0, 1000.0, 3000.0])
def test_a_tone_is_strongest_in_one_place_that_rises_with_it(hertz: float) -> None:
    def strongest(pitch: float) -> int:
        tone = np.sin(2 * np.pi * pitch * np.arange(RATE) / RATE).astype(np.float32)
        rows = spectra(tone)[5:]
        assert len(set(rows.argmax(axis=1))) == 1
        return int(rows[0].argmax())

    assert strongest(hertz * 0.8) < strongest(hertz) < strongest(hertz * 1.2)


def test_ten_decibels_more_sound_are_ten_decibels_more_in_every_band() -> None:
    sound = np.random.default_rng(0).normal(0, 0.01, RATE).astype(np.float32)

    difference = spectra(sound * np.float32(10**0.5)) - spectra(sound)

    np.testing.assert_allclose(difference, 10.0, atol=0.01)


def test_silence_is_silent() -> None:
    np.testing.assert_allclose(spectra(np.zeros(RATE, np.float32)), SILENT)


@given(st.lists(st.integers(0, 6), min_size=1, max_size=8), st.integers(0, 2**31))
def test_pieces_give_the_same_spectra_as_the_whole(sizes: list[int], seed: int) -> None:
    sound = np.random.default_rng(seed).normal(0, 0.1, sum(sizes) * ROW).astype(np.float32)
    edges = np.cumsum(sizes)[:-1] * ROW
    pieces = Spectrometer()

    together = np.concatenate([pieces.feed(piece) for piece in np.split(sound, edges)])

    assert together.shape == (sum(sizes), BANDS)
    np.testing.assert_allclose(together, spectra(sound), atol=1e-4)


def test_a_row_does_not_depend_on_later_sound() -> None:
    sound = np.zeros(10 * ROW, np.float32)
    sound[5 * ROW :] = 0.5

    rows = spectra(sound)

    np.testing.assert_allclose(rows[:5], SILENT)
    assert len(rows) == 10
    assert rows[5].max() > SILENT + 30.0
