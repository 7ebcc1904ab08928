from __future__ import annotations

import sys

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from coach.ears.features import EMBEDDING_STEP, EMBEDDING_WIDTH, Embedder
from coach.ears.spectrum import ROW, spectra
from coach.errors import HearingError

SOUND = np.random.default_rng(4).normal(0, 0.05, 20 * EMBEDDING_STEP).astype(np.float32)


@pytest.fixture(scope="module")
def embedder() -> Embedder:
    return Embedder()


def test_one_embedding_each_80_ms_with_the_sample_after_its_window(embedder: Embedder) -> None:
    embedder.start(1000)
    found = embedder.feed(SOUND)

    assert [made.at for made in found] == [1000 + number * EMBEDDING_STEP for number in range(11, 21)]
    assert {made.frame.shape for made in found} == {(EMBEDDING_WIDTH,)}


@settings(max_examples=8)
@given(cuts=st.lists(st.integers(0, len(SOUND)), max_size=6))
def test_the_division_of_the_sound_changes_nothing(embedder: Embedder, cuts: list[int]) -> None:
    embedder.start(0)
    whole = embedder.feed(SOUND)
    embedder.start(0)
    parts = [made for piece in np.split(SOUND, sorted(cuts)) for made in embedder.feed(piece)]

    assert [(made.at, made.level) for made in whole] == [(made.at, made.level) for made in parts]
    assert all(np.array_equal(one.frame, other.frame) for one, other in zip(whole, parts, strict=True))


def test_each_embedding_brings_the_spectra_since_the_last_one_and_none_from_before_a_start(
    embedder: Embedder,
) -> None:
    embedder.start(0)
    embedder.feed(SOUND[: 15 * EMBEDDING_STEP // 4])
    embedder.start(0)

    found = embedder.feed(SOUND)

    np.testing.assert_allclose(np.concatenate([made.rows for made in found]), spectra(SOUND), atol=1e-4)
    assert [len(made.rows) for made in found] == [found[0].at // ROW, *[EMBEDDING_STEP // ROW] * (len(found) - 1)]


def test_a_system_without_the_models_is_told_to_use_the_keys(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setitem(sys.modules, "pyopen_wakeword", None)

    with pytest.raises(HearingError, match="--keys-only"):
        Embedder()
