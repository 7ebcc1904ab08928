from __future__ import annotations

import numpy as np
import pytest
from talk import decibels, echo_of, power, speechlike

from coach.audio.echo import FRAME, IDLE, OWN_DELAY, Canceller
from coach.audio.mixer import Layer, Mixer
from coach.audio.room import Acoustics, VirtualRoom
from coach.ports import Block, Captured
from coach.tempo.units import BLOCK, RATE


def run(room: VirtualRoom, mixer: Mixer, frames: int) -> tuple[Block, Block]:
    canceller = Canceller()
    room.open(mixer.render)
    mic, clean = [], []
    while room.now < frames:
        captured = room.read()
        assert captured is not None
        done = canceller.process(captured)
        assert len(done.clean) == len(done.mic)
        mic.append(done.mic)
        clean.append(done.clean)
    return np.concatenate(mic), np.concatenate(clean)


def block_of(mic: Block, played: Block) -> Captured:
    return Captured(0, mic, played, mic.copy())


@pytest.mark.parametrize("gap", [0.3, 2.5])
def test_the_coachs_own_voice_is_cancelled_by_15_db(gap: float) -> None:
    room, mixer = VirtualRoom(), Mixer()
    spans, begin = [], 0
    for number in range(4):
        said = speechlike(2, number)
        mixer.place(said, begin, layer=Layer.SPEECH)
        spans.append((begin, begin + len(said)))
        begin += len(said) + int(gap * RATE)

    mic, clean = run(room, mixer, spans[-1][1])

    for begin, end in spans[1:]:
        assert 10 * np.log10(power(mic[begin:end]) / power(clean[begin:end])) >= 15


def test_the_patient_is_still_there_after_cancelling() -> None:
    room, mixer = VirtualRoom(acoustics=Acoustics(noise_db=-80)), Mixer()
    mixer.place(speechlike(4, 1), 0, layer=Layer.SPEECH)
    voice = speechlike(1, 9)
    at = room.speak(voice, 4 * RATE + 8000)

    mic, clean = run(room, mixer, at + 2 * RATE)

    kept = power(clean[at : at + RATE]) / power(mic[at : at + RATE])
    assert 10 * np.log10(kept) > -6


def cancelled(mic: Block, played: Block) -> tuple[Block, Canceller]:
    canceller = Canceller()
    parts = [slice(at, at + BLOCK) for at in range(0, len(mic), BLOCK)]
    clean = [canceller.process(block_of(mic[part], played[part])).clean for part in parts]
    return np.concatenate(clean), canceller


def test_a_word_over_a_louder_echo_comes_through_as_it_was_said() -> None:
    played, noise = speechlike(12, 1), np.random.default_rng(3).normal(0, 1e-3, 12 * RATE).astype(np.float32)
    word = slice(10 * RATE, 10 * RATE + 9600)
    said = np.zeros(len(played), np.float32)
    said[word] = speechlike(0.6, 5) * np.float32(0.5)

    clean, canceller = cancelled(echo_of(played) + said + noise, played)

    assert canceller.path_known
    heard = clean[word.start + canceller.delay : word.stop + canceller.delay]
    assert np.corrcoef(heard, said[word])[0, 1] > 0.95
    assert decibels(heard, said[word]) == pytest.approx(0, abs=1)


def test_an_echo_without_a_voice_becomes_the_rooms_own_noise() -> None:
    played, noise = speechlike(12, 1), np.random.default_rng(3).normal(0, 1e-3, 12 * RATE).astype(np.float32)

    clean, _ = cancelled(echo_of(played) + noise, played)

    assert decibels(clean[8 * RATE :], noise) == pytest.approx(0, abs=4)


def test_a_loudspeaker_that_distorts_is_left_to_the_library() -> None:
    played = speechlike(8, 1)
    bent = np.asarray(np.tanh(6 * played) / 6, np.float32)

    clean, canceller = cancelled(echo_of(bent), played)

    assert not canceller.path_known
    assert decibels(clean[4 * RATE :], echo_of(bent)[4 * RATE :]) < -15


def test_after_a_second_of_quiet_the_microphone_passes_as_it_is() -> None:
    canceller = Canceller()
    mic = speechlike(3, 1)

    clean = np.concatenate(
        [
            canceller.process(block_of(mic[i : i + BLOCK], np.zeros(BLOCK, np.float32))).clean
            for i in range(0, len(mic), BLOCK)
        ]
    )

    np.testing.assert_array_equal(clean[OWN_DELAY:], mic[:-OWN_DELAY])


def test_passing_and_cancelling_have_the_same_lag() -> None:
    canceller, mic = Canceller(), speechlike(4, 2)
    played = np.zeros(len(mic), np.float32)
    played[:FRAME] = 1e-4  # sound was played, so the canceller works until IDLE has passed

    clean = np.concatenate(
        [
            canceller.process(block_of(mic[i : i + BLOCK], played[i : i + BLOCK])).clean
            for i in range(0, len(mic), BLOCK)
        ]
    )

    part = slice(FRAME, IDLE)
    match = np.correlate(clean[part], mic[part], "full")[IDLE - FRAME - 1 :]
    assert int(match[:600].argmax()) == canceller.delay == OWN_DELAY


@pytest.mark.parametrize("size", [1, 100, 161, 480])
def test_blocks_of_any_length_keep_their_length(size: int) -> None:
    canceller = Canceller()
    mic = np.linspace(0.1, 1, 4800, dtype=np.float32)
    quiet = np.zeros(size, np.float32)

    made = [
        canceller.process(block_of(mic[i : i + size], quiet[: len(mic[i : i + size])])) for i in range(0, 4800, size)
    ]

    assert all(len(each.clean) == len(each.mic) for each in made)
    clean = np.concatenate([each.clean for each in made])
    delay = canceller.delay
    assert OWN_DELAY <= delay < OWN_DELAY + FRAME
    if size in (480, 1):
        np.testing.assert_array_equal(clean[delay:], mic[:-delay])
