from __future__ import annotations

import numpy as np
import pytest

from coach.audio.sounds import TONE_PEAK, falling_tone, level, tick
from coach.ports import Block
from coach.tempo.units import RATE


def pitch(sound: Block) -> float:
    spectrum = np.abs(np.fft.rfft(sound * np.hanning(len(sound)), 1 << 16))
    return float(spectrum.argmax() * RATE / (1 << 16))


def test_a_tick_sounds_from_its_first_sample_and_is_over_in_30_ms() -> None:
    sound = tick()

    assert sound[0] != 0
    assert len(sound) == 480
    assert np.abs(sound).argmax() < 48
    assert abs(sound[-1]) < 0.001


def test_the_tone_falls_by_an_octave_over_its_whole_length() -> None:
    tone = falling_tone(4 * RATE)

    assert len(tone) == 4 * RATE
    assert pitch(tone[:4000]) == pytest.approx(520, rel=0.05)
    assert pitch(tone[-4000:]) == pytest.approx(260, rel=0.05)
    assert np.abs(tone).max() <= TONE_PEAK


@pytest.mark.parametrize("sound", [falling_tone(RATE), falling_tone(RATE // 2)])
def test_tones_begin_and_end_softly(sound: Block) -> None:
    assert abs(sound[0]) < 0.001
    assert abs(sound[-1]) < 0.001
    assert np.abs(np.diff(sound)).max() < 0.05


@pytest.mark.parametrize("samples", [0, 1, 2, 7, 1279, 1280, 1281])
def test_a_tone_of_any_length_can_be_made(samples: int) -> None:
    assert len(falling_tone(samples)) == samples


def test_the_same_sound_comes_out_every_time() -> None:
    first = falling_tone(8000).copy()
    falling_tone.cache_clear()

    np.testing.assert_array_equal(first, falling_tone(8000))


def test_a_pause_does_not_lower_the_level() -> None:
    speech = np.random.default_rng(0).standard_normal(RATE).astype(np.float32) * 0.1
    with_pauses = np.concatenate([np.zeros(RATE, np.float32), speech, np.zeros(2 * RATE, np.float32)])

    assert level(with_pauses) == pytest.approx(level(speech), rel=0.05)
    assert level(np.zeros(100, np.float32)) == 0
    assert level(np.zeros(0, np.float32)) == 0
