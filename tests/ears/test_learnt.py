"""What is learnt from takes tells words from each other and from talk."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from coach.ears.cohort import Talk, cohort
from coach.ears.enrolment import Enrolment, load_enrolment
from coach.ears.learnt import EARLIEST, LATEST, SAY, USUAL, Learnt, LearntMatcher, learn
from coach.ears.likeness import SIZE, SPAN
from coach.ears.matching import Matcher, general_mean
from coach.ears.remade import Remade
from coach.ears.takes import Take
from coach.tempo.units import to_samples

STEP = 1280
LENGTH = to_samples(0.4)
rng = np.random.default_rng(1)
DIRECTIONS = {word: rng.normal(0, 10, 96).astype(np.float32) for word in ("stop", "ready")}


def example(word: str, seed: int, loud: float = -20.0) -> Remade:
    """A made-up word: noise of embeddings, and the word's own direction while its window holds the whole word."""
    own = np.random.default_rng(seed)
    ends = np.arange(-15, 10) * STEP + int(own.integers(STEP))
    frames = own.normal(0, 5, (len(ends), 96)).astype(np.float32) + general_mean()
    frames[(ends >= 0) & (ends <= LATEST)] += DIRECTIONS[word]
    levels = np.where((ends > -LENGTH) & (ends < STEP), loud, -60.0).astype(np.float32)
    return Remade(frames, levels, ends.astype(np.int32))


def talk(count: int = 400) -> Talk:
    own = np.random.default_rng(9)
    frames = own.normal(0, 10, (count, 96)).astype(np.float32) + general_mean()
    return Talk(frames, np.full(count, -25.0, np.float32))


@pytest.fixture(scope="module")
def learnt() -> Learnt:
    return learn({word: [example(word, seed) for seed in range(40)] for word in DIRECTIONS},
                 dict.fromkeys(DIRECTIONS, LENGTH), talk())  # fmt: skip


def take_of(word: str, seed: int) -> Take:
    made = example(word, seed)
    kept = made.ends > -LENGTH
    return Take(made.frames[kept], made.ends[kept] + np.int32(LENGTH), LENGTH, -20.0, -60.0)


def matcher_of(learnt: Learnt) -> LearntMatcher:
    takes = {word: [take_of(word, seed) for seed in range(3)] for word in DIRECTIONS}
    return LearntMatcher(learnt, takes, frozenset({"stop"}))


def best(matcher: LearntMatcher, take: Remade) -> tuple[str, float, int]:
    found = [matcher.push(*row) for row in zip(take.frames, take.ends.tolist(), take.levels.tolist(), strict=True)]
    scores = np.array([match.scores for match in found])
    row, column = np.unravel_index(int(scores.argmax()), scores.shape)
    return matcher.words[column], float(scores.max()), int(take.ends[row])


@pytest.mark.parametrize("word", sorted(DIRECTIONS))
def test_a_word_it_never_met_in_this_form_is_known_when_it_has_ended(learnt: Learnt, word: str) -> None:
    matcher = matcher_of(learnt)

    found, score, at = best(matcher, example(word, 77))

    assert found == word
    assert score > matcher.limits.max()
    assert EARLIEST <= at <= LATEST


def test_other_talk_reaches_no_limit(learnt: Learnt) -> None:
    own = np.random.default_rng(10)
    matcher = matcher_of(learnt)

    for number in range(400):
        match = matcher.push(own.normal(0, 10, 96).astype(np.float32) + general_mean(), number * STEP, -25.0)

        assert (match.scores < matcher.limits).all()


def test_pushing_one_by_one_scores_like_the_whole_stretch_and_the_plain_match_has_its_say(learnt: Learnt) -> None:
    made, matcher = example("ready", 5), matcher_of(learnt)
    plain = Matcher({word: [take_of(word, seed) for seed in range(3)] for word in DIRECTIONS}, frozenset({"stop"}))
    rows = [
        (frame, int(at), float(level)) for frame, at, level in zip(made.frames, made.ends, made.levels, strict=True)
    ]

    together = np.array([matcher.push(*row).scores for row in rows])
    cosines = np.array([plain.push(*row).scores for row in rows])

    np.testing.assert_allclose(together, learnt.scores(made.frames, made.levels) + SAY * (cosines - USUAL), atol=1e-3)


@given(quieter=st.floats(-30, 0))
def test_how_loud_all_of_it_is_changes_nothing(learnt: Learnt, quieter: float) -> None:
    take = example("stop", 8)

    changed = learnt.scores(take.frames, take.levels + np.float32(quieter))

    np.testing.assert_allclose(changed, learnt.scores(take.frames, take.levels), atol=1e-3)


def test_after_forgetting_nothing_of_before_counts(learnt: Learnt) -> None:
    matcher = matcher_of(learnt)
    first = best(matcher, example("stop", 3))
    best(matcher, example("ready", 4))
    matcher.forget()

    assert best(matcher, example("stop", 3)) == first


def test_learning_twice_gives_the_same(learnt: Learnt) -> None:
    again = learn({word: [example(word, seed) for seed in range(40)] for word in DIRECTIONS},
                  dict.fromkeys(DIRECTIONS, LENGTH), talk())  # fmt: skip

    np.testing.assert_array_equal(learnt.weights, again.weights)


def test_a_halt_needs_less_than_another_word(learnt: Learnt) -> None:
    limits = dict(zip(learnt.words, matcher_of(learnt).limits, strict=True))

    assert limits["stop"] < limits["ready"]


def test_the_cohort_is_some_minutes_of_talk_with_levels() -> None:
    found = cohort()

    assert found.frames.shape[1] == 96
    assert len(found.frames) == len(found.levels) > 10 * 60 * 16000 / STEP
    assert np.isfinite(found.frames).all()
    assert -90 <= found.levels.min() < found.levels.max() <= 0


def test_what_was_learnt_is_kept_with_the_takes_and_serves_them_only(
    learnt: Learnt, enrolment: Enrolment, tmp_path: Path
) -> None:
    words = {word: enrolment.takes[word] for word in ("ready", "stop")}
    replace(enrolment, takes=words, learnt=learnt).save(tmp_path)

    loaded = load_enrolment(tmp_path)

    assert loaded.learnt is not None
    np.testing.assert_array_equal(learnt.weights, loaded.learnt.weights)
    assert isinstance(loaded.matcher(), LearntMatcher)
    assert isinstance(replace(loaded, takes={**words, "yes": words["stop"]}).matcher(), Matcher)


def test_a_file_of_which_a_word_was_forgotten_after_it_was_learnt_still_loads_and_is_matched_plainly(
    learnt: Learnt, enrolment: Enrolment, tmp_path: Path
) -> None:
    replace(enrolment, takes={"ready": enrolment.takes["ready"]}, learnt=learnt).save(tmp_path)

    loaded = load_enrolment(tmp_path)

    assert (set(loaded.takes), loaded.learnt) == ({"ready"}, None)
    assert isinstance(loaded.matcher(), Matcher)


def test_its_size_is_that_of_a_second_of_embeddings_and_levels() -> None:
    assert SIZE == SPAN * 97
