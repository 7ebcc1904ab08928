"""A loudspeaker that is turned off still accepts sound; only the microphone shows it."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from coach.audio.echo_watch import KNOWN, EchoWatch
from coach.ports import Captured
from coach.tempo.units import BLOCK, RATE, to_samples

WORD = to_samples(0.4)
LATE = 5
"""Delay of the echo in blocks."""


def told(
    seconds: int,
    echo: Callable[[int], float],
    *,
    noise: float = 1e-4,
    loud: Callable[[int], float] = lambda _: 0.3,
    more: Callable[[int], float] = lambda _: 0.0,
    unheard: list[float] | None = None,
) -> list[float]:
    """Return the seconds at which a loss was reported, with a word each second; `echo` and the others depend on it.

    `unheard` gets every moment at which the coach counts as not heard.
    """
    watch, random = EchoWatch(), np.random.default_rng(1)
    played = np.zeros(seconds * RATE, np.float32)
    for second in range(seconds):
        begin = second * RATE
        watch.said(begin, begin + WORD)
        played[begin : begin + WORD] = loud(second) * random.standard_normal(WORD)
    found = []
    for at in range(0, seconds * RATE, BLOCK):
        late = max(0, at - LATE * BLOCK)
        mic = echo(late // RATE) * played[late : late + BLOCK] if at >= LATE * BLOCK else np.zeros(BLOCK)
        mic = mic + (noise + more(at // RATE)) * random.standard_normal(BLOCK)
        block = played[at : at + BLOCK]
        if watch.feed(Captured(at, mic.astype(np.float32), block, block)):
            found.append(at / RATE)
        if unheard is not None and not watch.heard:
            unheard.append(at / RATE)
    return found


def test_a_speaker_that_is_turned_off_is_noticed_after_two_words_and_reported_once() -> None:
    assert told(30, lambda second: 0.1 if second < 10 else 0.0) == [pytest.approx(11.7, abs=0.05)]


def test_the_coach_counts_as_not_heard_from_the_report_on_and_one_missing_echo_shows_nothing() -> None:
    off: list[float] = []
    one: list[float] = []

    (told_at,) = told(12, lambda second: 0.1 if second < 10 else 0.0, unheard=off)
    told(20, lambda second: 0.0 if second == 12 else 0.1, unheard=one)

    assert off[0] == told_at
    assert one == []


def test_a_loss_is_reported_again_only_after_the_echo_had_come_back() -> None:
    on = told(40, lambda second: 0.1 if second < 10 or 15 <= second < 25 else 0.0)

    assert [round(at) for at in on] == [12, 27]


@pytest.mark.parametrize("gain", [0.0, 1e-4])
def test_headphones_are_never_missed(gain: float) -> None:
    assert told(20, lambda second: gain * (second < 10)) == []


def test_one_or_two_words_are_not_enough_to_know_an_echo() -> None:
    assert told(20, lambda second: 0.1 if second < KNOWN - 1 else 0.0) == []


def test_in_a_loud_room_nothing_is_missed() -> None:
    assert told(30, lambda second: 0.1 if second < 10 else 0.0, noise=0.02) == []


@given(st.lists(st.tuples(st.floats(0.02, 0.6), st.floats(0.09, 0.2), st.floats(0.0, 0.5)), min_size=20, max_size=20))
@settings(max_examples=8)
def test_a_present_echo_is_never_reported_missing_however_loud_room_and_coach_are(
    seconds: list[tuple[float, float, float]],
) -> None:
    assert (
        told(
            20,
            lambda second: seconds[second][1],
            loud=lambda second: seconds[second][0],
            more=lambda second: seconds[second][2],
        )
        == []
    )


def test_a_noise_that_ends_is_not_taken_for_a_lost_echo() -> None:
    noise = {0: 0.5, 1: 0.0625, 3: 0.5, 4: 0.5, 5: 0.5, 6: 0.5}

    assert told(20, lambda _: 0.125, loud=lambda _: 0.5, more=lambda second: noise.get(second, 0.0)) == []


def test_cancelled_words_are_not_expected() -> None:
    watch = EchoWatch()
    silence = np.zeros(BLOCK, np.float32)
    for second in range(10):
        watch.said(second * RATE, second * RATE + WORD)
    watch.cut(0)

    assert not any(watch.feed(Captured(at, silence, silence, silence)) for at in range(0, 10 * RATE, BLOCK))
    assert watch.heard
