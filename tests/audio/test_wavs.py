from __future__ import annotations

import errno
import os
from pathlib import Path

import numpy as np
import pytest
import soundfile
from sound_files import write_sound

from coach.audio.wavs import WavWriter, read_sound
from coach.errors import DeviceError
from coach.ports import Block
from coach.tempo.units import RATE


def tone(rate: int, seconds: float = 1.0) -> Block:
    return (0.4 * np.sin(2 * np.pi * 440 * np.arange(round(rate * seconds)) / rate)).astype(np.float32)


@pytest.mark.parametrize("suffix", ["wav", "flac"])
@pytest.mark.parametrize("rate", [8000, 16_000, 22_050, 44_100, 48_000])
@pytest.mark.parametrize("channels", [1, 2])
def test_any_rate_and_channels_become_mono_at_the_sessions_rate(
    tmp_path: Path, suffix: str, rate: int, channels: int
) -> None:
    path = tmp_path / f"take.{suffix}"
    soundfile.write(path, np.stack([tone(rate)] * channels, axis=1), rate)

    sound = read_sound(path)

    assert sound.dtype == np.float32
    assert abs(len(sound) - RATE) <= 1
    inside = slice(800, RATE - 800)
    np.testing.assert_allclose(sound[inside], tone(RATE)[inside], atol=0.005)


def test_what_is_written_is_read_back(tmp_path: Path) -> None:
    write_sound(tmp_path / "a.wav", tone(RATE))

    np.testing.assert_allclose(read_sound(tmp_path / "a.wav"), tone(RATE), atol=1 / 32767)
    assert soundfile.info(tmp_path / "a.wav").subtype == "PCM_16"
    assert [path.name for path in tmp_path.iterdir()] == ["a.wav"]


def test_two_channels_are_written_side_by_side(tmp_path: Path) -> None:
    both = np.stack([tone(RATE), -tone(RATE)], axis=1)
    with WavWriter(tmp_path / "a.wav", channels=2) as writer:
        for at in range(0, RATE, 320):
            writer.write(both[at : at + 320])

    found, rate = soundfile.read(tmp_path / "a.wav", dtype="float32")
    assert rate == RATE
    assert writer.seconds == 1.0
    np.testing.assert_allclose(found, both, atol=1 / 32767)


def test_sound_beyond_full_scale_is_clipped_not_wrapped(tmp_path: Path) -> None:
    write_sound(tmp_path / "a.wav", np.array([2.0, -2.0, np.nan], np.float32))

    np.testing.assert_allclose(read_sound(tmp_path / "a.wav"), [1, -1, 0], atol=1e-3)


@pytest.mark.parametrize(
    ("name", "content", "says"),
    [
        ("gone.wav", None, "There is no sound file"),
        ("text.wav", b"not a sound", "cannot be read as sound"),
        ("zero.wav", b"", "cannot be read as sound"),
    ],
)
def test_an_unusable_file_is_named_in_a_sentence(tmp_path: Path, name: str, content: bytes | None, says: str) -> None:
    if content is not None:
        (tmp_path / name).write_bytes(content)

    with pytest.raises(DeviceError, match=says) as error:
        read_sound(tmp_path / name)

    assert name in str(error.value)


def test_a_file_without_frames_and_a_folder_are_refused(tmp_path: Path) -> None:
    soundfile.write(tmp_path / "empty.wav", np.zeros(0, np.float32), RATE)

    with pytest.raises(DeviceError, match="holds no sound"):
        read_sound(tmp_path / "empty.wav")
    with pytest.raises(DeviceError, match="no sound file"):
        read_sound(tmp_path)


@pytest.mark.parametrize(
    ("kind", "subtype", "message"),
    [
        ("OGG", "VORBIS", "it is not a WAV or FLAC file"),
        ("AIFF", "PCM_16", "it is not a WAV or FLAC file"),
        ("WAV", "IMA_ADPCM", r"is a packed sound file \(IMA_ADPCM\)"),
        ("WAV", "MS_ADPCM", r"is a packed sound file \(MS_ADPCM\)"),
        ("WAV", "GSM610", r"is a packed sound file \(GSM610\)"),
    ],
)
def test_a_sound_file_that_needs_a_decoder_of_its_own_is_refused(
    tmp_path: Path, kind: str, subtype: str, message: str
) -> None:
    path = tmp_path / "take.wav"
    soundfile.write(path, tone(8000), 8000, format=kind, subtype=subtype)

    with pytest.raises(DeviceError, match=message):
        read_sound(path)


def test_a_file_that_lasts_too_long_is_refused_before_it_is_read(tmp_path: Path) -> None:
    soundfile.write(tmp_path / "long.flac", np.zeros(8000 * 90, np.float32), 8000)

    with pytest.raises(DeviceError, match=r"lasts 1\.5 minutes, the most is 1\.0"):
        read_sound(tmp_path / "long.flac", longest=60)


def test_a_full_disk_leaves_nothing_half_written(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    path = tmp_path / "session.wav"
    path.write_bytes(b"of yesterday")

    def full(_number: int) -> None:
        raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))

    monkeypatch.setattr(os, "fsync", full)

    with pytest.raises(DeviceError, match=r"No space left on device.*free some space"):
        write_sound(path, tone(RATE))

    assert path.read_bytes() == b"of yesterday"
    assert [each.name for each in tmp_path.iterdir()] == ["session.wav"]


def test_an_exception_while_writing_leaves_nothing_behind(tmp_path: Path) -> None:
    def interrupted() -> None:
        with WavWriter(tmp_path / "a.wav") as writer:
            writer.write(tone(RATE))
            raise KeyboardInterrupt

    with pytest.raises(KeyboardInterrupt):
        interrupted()

    assert list(tmp_path.iterdir()) == []


def test_an_unwritable_place_is_named(tmp_path: Path) -> None:
    with pytest.raises(DeviceError, match="There is no folder"):
        write_sound(tmp_path / "nowhere" / "a.wav", tone(RATE))
    with pytest.raises(DeviceError, match="is a folder"):
        write_sound(tmp_path, tone(RATE))


def test_a_closed_writer_refuses_more(tmp_path: Path) -> None:
    writer = WavWriter(tmp_path / "a.wav")
    writer.close()
    writer.close()

    with pytest.raises(DeviceError, match="closed already"):
        writer.write(tone(RATE))
