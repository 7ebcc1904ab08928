"""A sound library without sound, which these tests use in place of `sounddevice`."""

from __future__ import annotations

from types import ModuleType
from typing import Any

import numpy as np


class FakePortAudioError(Exception):
    pass


class FakeStream:
    """Remembers its arguments; `run` calls the callback as the sound system would."""

    def __init__(self, sd: FakeSoundDevice, **wanted: Any) -> None:
        if wanted["samplerate"] in sd.refused_rates:
            raise FakePortAudioError("Invalid sample rate")
        if wanted["channels"] in sd.refused_channels:
            raise FakePortAudioError("Invalid number of channels")
        if any(sd.listed[side] not in sd.all for side in wanted["device"]):
            raise FakePortAudioError("Device unavailable")
        self.wanted = wanted
        self.started = self.closed = False
        sd.streams.append(self)

    def start(self) -> None:
        self.started = True

    def abort(self) -> None:
        self.started = False

    def close(self) -> None:
        self.closed = True

    def run(self, heard: np.ndarray | None = None, status: object = None) -> np.ndarray:
        frames, (inputs, outputs) = self.wanted["blocksize"], self.wanted["channels"]
        heard = np.zeros((frames, inputs), np.float32) if heard is None else heard
        played = np.full((frames, outputs), 9.0, np.float32)  # samples that a callback does not fill are loud
        self.wanted["callback"](heard, played, frames, None, status)
        return played


class FakeSoundDevice(ModuleType):
    PortAudioError = FakePortAudioError

    def __init__(self) -> None:
        super().__init__("sounddevice")
        self.streams: list[FakeStream] = []
        self.refused_rates: set[int] = set()
        self.refused_channels: set[tuple[int, int]] = set()
        self.begun_anew = 0
        self.all = [
            device("Built-in Microphone", inputs=2),
            device("Built-in Speakers", outputs=2),
            device("Headset Aria (USB)", inputs=1, outputs=2),
            device("Desk Speakers", outputs=2),
        ]
        """The plugged-in devices; the library knows those of its start."""
        self.listed = list(self.all)
        self.default = type("Default", (), {"hostapi": 0})()

    def query_hostapis(self, index: int | None = None) -> Any:
        hosts = [{"name": "Core", "default_input_device": 0, "default_output_device": 1}]
        return hosts if index is None else hosts[index]

    def query_devices(self) -> list[dict[str, Any]]:
        return self.listed

    def Stream(self, **wanted: Any) -> FakeStream:  # noqa: N802  the library's own name
        return FakeStream(self, **wanted)

    def _terminate(self) -> None:
        self.begun_anew += 1

    def _initialize(self) -> None:
        self.listed = list(self.all)


def device(name: str, inputs: int = 0, outputs: int = 0, rate: float = 48000.0) -> dict[str, Any]:
    return {
        "name": name,
        "hostapi": 0,
        "max_input_channels": inputs,
        "max_output_channels": outputs,
        "default_samplerate": rate,
    }
