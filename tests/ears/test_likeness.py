"""The network's places keep words apart in noise."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from coach.ears.features import Frames
from coach.ears.likeness import LEAST, MOST, ROWS, around, as_seen, kept_apart, row_levels
from coach.ears.spectrum import BANDS, ROW, spectra
from coach.ports import Block
from coach.tempo.units import to_samples
from coach.voice.render import Renderer

WORDS = ("stop", "ready", "slower", "tired", "yes", "no", "pause", "seven")
AROUND = to_samples(1.2)


def behind(word: Block, noise: float) -> Frames:
    """Return the place of the sound after a word, in noise a number of decibels below it."""
    sound = np.random.default_rng(3).normal(0, 10 ** (-65 / 20), len(word) + 2 * AROUND).astype(np.float32)
    sound[AROUND:-AROUND] += word
    hiss = np.random.default_rng(4).normal(0, 1, len(sound)).astype(np.float32)
    sound += hiss * np.float32(np.sqrt(np.mean(word**2)) / 10 ** (noise / 20))
    rows = spectra(sound)
    end = (AROUND + len(word)) // ROW
    return kept_apart(as_seen(np.array([rows[end + n - ROWS : end + n] for n in range(8, 24, 4)])))


def test_a_word_in_noise_lies_nearest_to_itself_in_quiet() -> None:
    clips = Renderer("en-us+m3", 150).render(WORDS)
    quiet = np.array([behind(clips[word], 60.0).mean(axis=0) for word in WORDS])
    noisy = np.array([behind(clips[word], 10.0).mean(axis=0) for word in WORDS])

    nearest = (noisy @ quiet.T).argmax(axis=1)

    assert int(np.sum(nearest == np.arange(len(WORDS)))) >= len(WORDS) - 1


@given(st.integers(0, 2**31), st.integers(1, 30))
def test_every_place_has_length_one_however_strange_the_sound(seed: int, count: int) -> None:
    levels = np.random.default_rng(seed).uniform(-90, 60, (count, ROWS, BANDS)).astype(np.float32)

    found = kept_apart(as_seen(levels))

    assert found.shape == (count, 192)
    np.testing.assert_allclose(np.linalg.norm(found, axis=1), 1.0, atol=1e-4)


@given(st.integers(0, 2**31), st.floats(-20, 20))
def test_the_overall_loudness_changes_no_place(seed: int, louder: float) -> None:
    levels = np.random.default_rng(seed).uniform(-50, -10, (1, ROWS, BANDS)).astype(np.float32)

    seen = as_seen(levels)

    np.testing.assert_allclose(as_seen(levels + np.float32(louder)), seen, atol=1e-4)
    assert seen.min() >= LEAST
    assert seen.max() <= MOST


@pytest.mark.parametrize("rows", [around().talk, around().noise], ids=["talk", "noise"])
def test_the_surrounding_sounds_last_a_minute_or_more_at_about_zero_decibels(rows: Frames) -> None:
    assert rows.shape[1] == BANDS
    assert len(rows) * ROW >= to_samples(60.0)
    assert abs(float(10 * np.log10(np.mean(10 ** (row_levels(rows) / 10))))) < 0.1
