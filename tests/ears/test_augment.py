"""Augmented takes: the same for the same take, and still the same word."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from heard_rooms import Voice

from coach.ears.augment import A_WORD, AT_LEAST, BEFORE, Augmenter
from coach.ears.enrolment import Enrolment
from coach.ears.features import Embedder
from coach.ears.learnt import LearntMatcher
from coach.ears.takes import TakeMaker, as_taught
from coach.ears.teaching import learn_words
from coach.ports import Block
from coach.tempo.units import RATE


@pytest.fixture(scope="module")
def word(maker: TakeMaker, voice: Voice) -> Block:
    sound = maker.take_from(voice("ready")).sound
    assert sound is not None
    return sound


def test_the_same_take_is_augmented_the_same_way(word: Block) -> None:
    first, second = (Augmenter(Embedder()).augment(word, 12) for _ in range(2))

    assert len(first) == AT_LEAST
    for one, other in zip(first, second, strict=True):
        np.testing.assert_array_equal(one.frames, other.frames)
        np.testing.assert_array_equal(one.levels, other.levels)


def test_no_two_augmented_takes_are_alike(word: Block) -> None:
    made = Augmenter(Embedder()).augment(word, 12)

    ends = {(one.ends[0], float(one.frames.sum())) for one in made}

    assert len(ends) == len(made)


def test_each_augmented_take_holds_the_room_before_the_word_and_the_time_after_it(word: Block) -> None:
    for one in Augmenter(Embedder()).augment(word, 12):
        assert one.frames.shape == (len(one.ends), 96)
        assert len(one.levels) == len(one.ends)
        assert one.ends[0] < -len(word)
        assert one.ends[-1] > BEFORE // 2


def test_with_fewer_takes_each_is_augmented_more_often() -> None:
    tick = np.sin(np.arange(RATE // 4) / 5).astype(np.float32)

    assert len(Augmenter(Embedder()).augment(tick, 9)) == A_WORD // 9


@pytest.mark.parametrize("beside", ["room", "talk"])
def test_the_persons_room_and_talk_change_the_augmented_takes(word: Block, beside: str) -> None:
    noise = np.random.default_rng(0).normal(0, 0.01, 6 * RATE).astype(np.float32)

    plain = Augmenter(Embedder()).augment(word, 9)
    with_it = Augmenter(Embedder(), **{beside: noise}).augment(word, 9)

    assert not np.array_equal(plain[-1].frames, with_it[-1].frames)


@pytest.mark.parametrize("beside", [np.zeros(6 * RATE, np.float32), np.zeros(10, np.float32)])
def test_a_room_without_sound_is_no_room(word: Block, beside: Block) -> None:
    plain = Augmenter(Embedder()).augment(word, 12)
    with_it = Augmenter(Embedder(), room=beside, talk=beside[:0]).augment(word, 12)

    np.testing.assert_array_equal(plain[-1].frames, with_it[-1].frames)


@pytest.mark.usefixtures("learns_little")
def test_learning_keeps_no_sound_and_reports_its_progress(maker: TakeMaker, voice: Voice) -> None:
    takes = {word: (maker.take_from(voice(word)),) for word in ("ready", "stop")}
    told: list[tuple[int, int]] = []

    made = learn_words(Enrolment(takes), tell=lambda done, of: told.append((done, of)))

    assert told == [(1, 2), (2, 2)]
    assert all(take.sound is None and take.augmented for own in made.takes.values() for take in own)
    assert isinstance(made.matcher(), LearntMatcher)


@pytest.mark.usefixtures("learns_little")
def test_a_take_without_its_sound_is_used_unchanged(maker: TakeMaker, voice: Voice) -> None:
    take = replace(maker.take_from(voice("stop")), sound=None)

    assert as_taught(take).ends[0] == take.ends[0] - take.length
    assert learn_words(Enrolment({"stop": (take,)})).learnt is not None
