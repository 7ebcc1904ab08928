from __future__ import annotations

import numpy as np
from talk import decibels, echo_of, speechlike

from coach.audio.echo_path import EchoPath
from coach.ports import Block
from coach.tempo.units import BLOCK, RATE


def rest_of(mic: Block, played: Block, path: EchoPath | None = None) -> Block:
    path = path or EchoPath()
    parts = [slice(at, at + BLOCK) for at in range(0, len(mic), BLOCK)]
    return np.concatenate([path.process(mic[part], played[part])[0] for part in parts])


def test_an_echo_is_taken_out_once_it_is_learnt() -> None:
    played = speechlike(8, 1)
    mic = echo_of(played)

    assert decibels(rest_of(mic, played)[4 * RATE :], mic[4 * RATE :]) < -25


def test_an_echo_that_comes_a_quarter_of_a_second_late_is_learnt_too() -> None:
    played = speechlike(8, 1)
    mic = echo_of(played, late=0.25)

    assert decibels(rest_of(mic, played)[4 * RATE :], mic[4 * RATE :]) < -20


def test_a_voice_over_the_echo_stays_as_it_is_and_spoils_nothing() -> None:
    played, said = speechlike(12, 1), np.zeros(12 * RATE, np.float32)
    said[6 * RATE : 8 * RATE] = speechlike(2, 5)
    mic = echo_of(played)

    rest = rest_of(mic + said, played)

    voice = slice(6 * RATE, 8 * RATE)
    assert np.corrcoef(rest[voice], said[voice])[0, 1] > 0.95
    assert decibels(rest[9 * RATE :], mic[9 * RATE :]) < -20


def test_what_is_known_of_the_room_outlives_a_long_tone() -> None:
    before, after = speechlike(8, 1), speechlike(2, 2)
    tone = (0.3 * np.sin(2 * np.pi * 330 * np.arange(4 * RATE) / RATE)).astype(np.float32)
    played = np.concatenate([before, tone, after])
    mic = echo_of(played)
    at = len(before) + len(tone)

    assert decibels(rest_of(mic, played)[at:], mic[at:]) < -25


def test_a_room_that_changes_is_learnt_again() -> None:
    played = speechlike(16, 1)
    mic = np.concatenate([echo_of(played, 1)[: 8 * RATE], echo_of(played, 2)[8 * RATE :]])

    assert decibels(rest_of(mic, played)[13 * RATE :], mic[13 * RATE :]) < -15


def test_without_a_sound_nothing_is_taken_out() -> None:
    mic = speechlike(2, 1)

    np.testing.assert_array_equal(rest_of(mic, np.zeros_like(mic)), mic)
