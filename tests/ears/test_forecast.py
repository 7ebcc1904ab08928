from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from heard_rooms import room

from coach.ears.cohort import cohort
from coach.ears.enrolment import Enrolment
from coach.ears.features import EMBEDDING_STEP, Embedder, Frames
from coach.ears.forecast import (
    MOST,
    NEEDS,
    Forecast,
    Suitability,
    WordForecast,
    expected,
    forecast,
    judge,
)
from coach.ears.room_noise import RoomNoise, room_noise
from coach.ears.word_report import WordReport
from coach.ports import Block
from coach.tempo.units import RATE

SURE = {word: WordForecast(word, 3, 3, 0.98, "", 0.2) for word in ("stop", "ready", "yes", "no")}


def some_talk() -> Frames:
    """Return 5 minutes of talk, for what does not rest on how much of it there is."""
    return cohort().frames[: 5 * 60 * RATE // EMBEDDING_STEP]


def judged(
    words: dict[str, WordForecast] | None = None, clearance: float = 30.0, *, room_known: bool = True
) -> tuple[str, list[str]]:
    verdict, because = judge(list((words or SURE).values()), clearance, frozenset({"stop"}), room_known=room_known)
    return verdict, [reason.key for reason in because]


def changed(word: str, **fields: float) -> dict[str, WordForecast]:
    return SURE | {word: replace(SURE[word], **fields)}  # type: ignore[arg-type]


@pytest.fixture(scope="module")
def quiet() -> RoomNoise:
    return room_noise(room(4.0), Embedder())


@pytest.fixture(scope="module")
def good(enrolment: Enrolment, quiet: RoomNoise) -> Enrolment:
    return replace(enrolment, noise=quiet)


@pytest.fixture(scope="module")
def foretold(good: Enrolment) -> Forecast:
    return forecast(good)


@pytest.mark.parametrize(
    ("words", "verdict", "because"),
    [
        (SURE, Suitability.HANDS_FREE, []),
        (changed("yes", expected=0.94), Suitability.WITHIN_REACH, ["weak"]),
        (changed("stop", expected=0.96), Suitability.WITHIN_REACH, ["weak"]),
        (changed("yes", expected=0.96), Suitability.HANDS_FREE, []),
        (changed("no", expected=0.79), Suitability.KEYS_ONLY, ["weak"]),
        (changed("ready", takes=2, expected=0.9), Suitability.WITHIN_REACH, ["few"]),
        (changed("ready", takes=1), Suitability.KEYS_ONLY, ["few"]),
        (changed("stop", false_an_hour=1.1), Suitability.WITHIN_REACH, ["false"]),
        (changed("ready", false_an_hour=6.1), Suitability.KEYS_ONLY, ["false"]),
        (changed("no", false_an_hour=50.0), Suitability.HANDS_FREE, []),
        ({word: each for word, each in SURE.items() if word != "yes"}, Suitability.KEYS_ONLY, ["missing"]),
    ],
)
def test_the_verdict_follows_the_worst_word(
    words: dict[str, WordForecast], verdict: Suitability, because: list[str]
) -> None:
    assert judged(words) == (verdict, because)


@pytest.mark.parametrize(
    ("clearance", "known", "verdict", "because"),
    [
        (20.0, True, Suitability.HANDS_FREE, []),
        (19.0, True, Suitability.WITHIN_REACH, ["loud_room"]),
        (9.0, True, Suitability.KEYS_ONLY, ["loud_room"]),
        (30.0, False, Suitability.WITHIN_REACH, ["unknown_room"]),
    ],
)
def test_the_verdict_follows_the_room(clearance: float, known: bool, verdict: Suitability, because: list[str]) -> None:
    assert judged(clearance=clearance, room_known=known) == (verdict, because)


def test_each_better_verdict_requires_more() -> None:
    best, next_best = NEEDS.values()

    assert best.takes > next_best.takes
    assert best.heard > next_best.heard
    assert best.halt_heard > best.heard
    assert best.false_an_hour < next_best.false_an_hour
    assert best.clearance > next_best.clearance
    assert best.halt_heard <= MOST, "nobody could ever be hands-free"


def test_takes_that_barely_pass_promise_less_than_takes_that_pass_by_far() -> None:
    def share(*scores: float, heard: int = 3) -> float:
        report = WordReport("stop", len(scores), heard, scores, scores, "no", 0.4)
        return expected(report, 0.72, 0.04, halts=True)

    assert share(0.90, 0.91, 0.92) == MOST
    assert 0.7 < share(0.74, 0.75, 0.76) < 0.9
    assert share(0.90, 0.95, 0.70, heard=2) == 0.8
    assert share(0.0, heard=0) == 0.5


def test_a_word_close_to_another_promises_less_unless_it_halts() -> None:
    report = WordReport("no", 3, 3, (0.9, 0.9, 0.9), (0.03, 0.04, 0.03), "n0", 0.87)

    assert expected(report, 0.75, 0.04, halts=False) < 0.7
    assert expected(report, 0.75, 0.04, halts=True) == MOST


def test_well_taught_words_are_promised_and_other_peoples_talk_is_no_halt(
    foretold: Forecast,
) -> None:
    words = {word.word: word for word in foretold.words}

    assert all(word.expected > 0.95 for word in words.values())
    assert words["stop"].false_an_hour < 1
    assert foretold.clearance > 30


def test_a_word_in_other_peoples_talk_counts_as_a_false_alarm(good: Enrolment) -> None:
    said = np.concatenate([cohort().frames[:200], good.takes["stop"][0].frames, cohort().frames[200:400]])
    words = {word.word: word for word in forecast(good, said).words}

    assert words["stop"].false_an_hour >= 1 / (len(said) * 0.08 / 3600)


def test_a_room_that_sounds_like_a_word_counts_as_false_alarms(good: Enrolment) -> None:
    frames: Frames = np.concatenate([cohort().frames[:50], good.takes["stop"][0].frames, cohort().frames[50:100]])
    noisy = replace(good, noise=RoomNoise(-60.0, frames))

    assert forecast(good, some_talk()).verdict is not Suitability.KEYS_ONLY
    assert forecast(noisy, some_talk()).verdict is Suitability.KEYS_ONLY


def test_a_word_taught_with_the_takes_of_another_is_not_promised(good: Enrolment) -> None:
    mixed = (*good.takes["yes"][:2], good.takes["left"][0])
    words = {word.word: word for word in forecast(replace(good, takes={**good.takes, "yes": mixed}), some_talk()).words}

    assert words["yes"].expected <= 0.8


def test_a_loud_room_is_no_place_to_be_hands_free(good: Enrolment, foretold: Forecast, quiet: RoomNoise) -> None:
    loud = replace(good, noise=RoomNoise(quiet.level + foretold.clearance - 5, quiet.frames))

    assert "loud_room" in [reason.key for reason in forecast(loud, some_talk()).because]


def test_the_cohort_is_twenty_minutes_of_talk_and_small() -> None:
    frames = cohort().frames

    assert len(frames) * 0.08 / 60 > 20
    assert frames.shape[1] == 96
    assert np.isfinite(frames).all()


def test_a_room_is_kept_as_numbers(quiet: RoomNoise) -> None:
    assert abs(quiet.level + 65) < 1
    assert quiet.frames.shape[1] == 96
    with pytest.raises(ValueError, match="second"):
        room_noise(np.zeros(100, np.float32), Embedder())


def test_the_level_of_a_room_is_that_of_most_of_its_time(other_speech: Block) -> None:
    sound = room(6.0, (1.0, other_speech[:16000]))

    assert abs(room_noise(sound, Embedder()).level + 65) < 1.5
