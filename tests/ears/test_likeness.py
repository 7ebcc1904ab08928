"""What is looked at keeps words apart where there is noise."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from coach.ears.features import WIDTH, Embedder, Frames
from coach.ears.learnt import EARLIEST, LATEST, middles
from coach.ears.likeness import SIZE, SPAN, kept_apart, looked_at
from coach.ears.matching import general_mean
from coach.ears.remade import Remade
from coach.ports import Block
from coach.tempo.units import to_samples
from coach.voice.render import Renderer

WORDS = ("stop", "ready", "slower", "tired", "yes", "no", "pause", "seven")
AROUND = to_samples(1.2)


def behind(word: Block, noise: float, embedder: Embedder) -> Frames:
    """Return where the embeddings behind a word lie, in noise so many decibels below it."""
    sound = np.random.default_rng(3).normal(0, 10 ** (-65 / 20), len(word) + 2 * AROUND).astype(np.float32)
    sound[AROUND:-AROUND] += word
    hiss = np.random.default_rng(4).normal(0, 1, len(sound)).astype(np.float32)
    sound += hiss * np.float32(np.sqrt(np.mean(word**2)) / 10 ** (noise / 20))
    embedder.start(-AROUND - len(word))
    made = embedder.feed(sound)
    seen = looked_at(np.array([one.frame for one in made]), np.array([one.level for one in made]))
    return kept_apart(seen[[EARLIEST <= one.at <= LATEST for one in made]])


def test_a_word_in_noise_lies_nearest_to_itself_in_quiet() -> None:
    embedder = Embedder()
    clips = Renderer("en-us+m3", 150).render(WORDS)
    quiet = np.array([behind(clips[word], 60.0, embedder).mean(axis=0) for word in WORDS])
    noisy = np.array([behind(clips[word], 10.0, embedder).mean(axis=0) for word in WORDS])

    nearest = (noisy @ quiet.T).argmax(axis=1)

    assert int(np.sum(nearest == np.arange(len(WORDS)))) >= len(WORDS) - 1


@given(st.integers(0, 2**31), st.integers(1, 30))
def test_every_row_is_of_length_one_however_strange_the_sound(seed: int, count: int) -> None:
    own = np.random.default_rng(seed)
    frames = own.normal(0, 40, (count, WIDTH)).astype(np.float32)

    found = kept_apart(looked_at(frames, own.uniform(-90, 0, count).astype(np.float32)))

    assert found.shape == (count, 192)
    np.testing.assert_allclose(np.linalg.norm(found, axis=1), 1.0, atol=1e-4)


def test_what_is_looked_at_is_a_second_with_the_newest_first_and_the_first_for_what_was_before() -> None:
    frames = np.arange(3 * WIDTH, dtype=np.float32).reshape(3, WIDTH)

    rows = looked_at(frames, np.zeros(3, np.float32))

    assert rows.shape == (3, SIZE)
    first = rows[0, :WIDTH]
    np.testing.assert_array_equal(rows[0, : SPAN * WIDTH].reshape(SPAN, WIDTH), np.tile(first, (SPAN, 1)))
    np.testing.assert_array_equal(rows[2, WIDTH : 2 * WIDTH], rows[1, :WIDTH])


def test_a_word_whose_end_no_take_shows_cannot_be_placed() -> None:
    early = Remade(np.tile(general_mean(), (3, 1)), np.zeros(3, np.float32), np.array([-9, -6, -3], np.int32))

    with pytest.raises(ValueError, match="without its end"):
        middles({"stop": [early]})
