from __future__ import annotations

import numpy as np
import pytest

from coach.audio.echo import FRAME, IDLE, OWN_DELAY, Canceller
from coach.audio.mixer import Mixer
from coach.audio.room import Acoustics, VirtualRoom
from coach.ports import Block, Captured
from coach.tempo.units import BLOCK, RATE


def speechlike(seconds: float, seed: int) -> Block:
    """Noise with the spectrum and the syllables of speech."""
    random, frames = np.random.default_rng(seed), int(seconds * RATE)
    spectrum = np.fft.rfft(random.standard_normal(frames)) / (1 + (np.fft.rfftfreq(frames, 1 / RATE) / 500) ** 1.5)
    syllables = np.repeat(random.random(int(seconds * 5) + 1) > 0.35, RATE // 5)[:frames].astype(float)
    sound = np.fft.irfft(spectrum, frames) * np.convolve(syllables, np.hanning(800) / 400, "same")
    loudest = float(np.abs(sound).max())
    return np.asarray(sound * (0.6 / loudest), dtype=np.float32)


def power(sound: Block) -> float:
    return float((sound.astype(np.float64) ** 2).mean())


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
    spans = []
    for number in range(4):
        begin, end = mixer.say(speechlike(2, number), 0, gap=int(gap * RATE))
        spans.append((begin, end))

    mic, clean = run(room, mixer, mixer.speaking_until)

    for begin, end in spans[1:]:
        assert 10 * np.log10(power(mic[begin:end]) / power(clean[begin:end])) >= 15


def test_the_patient_is_still_there_after_cancelling() -> None:
    room, mixer = VirtualRoom(acoustics=Acoustics(noise_db=-80)), Mixer()
    mixer.say(speechlike(4, 1), 0)
    voice = speechlike(1, 9)
    at = room.speak(voice, 4 * RATE + 8000)

    mic, clean = run(room, mixer, at + 2 * RATE)

    kept = power(clean[at : at + RATE]) / power(mic[at : at + RATE])
    assert 10 * np.log10(kept) > -6


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
    played[:FRAME] = 1e-4  # something was played: the canceller works until IDLE has passed

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
def test_any_block_length_comes_back_as_long_as_it_went_in(size: int) -> None:
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
