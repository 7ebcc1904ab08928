from __future__ import annotations

from itertools import pairwise

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from coach.audio.mixer import FADE, LATE_COUNT, LATE_TICK, RAMP, Layer, Mixer
from coach.audio.sounds import falling_tone, level, tick
from coach.ports import Block
from coach.tempo.units import BLOCK, RATE, to_samples

LONG = 8_000
"""Samples that the properties examine."""


def voice(frames: int, seed: int = 0, loud: float = 0.1) -> Block:
    """Return sound as loud and as broad as speech that begins at its first sample."""
    noise = np.random.default_rng(seed).standard_normal(frames)
    return np.asarray(noise / np.sqrt((noise**2).mean()) * loud, dtype=np.float32)


def rendered(mixer: Mixer, frames: int, at: int = 0, block: int = BLOCK) -> Block:
    return np.concatenate([mixer.render(i, min(block, at + frames - i)) for i in range(at, at + frames, block)])


def db(sound: Block) -> float:
    return float(10 * np.log10(max(1e-20, (sound.astype(np.float64) ** 2).mean())))


def test_a_silent_mixer_gives_full_blocks_of_zeros() -> None:
    block = Mixer().render(0, BLOCK)

    assert block.dtype == np.float32
    assert block.shape == (BLOCK,)
    assert not block.any()


@given(at=st.integers(0, LONG), block=st.integers(1, 700))
def test_a_placed_sound_begins_at_its_exact_sample(at: int, block: int) -> None:
    mixer, clip = Mixer(), voice(200)

    begins = mixer.place(clip, at, layer=Layer.SPEECH)

    heard = rendered(mixer, LONG + 400, block=block)
    assert begins == at
    assert np.flatnonzero(heard)[0] == at
    np.testing.assert_array_equal(heard[at : at + 200], clip)


sounds = st.lists(
    st.tuples(st.integers(0, LONG), st.integers(1, 3000), st.sampled_from(list(Layer)), st.floats(0.01, 1.0)),
    max_size=8,
)
orders = st.lists(st.tuples(st.integers(0, LONG), st.sampled_from(["on", "off"])), max_size=3)


def scene(placed: list[tuple[int, int, Layer, float]], hushes: list[tuple[int, str]], cut: int | None) -> Mixer:
    mixer = Mixer()
    for seed, (at, frames, layer, loud) in enumerate(placed):
        mixer.place(voice(frames, seed, loud), at, layer=layer)
    for at, order in sorted(hushes):
        mixer.hush(order == "on", at)
    if cut is not None:
        mixer.silence(cut)
    return mixer


@settings(max_examples=60)
@given(
    placed=sounds,
    hushes=orders,
    cut=st.one_of(st.none(), st.integers(0, LONG)),
    borders=st.lists(st.integers(1, LONG + 3999), max_size=12),
)
def test_the_output_does_not_depend_on_how_time_is_cut(
    placed: list[tuple[int, int, Layer, float]], hushes: list[tuple[int, str]], cut: int | None, borders: list[int]
) -> None:
    edges = [0, *sorted(set(borders)), LONG + 4000]
    whole = scene(placed, hushes, cut).render(0, LONG + 4000)
    pieces = scene(placed, hushes, cut)

    in_pieces = np.concatenate([pieces.render(a, b - a) for a, b in pairwise(edges)])

    np.testing.assert_allclose(in_pieces, whole, rtol=0, atol=1e-6)


@settings(max_examples=60)
@given(placed=sounds)
def test_the_output_stays_within_full_scale(placed: list[tuple[int, int, Layer, float]]) -> None:
    loud = [(at, frames, layer, gain * 5) for at, frames, layer, gain in placed]

    heard = scene(loud, [], None).render(0, LONG + 4000)

    assert np.isfinite(heard).all()
    assert np.abs(heard).max() <= 1.0


def test_broken_samples_in_a_clip_are_played_as_silence() -> None:
    mixer = Mixer()
    mixer.place(np.array([0.5, np.nan, np.inf, 0.25], np.float32), 0, layer=Layer.SPEECH)

    np.testing.assert_array_equal(mixer.render(0, 4), np.array([0.5, 0, 0, 0.25], np.float32))


@given(now=st.integers(0, 4000))
def test_silence_is_complete_within_five_milliseconds(now: int) -> None:
    mixer = Mixer()
    mixer.place(voice(6000), 0, layer=Layer.SPEECH)
    mixer.place(voice(6000), 6000, layer=Layer.SPEECH)
    mixer.place(voice(6000), 100, layer=Layer.TONE)
    mixer.place(tick(), 5000, layer=Layer.TICK)
    mixer.silence(now)

    heard = rendered(mixer, 20_000)

    assert now == 0 or heard[:now].any()
    assert not heard[now + FADE :].any()
    assert to_samples(0.005) == FADE


def test_silence_fades_without_a_click() -> None:
    mixer = Mixer()
    mixer.place(np.full(4000, 0.5, np.float32), 0, layer=Layer.SPEECH)
    mixer.silence(1000)

    heard = mixer.render(0, 2000)

    assert np.abs(np.diff(heard[900:1100])).max() < 0.01


def test_silence_asked_for_too_late_begins_with_the_next_sample() -> None:
    mixer = Mixer()
    mixer.place(voice(6000), 0, layer=Layer.SPEECH)
    mixer.render(0, 640)

    mixer.silence(100)

    heard = mixer.render(640, 640)
    assert heard[: FADE // 2].any()
    assert not heard[FADE:].any()


def test_after_silence_the_next_speech_begins_at_once() -> None:
    mixer = Mixer()
    mixer.place(voice(16_000), 0, layer=Layer.SPEECH)
    mixer.silence(800)

    assert mixer.place(voice(100), 800, layer=Layer.SPEECH) == 800
    assert mixer.sounding_until == 900


def test_a_cut_spares_what_began_before() -> None:
    mixer = Mixer()
    mixer.place(voice(1000), 500, layer=Layer.SPEECH)
    mixer.place(voice(1000), 1000, layer=Layer.SPEECH)
    mixer.place(tick(), 3000, layer=Layer.TICK)

    mixer.cut_from(1000)

    heard = mixer.render(0, 6000)
    assert heard[500:1500].all()
    assert not heard[1500:].any()


def test_hush_takes_the_sound_away_and_moves_nothing() -> None:
    mixer, clip = Mixer(), voice(8000)
    mixer.place(clip, 0, layer=Layer.SPEECH)
    mixer.hush(True, 2000)
    mixer.hush(False, 5000)

    heard = rendered(mixer, 8000)

    np.testing.assert_array_equal(heard[:2000], clip[:2000])
    assert not heard[2000 + RAMP : 5000].any()
    np.testing.assert_array_equal(heard[5000 + RAMP :], clip[5000 + RAMP :])


def test_a_late_sound_is_played_or_dropped_by_its_kind() -> None:
    mixer = Mixer()
    mixer.render(0, 10_000)

    assert mixer.place(voice(500), 5000, layer=Layer.SPEECH) == 10_000
    assert mixer.place(voice(500), 10_000 - LATE_COUNT, layer=Layer.SPEECH, on_beat=True) == 10_000
    assert mixer.place(voice(500), 10_000 - LATE_COUNT - 1, layer=Layer.SPEECH, on_beat=True) is None
    assert mixer.place(tick(), 10_000 - LATE_TICK, layer=Layer.TICK) == 10_000
    assert mixer.place(tick(), 10_000 - LATE_TICK - 1, layer=Layer.TICK) is None
    assert mixer.place(falling_tone(2000), 9000, layer=Layer.TONE) == 10_000
    assert mixer.place(falling_tone(2000), 8000, layer=Layer.TONE) is None


def test_a_late_tone_starts_at_the_position_it_should_have_reached() -> None:
    mixer, tone = Mixer(), falling_tone(8000)
    mixer.render(0, 3000)
    mixer.place(tone, 1000, layer=Layer.TONE)

    heard = mixer.render(3000, 7000)

    np.testing.assert_allclose(heard[FADE:6000], tone[2000 + FADE :], atol=1e-6)
    assert np.abs(heard[:2]).max() < 0.01


@pytest.mark.parametrize(("layer", "sound"), [(Layer.TICK, tick()), (Layer.TONE, falling_tone(16_000))])
@pytest.mark.parametrize("loud", [0.02, 0.1])
def test_ticks_and_tones_are_20_db_under_speech_that_sounds_with_them(layer: Layer, sound: Block, loud: float) -> None:
    speech = voice(16_000, loud=loud)
    both, alone = Mixer(), Mixer()
    for mixer in (both, alone):
        mixer.place(speech, 1600, layer=Layer.SPEECH)
    both.place(sound, 1600, layer=layer)

    under = both.render(0, 20_000) - alone.render(0, 20_000)

    part = slice(1600, 1600 + len(sound))
    assert under[part].any()
    assert db(speech) - 20 * np.log10(level(under[part])) >= 20


@pytest.mark.parametrize("block", [1, 7, 320, 5000])
def test_a_tone_comes_up_from_under_speech_alike_in_any_blocks(block: int) -> None:
    mixer = Mixer()
    mixer.place(voice(1000), 0, layer=Layer.SPEECH)
    mixer.place(np.full(2000, 0.1, np.float32), 0, layer=Layer.TONE)

    heard = rendered(mixer, 2000, block=block)

    assert (np.diff(heard[1000 : 1000 + RAMP]) > 0).all()
    assert heard[1000] < 0.03
    assert heard[1000 + RAMP :] == pytest.approx(0.1)


def test_a_tick_alone_is_as_it_was_made() -> None:
    mixer = Mixer()
    mixer.place(voice(1000), 0, layer=Layer.SPEECH)
    mixer.place(tick(), 1000 + RAMP, layer=Layer.TICK)

    heard = mixer.render(0, 4000)

    np.testing.assert_allclose(heard[1000 + RAMP :][: len(tick())], tick(), atol=1e-7)


def test_a_gain_of_zero_turns_one_kind_off() -> None:
    mixer = Mixer(speech_gain=1, tick_gain=0, tone_gain=0.5)
    mixer.place(tick(), 0, layer=Layer.TICK)
    mixer.place(falling_tone(2000), 4000, layer=Layer.TONE)
    mixer.place(voice(100), 8000, layer=Layer.SPEECH)

    heard = rendered(mixer, 9000)

    assert not heard[:4000].any()
    np.testing.assert_allclose(heard[4000:6000], falling_tone(2000) * 0.5, atol=1e-7)
    np.testing.assert_array_equal(heard[8000:8100], voice(100))


def test_an_hour_of_sounds_leaves_nothing_behind() -> None:
    mixer = Mixer()
    for second in range(600):
        mixer.place(tick(), second * RATE, layer=Layer.TICK)
        mixer.render(second * RATE, RATE)

    assert mixer.sounding_until == 0
