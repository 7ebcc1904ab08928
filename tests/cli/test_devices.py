from __future__ import annotations

import argparse
import sys
from typing import Any

import pytest
from fake_sounddevice import FakeSoundDevice, device

from coach.cli import devices
from coach.errors import DeviceError

NOTHING = argparse.Namespace()


@pytest.fixture
def sd(monkeypatch: pytest.MonkeyPatch) -> FakeSoundDevice:
    fake = FakeSoundDevice()
    monkeypatch.setenv("COLUMNS", "200")
    monkeypatch.setitem(sys.modules, "sounddevice", fake)
    monkeypatch.setattr("coach.audio.stream._in_use", set())
    return fake


def test_every_device_is_listed_and_the_one_in_use_is_marked(
    sd: FakeSoundDevice, capsys: pytest.CaptureFixture[str]
) -> None:
    sd.all = [device("Desk Mic", inputs=1), device("Desk Speakers", outputs=2)]

    assert devices.run(NOTHING) == 0

    mic, speakers = (line for line in capsys.readouterr().out.splitlines() if "Desk" in line)
    assert "used unless you name another" in mic
    assert "Desk Speakers" in speakers
    assert "48,000" in speakers


def test_a_machine_without_sound_is_one_sentence(sd: FakeSoundDevice, capsys: pytest.CaptureFixture[str]) -> None:
    sd.all = []

    with pytest.raises(DeviceError, match="No microphone was found"):
        devices.run(NOTHING)
    assert capsys.readouterr().out == ""


@pytest.mark.parametrize(
    ("there", "missing"),
    [(device("Desk Speakers", outputs=2), "microphone"), (device("Desk Mic", inputs=1), "loudspeaker")],
)
def test_the_other_devices_are_listed_if_all_of_one_side_are_missing(
    there: dict[str, Any], missing: str, sd: FakeSoundDevice, capsys: pytest.CaptureFixture[str]
) -> None:
    sd.all = [there]

    with pytest.raises(DeviceError, match=f"No {missing} was found"):
        devices.run(NOTHING)
    assert there["name"] in capsys.readouterr().out
