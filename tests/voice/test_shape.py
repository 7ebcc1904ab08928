from __future__ import annotations

import math

import numpy as np
import numpy.typing as npt
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from sound_files import onset

from coach.ports import Block
from coach.tempo.units import RATE
from coach.voice import shape


def speech_like(seconds: float, rate: int, *, lead: float = 0.0, tail: float = 0.0) -> npt.NDArray[np.float32]:
    """Syllables of noise at four a second, between silences."""
    frames = np.arange(int(seconds * rate))
    noise = np.random.default_rng(7).normal(0, 0.1, len(frames))
    voiced = noise * (0.1 + np.abs(np.sin(4 * math.pi * frames / rate)))
    silence = (np.zeros(int(lead * rate)), np.zeros(int(tail * rate)))
    return np.concatenate([silence[0], voiced, silence[1]]).astype(np.float32)


@settings(deadline=None, max_examples=60)
@given(
    seconds=st.floats(0.3, 1.2),
    lead=st.floats(0, 0.5),
    tail=st.floats(0, 0.7),
    gain=st.floats(0.1, 1.5),
    rate=st.sampled_from([16_000, 22_050, 44_100, 48_000]),
)
def test_any_sound_becomes_a_clip_that_begins_at_once_and_is_as_loud_as_the_others(
    seconds: float, lead: float, tail: float, gain: float, rate: int
) -> None:
    sound = speech_like(seconds, rate, lead=lead, tail=tail) * np.float32(gain)

    clip = shape.shape(sound, rate, "seven more", 160)

    assert clip.dtype == np.float32
    assert onset(clip) == 0
    assert abs(len(clip) / RATE - seconds) < 0.1
    assert clip[-1] == 0
    assert shape.true_peak(clip) <= shape.CEILING * 1.001
    assert shape.loudness(clip) <= shape.LOUDNESS * 1.001
    assert max(shape.true_peak(clip) / shape.CEILING, shape.loudness(clip) / shape.LOUDNESS) > 0.999


def test_a_peaky_clip_is_made_softer_rather_than_clipped() -> None:
    sound = speech_like(1, RATE) * np.float32(0.1)
    sound[8000] = 0.9

    clip = shape.shape(sound, RATE, "seven", 160)

    assert shape.true_peak(clip) == pytest.approx(shape.CEILING, rel=0.01)
    assert shape.loudness(clip) < shape.LOUDNESS


def test_two_channels_become_one() -> None:
    sound = speech_like(1, 22_050)
    stereo = np.stack([sound, sound], axis=1)

    np.testing.assert_array_equal(shape.shape(stereo, 22_050, "seven", 160), shape.shape(sound, 22_050, "seven", 160))


@pytest.mark.parametrize(
    ("sound", "rate", "why"),
    [
        (np.zeros(0, np.float32), 22_050, "no sound"),
        (np.zeros(8000, np.float32), 22_050, "hardly any sound"),
        (np.full(8000, np.nan, np.float32), 22_050, "no sound"),
        (speech_like(1, 16_000) * np.float32(0.01), 16_000, "hardly any sound"),
        (np.clip(speech_like(1, 16_000) * 9, -1, 1), 16_000, "clipped sound"),
        (speech_like(1, 16_000), 0, "a rate of 0"),
        (speech_like(0.05, 16_000), 16_000, "0.1 s of sound for 38 letters"),
        (speech_like(60, 16_000), 16_000, "60.0 s of sound for 38 letters"),
    ],
)
def test_sound_that_is_not_the_requested_speech_is_refused(sound: Block, rate: int, why: str) -> None:
    with pytest.raises(shape.UnusableError, match=why):
        shape.shape(sound, rate, "Lower slowly, and keep your heel over your toes.", 160)
