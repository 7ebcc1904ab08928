"""What the start check measures of synthetic sounds: an echo, none, noise, and somebody who speaks between words."""

from __future__ import annotations

import numpy as np
import pytest

from coach.audio.room_check import RoomCheck
from coach.ports import Block, Captured
from coach.tempo.units import BLOCK, RATE, to_samples

CHANCE = np.random.default_rng(7)


def noise(seconds: float, dbfs: float) -> Block:
    return CHANCE.normal(0.0, 10 ** (dbfs / 20), to_samples(seconds)).astype(np.float32)


def coach(seconds: float) -> Block:
    """Return noise like speech: below 2 kHz, with four syllables per second."""
    sound = np.convolve(noise(seconds, -20.0), np.ones(8) / 8, mode="same")
    return (sound * (0.6 + 0.4 * np.sin(2 * np.pi * 4 * np.arange(len(sound)) / RATE))).astype(np.float32)


def checked(mic: Block, played: Block) -> RoomCheck:
    check = RoomCheck()
    for at in range(0, len(mic) - BLOCK + 1, BLOCK):
        check.feed(Captured(at, mic[at : at + BLOCK], played[at : at + BLOCK], mic[at : at + BLOCK]))
    return check


def late(sound: Block, seconds: float, decibels: float) -> Block:
    """Return the echo of `sound`, with a delay and a gain."""
    by = to_samples(seconds)
    return np.concatenate([np.zeros(by, np.float32), sound])[: len(sound)] * np.float32(10 ** (decibels / 20))


@pytest.mark.parametrize("delay", [0.005, 0.07, 0.4])
@pytest.mark.parametrize("decibels", [0.0, -12.0])
def test_an_echo_is_found_early_or_late_and_below_the_noise_of_the_room(delay: float, decibels: float) -> None:
    said = coach(5)

    assert checked(late(said, delay, decibels) + noise(5, -40.0), said).echo is True


@pytest.mark.parametrize("level", [-70.0, -30.0])
def test_noise_is_no_echo(level: float) -> None:
    assert checked(noise(30, level), coach(30)).echo is False


def test_another_voice_is_no_echo() -> None:
    assert checked(coach(30), coach(30)).echo is False


def test_before_the_coach_has_spoken_the_echo_is_unknown() -> None:
    assert checked(noise(10, -40.0), np.zeros(10 * RATE, np.float32)).echo is None
    assert checked(noise(2, -40.0), coach(2)).echo is None


def test_the_floor_is_the_noise_between_words_and_the_level_the_voice_in_it() -> None:
    silence, said = np.zeros(2 * RATE, np.float32), coach(2)
    word = noise(2, -45.0)
    word[to_samples(1.0) : to_samples(1.5)] += noise(0.5, -20.0)
    played = np.concatenate([said, silence])
    mic = np.concatenate([late(said, 0.05, 0.0) + noise(2, -45.0), word])

    check = checked(mic, played)

    assert check.floor == pytest.approx(-45.0, abs=2.0)
    assert check.level == pytest.approx(-20.0, abs=2.0)


def test_a_coach_that_is_never_silent_leaves_the_room_unmeasured() -> None:
    check = checked(noise(3, -45.0), coach(3))

    assert (check.floor, check.level) == (None, None)
