from __future__ import annotations

import argparse
import sys
from types import ModuleType
from typing import Any

import pytest

from coach.cli import devices
from coach.errors import DeviceError

NOTHING = argparse.Namespace()


class Library(ModuleType):
    PortAudioError = RuntimeError
    default = type("Default", (), {"hostapi": 0})()

    def __init__(self, found: list[dict[str, Any]]) -> None:
        super().__init__("sounddevice")
        self.found = found

    def query_hostapis(self, index: int | None = None) -> Any:
        hosts = [{"name": "Core", "default_input_device": 0, "default_output_device": 1}]
        return hosts if index is None else hosts[index]

    def query_devices(self) -> list[dict[str, Any]]:
        return self.found


def device(name: str, inputs: int, outputs: int) -> dict[str, Any]:
    channels = {"max_input_channels": inputs, "max_output_channels": outputs}
    return {"name": name, "hostapi": 0, "default_samplerate": 48000.0, **channels}


def test_every_device_is_listed_with_what_is_used(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.setenv("COLUMNS", "200")
    monkeypatch.setitem(sys.modules, "sounddevice", Library([device("Desk Mic", 1, 0), device("Desk Speakers", 0, 2)]))

    assert devices.run(NOTHING) == 0

    mic, speakers = (line for line in capsys.readouterr().out.splitlines() if "Desk" in line)
    assert "used unless you name another" in mic
    assert "Desk Speakers" in speakers
    assert "48,000" in speakers


def test_a_machine_without_sound_is_one_sentence(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setitem(sys.modules, "sounddevice", Library([]))

    with pytest.raises(DeviceError, match="No microphone was found"):
        devices.run(NOTHING)
