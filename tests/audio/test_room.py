from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
import soundfile
from sound_files import write_sound

from coach.audio.mixer import Layer, Mixer
from coach.audio.patient import Kind, Moment, Patient, parse_script
from coach.audio.room import Acoustics, VirtualRoom, WavDevice
from coach.audio.sounds import level, tick
from coach.errors import DeviceError
from coach.ports import Block, Captured
from coach.tempo.units import BLOCK, RATE, to_samples

QUIET = Acoustics(echo_db=-np.inf, noise_db=-np.inf)


def noise(frames: int, seed: int = 0, loud: float = 0.1) -> Block:
    return np.random.default_rng(seed).standard_normal(frames).astype(np.float32) * np.float32(loud)


def live(room: VirtualRoom, mixer: Mixer, blocks: int) -> list[Captured]:
    room.open(mixer.render)
    return [captured for captured in (room.read() for _ in range(blocks)) if captured]


def mic(captured: list[Captured]) -> Block:
    return np.concatenate([each.mic for each in captured])


def test_the_frame_count_has_no_holes() -> None:
    captured = live(VirtualRoom(), Mixer(), 20)

    assert [each.at for each in captured] == list(range(0, 20 * BLOCK, BLOCK))
    assert all(len(each.mic) == len(each.played) == len(each.clean) == BLOCK for each in captured)


def test_two_runs_are_the_same_to_the_last_bit() -> None:
    def run(seed: int) -> Block:
        room, mixer = VirtualRoom(seed=seed), Mixer()
        mixer.place(noise(8000), 700, layer=Layer.SPEECH)
        room.speak(noise(4000, 1), 5000)
        return mic(live(room, mixer, 100))

    assert run(1).tobytes() == run(1).tobytes()
    assert run(1).tobytes() != run(2).tobytes()


def test_the_room_plays_what_the_mixer_gave_at_each_sample() -> None:
    mixer = Mixer()
    mixer.place(tick(), 1234, layer=Layer.TICK)

    played = np.concatenate([each.played for each in live(VirtualRoom(), mixer, 20)])

    assert np.flatnonzero(played)[0] == 1234


def test_the_echo_comes_after_its_cause_at_the_level_asked_for() -> None:
    acoustics = Acoustics(echo_db=-20, delay=0.036, noise_db=-np.inf)
    mixer = Mixer()
    mixer.place(noise(5 * RATE, loud=0.05), 1000, layer=Layer.SPEECH)

    heard = mic(live(VirtualRoom(acoustics=acoustics), mixer, 270))

    assert np.flatnonzero(np.abs(heard) > 1e-9)[0] == 1000 + to_samples(0.036)
    assert 20 * np.log10(heard[RATE : 5 * RATE].std() / 0.05) == pytest.approx(-20, abs=1)


def test_the_echo_dies_away_and_leaves_exact_silence() -> None:
    mixer = Mixer()
    mixer.place(noise(3200), 0, layer=Layer.SPEECH)

    heard = mic(live(VirtualRoom(acoustics=Acoustics(noise_db=-np.inf)), mixer, 60))

    assert heard[3200:4000].any()
    assert not heard[-BLOCK:].any()


def test_the_noise_has_the_level_asked_for() -> None:
    heard = mic(live(VirtualRoom(acoustics=Acoustics(noise_db=-50)), Mixer(), 1100))

    assert 20 * np.log10(heard.std()) == pytest.approx(-50, abs=0.5)


def test_a_file_can_be_the_noise(tmp_path: Path) -> None:
    write_sound(tmp_path / "fan.wav", noise(RATE))

    heard = mic(live(VirtualRoom(noise=tmp_path / "fan.wav", acoustics=Acoustics(noise_db=-40)), Mixer(), 100))

    assert 20 * np.log10(heard.std()) == pytest.approx(-40, abs=0.5)
    np.testing.assert_array_equal(heard[:RATE], heard[RATE : 2 * RATE])


def test_the_patient_is_heard_from_the_sample_and_as_loud_as_asked() -> None:
    room = VirtualRoom(acoustics=QUIET)

    begins = room.speak(noise(4000, loud=0.5), 1501)

    heard = mic(live(room, Mixer(), 30))
    assert begins == 1501
    assert np.flatnonzero(heard)[0] == 1501
    assert 20 * np.log10(level(heard)) == pytest.approx(-26, abs=0.5)


def test_nobody_says_two_things_at_once_nor_in_the_past() -> None:
    room = VirtualRoom(acoustics=QUIET)
    live(room, Mixer(), 10)

    first = room.speak(noise(1000), 100)
    second = room.speak(noise(1000), 100)

    assert first == 10 * BLOCK
    assert second == first + 1000 + to_samples(0.2)
    assert [(each.at, each.end) for each in room.spoken] == [(first, first + 1000), (second, second + 1000)]


def test_a_moment_makes_the_patient_speak() -> None:
    script = parse_script("format: 1\ndelay: 0.1 s\nanswers: {ready: ready}", "s.yaml", Path())
    asked: list[str] = []

    def speaker(text: str) -> Block:
        asked.append(text)
        return noise(800)

    room = VirtualRoom(acoustics=QUIET, patient=Patient(script), speaker=speaker)
    room.moment(Moment(Kind.QUESTION, 320, question="ready"))

    heard = mic(live(room, Mixer(), 20))
    assert asked == ["ready"]
    assert np.flatnonzero(heard)[0] == 320 + to_samples(0.1)


def test_a_patient_without_a_voice_ends_in_one_sentence() -> None:
    script = parse_script("format: 1\nanswers: {ready: ready}", "s.yaml", Path())

    with pytest.raises(DeviceError, match='cannot say "ready" without a voice'):
        VirtualRoom(patient=Patient(script)).moment(Moment(Kind.QUESTION, 0, question="ready"))


def test_a_recording_is_the_patients_voice(tmp_path: Path) -> None:
    write_sound(tmp_path / "yes.wav", noise(800))
    script = parse_script("format: 1\nrules:\n  - {after: halt, clip: yes.wav, delay: 0 s}", "s.yaml", tmp_path)
    room = VirtualRoom(acoustics=QUIET, patient=Patient(script))
    room.moment(Moment(Kind.HALT, 640))

    heard = mic(live(room, Mixer(), 10))

    assert np.flatnonzero(heard)[0] == 640


def test_everything_can_be_written_to_one_file(tmp_path: Path) -> None:
    room, mixer = VirtualRoom(wav=tmp_path / "out.wav", acoustics=Acoustics(noise_db=-np.inf)), Mixer()
    mixer.place(tick(), 1600, layer=Layer.TICK)
    room.speak(noise(800), 4000)
    live(room, mixer, 20)
    room.close()
    room.close()

    both, rate = soundfile.read(tmp_path / "out.wav")
    assert rate == RATE
    assert both.shape == (20 * BLOCK, 2)
    assert np.flatnonzero(np.abs(both[:, 0]) > 0.005)[0] == pytest.approx(1600, abs=2)
    assert not both[:3999, 1].any()
    assert both[4000:4800, 1].any()


def test_a_closed_room_gives_nothing_more() -> None:
    room = VirtualRoom()
    live(room, Mixer(), 1)
    room.close()

    assert room.read() is None


def test_a_wav_file_can_be_the_microphone(tmp_path: Path) -> None:
    sound = noise(5000)
    write_sound(tmp_path / "in.wav", sound)
    device, mixer = WavDevice(tmp_path / "in.wav", tmp_path / "out.wav"), Mixer()
    mixer.place(tick(), 100, layer=Layer.TICK)

    heard = mic(live(device, mixer, 20))
    device.close()

    np.testing.assert_allclose(heard[:5000], sound, atol=1e-4)
    # After the recording the room goes on softly: exact silence would mean a lost microphone.
    assert 0 < abs(heard[5000:]).max() < 1e-4
    assert len(soundfile.read(tmp_path / "out.wav")[0]) == 20 * BLOCK


def test_noise_that_is_silence_is_refused(tmp_path: Path) -> None:
    write_sound(tmp_path / "quiet.wav", np.zeros(100, np.float32))

    with pytest.raises(DeviceError, match="only silence"):
        VirtualRoom(noise=tmp_path / "quiet.wav")
