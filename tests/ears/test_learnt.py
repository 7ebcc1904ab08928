"""The learnt match distinguishes words from each other and from talk."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from coach.ears.augment import Augmented
from coach.ears.cohort import Talk, cohort
from coach.ears.enrolment import Enrolment, UnusableEnrolmentError, load_enrolment
from coach.ears.features import Embedding
from coach.ears.learnt import (
    EARLIEST,
    FAR,
    FIT,
    LATEST,
    NEAR,
    REACH,
    SAY,
    SIZE,
    SPAN,
    USUAL,
    USUALLY,
    Learnt,
    LearntMatcher,
    learn,
    looked_at,
)
from coach.ears.likeness import ROWS
from coach.ears.matching import Matcher, general_mean
from coach.ears.second_look import SecondLook
from coach.ears.spectrum import BANDS, ROW, SILENT, Spectra
from coach.ears.takes import AFTERWARDS, LONGEST_ROWS, Take
from coach.tempo.units import to_samples

STEP = 1280
LENGTH = to_samples(0.4)
rng = np.random.default_rng(1)
DIRECTIONS = {word: rng.normal(0, 10, 96).astype(np.float32) for word in ("stop", "ready")}
QUIET = -80.0
SPECTRA = {word: rng.uniform(-60, -10, (LENGTH // ROW, BANDS)).astype(np.float32) for word in DIRECTIONS}


def example(word: str, seed: int, loud: float = -20.0) -> Augmented:
    """Return a made-up word: random embeddings, plus the word's own direction while the window holds the whole word."""
    own = np.random.default_rng(seed)
    ends = np.arange(-15, 10) * STEP + int(own.integers(STEP))
    frames = own.normal(0, 5, (len(ends), 96)).astype(np.float32) + general_mean()
    frames[(ends >= 0) & (ends <= LATEST)] += DIRECTIONS[word]
    levels = np.where((ends > -LENGTH) & (ends < STEP), loud, -60.0).astype(np.float32)
    return Augmented(frames, levels, ends.astype(np.int32))


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
    rows = np.concatenate([SPECTRA[word], np.full((AFTERWARDS, BANDS), QUIET, np.float32)])
    return Take(made.frames[kept], made.ends[kept] + np.int32(LENGTH), LENGTH, -20.0, -60.0, rows)


def pushes(word: str, made: Augmented) -> list[Embedding]:
    """Return a made-up word as a matcher gets it, with the spectra of that word."""
    return [
        Embedding(int(end), frame, float(level), np.array([row(word, int(end) - STEP + n * ROW) for n in range(4)]))
        for frame, end, level in zip(made.frames, made.ends, made.levels, strict=True)
    ]


def row(word: str, at: int) -> Spectra:
    """Return the spectrum at `at` samples from the word's end."""
    inside = -LENGTH <= at < 0
    return SPECTRA[word][(at + LENGTH) // ROW] if inside else np.full(BANDS, QUIET, np.float32)


def matcher_of(learnt: Learnt) -> LearntMatcher:
    takes = {word: [take_of(word, seed) for seed in range(3)] for word in DIRECTIONS}
    return LearntMatcher(learnt, takes, frozenset({"stop"}))


def best(matcher: LearntMatcher, word: str, seed: int) -> tuple[str, float, int]:
    take = example(word, seed)
    found = [matcher.push(made) for made in pushes(word, take)]
    scores = np.array([match.scores for match in found])
    row, column = np.unravel_index(int(scores.argmax()), scores.shape)
    return matcher.words[column], float(scores.max()), int(take.ends[row])


@pytest.mark.parametrize("word", sorted(DIRECTIONS))
def test_a_word_in_a_new_form_is_recognised_at_its_end(learnt: Learnt, word: str) -> None:
    matcher = matcher_of(learnt)

    found, score, at = best(matcher, word, 77)

    assert found == word
    assert score > matcher.limits.max()
    assert EARLIEST <= at <= LATEST


def test_other_talk_reaches_no_limit(learnt: Learnt) -> None:
    own = np.random.default_rng(10)
    matcher = matcher_of(learnt)

    for number in range(400):
        frame = own.normal(0, 10, 96).astype(np.float32) + general_mean()
        rows = own.uniform(-60, -10, (4, BANDS)).astype(np.float32)
        match = matcher.push(Embedding(number * STEP, frame, -25.0, rows))

        assert (match.scores < matcher.limits).all()


def test_all_four_measures_count_and_no_fit_is_computed_for_a_word_that_cannot_pass(learnt: Learnt) -> None:
    takes = {word: [take_of(word, seed) for seed in range(3)] for word in DIRECTIONS}
    matcher, plain = matcher_of(learnt), Matcher(takes, frozenset({"stop"}))
    second, made = SecondLook(takes), example("ready", 5)
    heard = pushes("ready", made)
    together = np.array([matcher.push(one).scores for one in heard])

    cosines = np.array([plain.push(one).scores for one in heard])
    rows = np.concatenate([np.full((ROWS, BANDS), SILENT, np.float32), *(one.rows for one in heard)])
    stretches = [rows[4 * n : 4 * n + ROWS] for n in range(1, len(heard) + 1)]
    near = np.array([second.near(stretch) for stretch in stretches])
    nearness = NEAR * (near - USUALLY)
    wanted = learnt.score(looked_at(made.frames, made.levels)) + SAY * (cosines - USUAL) + np.maximum(nearness, FAR)
    fits = np.array([second.fits(stretch, np.arange(2)) for stretch in stretches])
    asked = wanted > matcher.limits - REACH

    assert (nearness < FAR).any()
    assert asked.any()
    assert not asked.all()
    np.testing.assert_allclose(together, wanted + np.where(asked, FIT * fits, -REACH), atol=1e-3)


@given(quieter=st.floats(-30, 0))
def test_the_overall_loudness_changes_no_score(learnt: Learnt, quieter: float) -> None:
    take = example("stop", 8)

    changed = learnt.score(looked_at(take.frames, take.levels + np.float32(quieter)))

    np.testing.assert_allclose(changed, learnt.score(looked_at(take.frames, take.levels)), atol=1e-3)


def test_of_many_words_the_fit_is_computed_for_the_likeliest(monkeypatch: pytest.MonkeyPatch, learnt: Learnt) -> None:
    heard = pushes("ready", example("ready", 5))
    free = np.array([matcher.push(one).scores for matcher in [matcher_of(learnt)] for one in heard])
    monkeypatch.setattr("coach.ears.learnt.MOST_ASKED", 1)

    bound = np.array([matcher.push(one).scores for matcher in [matcher_of(learnt)] for one in heard])

    same = np.isclose(free, bound, atol=1e-4)
    assert not same.all()
    assert same.any(axis=1).all()
    np.testing.assert_array_equal(bound.max(axis=0).argmax(), free.max(axis=0).argmax())


def test_after_forgetting_no_earlier_sound_counts(learnt: Learnt) -> None:
    matcher, heard = matcher_of(learnt), pushes("stop", example("stop", 3))
    first = [matcher.push(one).scores for one in heard]
    best(matcher, "ready", 4)
    matcher.forget()

    np.testing.assert_array_equal([matcher.push(one).scores for one in heard], first)


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


def test_what_was_learnt_is_kept_with_its_takes_and_used_for_them_only(
    learnt: Learnt, enrolment: Enrolment, tmp_path: Path
) -> None:
    words = {word: enrolment.takes[word] for word in ("ready", "stop")}
    replace(enrolment, takes=words, learnt=learnt).save(tmp_path)

    loaded = load_enrolment(tmp_path)

    assert loaded.learnt is not None
    np.testing.assert_array_equal(learnt.weights, loaded.learnt.weights)
    assert isinstance(loaded.matcher(), LearntMatcher)
    assert isinstance(replace(loaded, takes={**words, "yes": words["stop"]}).matcher(), Matcher)
    for word, own in words.items():
        for take, read in zip(own, loaded.takes[word], strict=True):
            np.testing.assert_allclose(read.rows, take.rows, atol=0.05)
            assert len(read.rows)


@pytest.mark.parametrize("shape", [(0, BANDS), (AFTERWARDS, BANDS), (LONGEST_ROWS + 1, BANDS), (9, BANDS - 1), (9,)])
@pytest.mark.parametrize("level", [-30.0, 1e3, np.nan])
def test_impossible_spectra_are_damage(
    enrolment: Enrolment, tmp_path: Path, shape: tuple[int, ...], level: float
) -> None:
    strange = tuple(replace(take, rows=np.full(shape, level, np.float32)) for take in enrolment.takes["stop"])
    replace(enrolment, takes={"stop": strange}).save(tmp_path)

    with pytest.raises(UnusableEnrolmentError):
        load_enrolment(tmp_path)


def test_a_file_with_a_word_forgotten_after_learning_still_loads_and_is_matched_plainly(
    learnt: Learnt, enrolment: Enrolment, tmp_path: Path
) -> None:
    replace(enrolment, takes={"ready": enrolment.takes["ready"]}, learnt=learnt).save(tmp_path)

    loaded = load_enrolment(tmp_path)

    assert (set(loaded.takes), loaded.learnt) == ({"ready"}, None)
    assert isinstance(loaded.matcher(), Matcher)


def test_the_input_is_a_second_newest_first_with_the_first_embedding_for_the_past() -> None:
    frames = np.arange(3 * 96, dtype=np.float32).reshape(3, 96)

    rows = looked_at(frames, np.zeros(3, np.float32))

    assert rows.shape == (3, SIZE)
    np.testing.assert_array_equal(rows[0, : SPAN * 96].reshape(SPAN, 96), np.tile(rows[0, :96], (SPAN, 1)))
    np.testing.assert_array_equal(rows[2, 96:192], rows[1, :96])


def test_the_input_has_the_size_of_a_second_of_embeddings_and_levels() -> None:
    assert SIZE == SPAN * 97
