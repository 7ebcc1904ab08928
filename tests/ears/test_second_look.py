"""The spectra of takes recognise their word in the same voice, in noise and beside a talker."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from coach.ears.likeness import ROWS
from coach.ears.second_look import LEAST_AFTER, MIXTURES, MOST_AFTER, SecondLook, mixed
from coach.ears.spectrum import ROW, Spectra, spectra
from coach.ears.takes import AFTERWARDS, Take, TakeMaker
from coach.ports import Block
from coach.tempo.units import to_samples
from coach.voice.render import Renderer

WORDS = ("no", "pause", "ready", "stop", "tired", "yes")
EVERY = np.arange(len(WORDS))
BEFORE, AFTER = to_samples(1.2), 16 * ROW


@pytest.fixture(scope="module")
def takes() -> Mapping[str, tuple[Take, ...]]:
    maker = TakeMaker()
    spoken = [Renderer("en-us+m3", pace).render(WORDS) for pace in (140, 150, 165)]
    return {word: tuple(maker.take_from(clips[word]) for clips in spoken) for word in WORDS}


@pytest.fixture(scope="module")
def second(takes: Mapping[str, tuple[Take, ...]]) -> SecondLook:
    return SecondLook(takes)


def heard(clip: Block, beside: Block, snr: float) -> Spectra:
    """Return the stretch after a word, with another sound a number of decibels below it."""
    end = BEFORE + len(clip) - len(clip) % ROW
    sound = np.random.default_rng(3).normal(0, 10 ** (-65 / 20), end + AFTER).astype(np.float32)
    sound[end - len(clip) : end] += clip
    other = np.resize(beside, len(sound))
    sound += other * np.float32(np.sqrt(np.mean(clip**2) / np.mean(other**2)) / 10 ** (snr / 20))
    return spectra(sound)[-ROWS:]


@pytest.mark.parametrize("snr", [60.0, 10.0])
@pytest.mark.parametrize("kind", ["noise", "talker"])
def test_a_word_is_nearest_to_its_own_takes_and_fits_them_better_than_talk_does(
    second: SecondLook, kind: str, snr: float
) -> None:
    clips = Renderer("en-us+m3", 157).render(WORDS)
    hiss = np.random.default_rng(4).normal(0, 1, 16000).astype(np.float32)
    talk = Renderer("en-gb+f1", 160).render(["the kettle is on and somebody is at the door"]).popitem()[1]

    nearest, fitting, better = 0, 0, 0
    for number, word in enumerate(WORDS):
        stretch = heard(clips[word], hiss if kind == "noise" else talk, snr)
        nearest += int(second.near(stretch).argmax() == number)
        fits = second.fits(stretch, EVERY)
        fitting += int(np.argmax(fits) == number)
        better += fits[number] > 0.1

    assert min(nearest, fitting, better) >= len(WORDS) - 1


def test_another_voice_fits_less(second: SecondLook) -> None:
    own, other = Renderer("en-us+m3", 157).render(WORDS), Renderer("en-gb+f4", 157).render(WORDS)
    quiet = np.ones(16000, np.float32)

    fits = np.array(
        [
            [second.fits(heard(clips[word], quiet, 60.0), EVERY[n : n + 1])[0] for n, word in enumerate(WORDS)]
            for clips in (own, other)
        ]
    )

    assert (fits[0] > fits[1]).all()


def test_the_same_takes_are_prepared_alike(takes: Mapping[str, tuple[Take, ...]], second: SecondLook) -> None:
    stretch = heard(Renderer("en-us+m3", 157).render(WORDS)["stop"], np.ones(16000, np.float32), 60.0)

    again = SecondLook(takes)

    np.testing.assert_array_equal(again.near(stretch), second.near(stretch))
    np.testing.assert_array_equal(again.fits(stretch, EVERY), second.fits(stretch, EVERY))


def test_words_compared_together_fit_as_each_does_alone(takes: Mapping[str, tuple[Take, ...]]) -> None:
    second = SecondLook({**takes, "yes": takes["yes"][:1]})
    stretch = heard(Renderer("en-us+m3", 157).render(WORDS)["stop"], np.ones(16000, np.float32), 60.0)
    some = np.array([0, 3, 5])

    np.testing.assert_allclose(second.fits(stretch, some), second.fits(stretch, EVERY)[some], atol=1e-6)


def beside(stretch: Spectra) -> Spectra:
    return np.concatenate([stretch[:2], stretch[-2:]])


def test_mixtures_hold_the_word_at_its_place_alone_in_noise_and_beside_talk() -> None:
    word = np.full((20 + AFTERWARDS, 28), -10.0, np.float32)
    word[-AFTERWARDS:] = -90.0

    made = mixed(word, np.random.default_rng(1))

    assert made.shape == (MIXTURES, ROWS, 28)
    alone = made[::3].mean(axis=2)
    for rows in alone:
        there = np.flatnonzero(rows > -10.0)
        assert ROWS - MOST_AFTER - 1 <= there[-1] <= ROWS - LEAST_AFTER
        assert 15 <= len(there) <= 25
    for stretch in made[::3]:
        assert beside(stretch).std() < 1e-3
    for stretch in made[1::3]:
        assert beside(stretch).std() > 0.5
    talks = [beside(stretch).std() > 0.5 for stretch in made[2::3]]
    assert sum(talks) >= len(talks) - 1  # a talker pauses now and then


@settings(max_examples=20, deadline=None)
@given(st.integers(0, 2**31), st.lists(st.integers(AFTERWARDS + 1, 90), min_size=1, max_size=4))
def test_the_measures_are_finite_however_strange_the_takes_and_the_sound(seed: int, lengths: list[int]) -> None:
    own = np.random.default_rng(seed)

    def strange(rows: int) -> Spectra:
        return own.choice([-120.0, -90.0, 0.0, 120.0], (rows, 28)).astype(np.float32)

    nothing, ends = np.zeros((1, 96), np.float32), np.zeros(1, np.int32)
    second = SecondLook({"stop": [Take(nothing, ends, 1, -20.0, -60.0, strange(rows)) for rows in lengths]})
    stretch = strange(ROWS)

    assert np.isfinite(second.near(stretch)).all()
    assert -1.0 <= second.fits(stretch, EVERY[:1])[0] <= 1.0
