"""The real microphone and loudspeaker as one full-duplex stream; the only module that knows sounddevice.

The session's frame count is that of the stream: frame k of `played` went out in the callback in which frame k of `mic`
came in, so an echo in `mic` always follows its cause in `played`. A device that refuses RATE runs at its own rate; both
directions are then resampled, and the count stays in frames at RATE.
"""

from __future__ import annotations

import sys
from collections.abc import Callable
from contextlib import suppress
from queue import Empty, SimpleQueue
from types import ModuleType
from typing import Any

import numpy as np
import numpy.typing as npt

from coach.audio.choice import DeviceInfo, choose
from coach.audio.clock import Pace, sleepless_clock
from coach.audio.foreign import keep_off_the_screen
from coach.audio.hanging import Within, answered, at_once, leave_behind
from coach.audio.sounds import finite
from coach.errors import DeviceError
from coach.ports import Block, Captured
from coach.tempo.units import BLOCK, RATE

__all__ = ["DeviceInfo", "Stream", "Within", "choose", "devices", "sleepless_clock"]

_Frames = npt.NDArray[np.float32]
"""Shape (frames, channels)."""

OWN_RATES = (48_000, 44_100, 32_000)
"""Rates to try if a device refuses RATE and its own; BLOCK is a whole number of frames at each."""

MOST_CHANNELS = 8
"""Most channels of a device that opens only with all of them, such as a microphone array."""

GIVE_UP = 120.0
"""Seconds without a frame after which the device counts as gone for good, even if the computer only slept."""

ANEW = 3.0
"""Seconds without a frame after which the device is opened again; a wireless one may take two to begin."""

ELSEWHERE = 6.0
"""Seconds without a frame after which the system's default replaces a named device that is gone."""

LET_GO = 1.0
"""Seconds allowed for closing or opening a device; if its sound server died, the call may never return."""

FAILED_BLOCKS = 50
"""Blocks in a row without a rendering (1 s) after which the session ends, since the coach is mute."""


_in_use: set[Any] = set()
"""Streams of the library that run or could not be closed."""


def devices(within: Within = at_once) -> list[DeviceInfo]:
    """Return the current sound devices of this machine. Raises DeviceError if PortAudio is missing or fails.

    While a stream is in use, the library cannot be restarted, and the list is the one from its start. `within`: see
    `Stream`.
    """
    found: list[DeviceInfo] = []
    answered(within, lambda: found.extend(_listed()))
    return found


def _listed() -> list[DeviceInfo]:
    begun = "sounddevice" in sys.modules
    sd = _sounddevice()
    try:
        if begun and not _in_use:
            with suppress(sd.PortAudioError):  # it never began
                sd._terminate()  # noqa: SLF001  the only way to make PortAudio see new devices
            sd._initialize()  # noqa: SLF001
        hosts = [str(host["name"]) for host in sd.query_hostapis()]
        found = list(sd.query_devices())
        usual = sd.query_hostapis(sd.default.hostapi) if found else {}
    except sd.PortAudioError as error:
        raise DeviceError(f"The sound system does not answer ({error}); restart it, then try again.") from error
    return [
        DeviceInfo(
            name=str(each["name"]),
            host=hosts[each["hostapi"]] if each["hostapi"] < len(hosts) else "",
            inputs=int(each["max_input_channels"]),
            outputs=int(each["max_output_channels"]),
            rate=round(each["default_samplerate"]),
            default_input=number == usual["default_input_device"],
            default_output=number == usual["default_output_device"],
            index=number,
        )
        for number, each in enumerate(found)
    ]


class Stream:
    """A Device on real hardware."""

    def __init__(
        self,
        device: str | None = None,
        rate: int = RATE,
        block: int = BLOCK,
        clock: Callable[[], float] | None = None,
        within: Within | None = None,
    ) -> None:
        """Choose `device` (see `choose`); nothing sounds yet. Raises DeviceError.

        `within(seconds, work)` does `work`, waits at most `seconds` and returns a callable, true while the work still
        runs: the sound library may never return. None: wait for the library without a limit.

        `clock` returns seconds, by which late sound is reported; None: no reports, for readers that may pause.
        """
        self.rate = rate
        self.xruns = 0
        """How often the system lost sound because the program or the device was too slow."""
        self.failures = 0
        """Number of blocks that could not be rendered; silence was played instead."""
        self.own_rate = rate
        """The device's actual rate in frames per second; known once it is open."""
        self._name = device
        self._block = block
        self._within = within or at_once
        self._mic, self._speaker = choose(devices(self._within), device)
        self._sd = _sounddevice()
        self._render: Callable[[int, int], Block] | None = None
        self._stream: Any = None
        self._queue: SimpleQueue[Captured] = SimpleQueue()
        self._rendered = 0
        self._delivered = 0
        self._failed_in_a_row = 0
        self._last_error = ""
        self._without = 0.0
        self._anew_at = ANEW
        self._clock = clock
        self._pace = Pace(0.0)
        self._late: Captured | None = None
        self._opening: Callable[[], bool] = lambda: False
        self._opened = 0
        self._heard = self._to_device = self._in_hand = np.zeros(0, dtype=np.float32)
        self._from_device: Any = None
        self._for_device: Any = None

    @property
    def names(self) -> tuple[str, str]:
        """The microphone and the loudspeaker in use."""
        return self._mic.name, self._speaker.name

    def open(self, render: Callable[[int, int], Block]) -> None:
        """Begin. `render` is called from the sound system's own thread. Raises DeviceError if the device refuses.

        A device that was unplugged after it was chosen is looked up by its name again.
        """
        self._render = render
        if self._clock is not None:
            self._pace = Pace(self._clock())
        try:
            answered(self._within, self._begin_as_of_now)
        except DeviceError:
            self._render = None
            raise

    def _begin_as_of_now(self) -> None:
        try:
            self._begin()
        except DeviceError:
            self._mic, self._speaker = choose(devices(), self._name)
            self._begin()
        self._end_if_closed()

    def read(self, timeout: float = 1.0) -> Captured | None:
        """Return the next stretch; None if none came within `timeout` seconds (ANEW for the first), or if it is late.

        A stretch that is behind the clock by more than BEHIND is preceded by one None: the sound stopped, or this
        computer cannot keep up. After ANEW seconds without a frame the device is looked up by its name and opened
        again, from ELSEWHERE seconds on also the system's default; the count goes on. Raises DeviceError if nothing
        came for GIVE_UP seconds, or if nothing can be rendered any more.
        """
        if self._failed_in_a_row >= FAILED_BLOCKS:
            raise DeviceError(f"The coach can no longer make its sound ({self._last_error}); start the session again.")
        if self._late is not None:
            captured, self._late = self._late, None
            return captured
        # A device may take a second or two to begin, which is no loss.
        patience = timeout if self._delivered or self._render is None else max(timeout, ANEW)
        try:
            captured = self._queue.get(timeout=patience)
        except Empty:
            self._wait(patience)
            return None
        self._without, self._anew_at = 0.0, ANEW
        if self._clock is None:
            return captured
        now = self._clock()
        if self._pace.too_fast(captured.at, now):
            raise DeviceError(
                f'Microphone "{self._mic.name}" and loudspeaker "{self._speaker.name}" run faster than time, so nobody '
                f"could keep up: name others with --device, see: coach devices."
            )
        late = self._pace.behind(captured.at, now, caught_up=self._queue.empty())
        if late >= GIVE_UP:
            raise DeviceError(
                f"The sound stood still for {late / 60:.0f} minutes, as when the computer sleeps; start again."
            )
        self._late = captured if late else None
        return None if late else captured

    def _wait(self, seconds: float) -> None:
        """Add to the time without sound; open the device again when it is time."""
        self._without += seconds
        if self._without >= GIVE_UP:
            raise DeviceError(
                f'The sound device "{self._mic.name}" stopped and did not come back; plug it in, then start again.'
            ) from None
        if self._render is not None and self._without >= self._anew_at:
            self._anew_at += ANEW
            if not self._opening():
                self._opening = self._within(LET_GO, self._begin_anew)

    def close(self) -> None:
        """Close the device. Harmless if it is closed already."""
        self._render = None
        self._end()

    def _begin(self) -> None:
        refusals: list[str] = []
        for own_rate in dict.fromkeys((self.rate, self._speaker.rate, self._mic.rate, *OWN_RATES)):
            if self._block * own_rate % self.rate:
                continue
            sides = [(min(most, self._mic.inputs), min(most, self._speaker.outputs)) for most in (1, 2, MOST_CHANNELS)]
            for channels in dict.fromkeys(sides):
                try:
                    self._start(own_rate, channels)
                except (self._sd.PortAudioError, ValueError, OSError) as error:
                    self._end()
                    refusals.append(str(error))
                else:
                    return
        raise DeviceError(
            f'Microphone "{self._mic.name}" and loudspeaker "{self._speaker.name}" cannot be used together: plug them '
            f"in, close other programs that use them, or name others with --device, see: coach devices ({refusals[0]})."
        )

    def _start(self, own_rate: int, channels: tuple[int, int]) -> None:
        self.own_rate = own_rate
        self._from_device = self._for_device = None
        if own_rate != self.rate:
            import soxr

            self._from_device = soxr.ResampleStream(own_rate, self.rate, 1, dtype="float32")
            self._for_device = soxr.ResampleStream(self.rate, own_rate, 1, dtype="float32")
        # Sound rendered before a break is passed on with a silent microphone, so that the count has no holes.
        self._heard = np.zeros(len(self._in_hand), dtype=np.float32)
        self._to_device = np.zeros(0, dtype=np.float32)
        self._opened += 1
        mine = self._opened

        def callback(heard: _Frames, to_play: _Frames, frames: int, when: object, status: object) -> None:
            if mine == self._opened:
                self._callback(heard, to_play, frames, when, status)
            else:
                to_play.fill(0)

        self._stream = self._sd.Stream(
            samplerate=own_rate,
            blocksize=self._block * own_rate // self.rate,
            device=(self._mic.index, self._speaker.index),
            channels=channels,
            dtype="float32",
            latency="low",
            callback=callback,
        )
        _in_use.add(self._stream)
        self._stream.start()

    def _begin_anew(self) -> None:
        """After an unplug, look the devices up by their names again; without success nothing changes."""
        self._end()
        for name in dict.fromkeys((self._name, self._name if self._without < ELSEWHERE else None)):
            try:
                self._mic, self._speaker = choose(devices(), name)
                self._begin()
            except DeviceError:
                self._end()
                continue
            self._end_if_closed()
            return

    def _end_if_closed(self) -> None:
        """Close a device that opened after its time limit."""
        if self._render is None:
            self._end()

    def _end(self) -> None:
        stream, self._stream = self._stream, None
        self._opened += 1  # further requests of the old stream are not rendered
        if stream is not None and self._within(LET_GO, lambda: _let_go(stream, self._sd.PortAudioError))():
            leave_behind()

    def _callback(self, heard: _Frames, to_play: _Frames, frames: int, _time: object, status: object) -> None:
        """Exchange `frames` frames, shape (frames, channels); always fill `to_play` and never raise."""
        to_play.fill(0)
        try:
            if status:
                self.xruns += 1
            self._exchange(heard, to_play, frames)
        except Exception as error:  # noqa: BLE001  the C library would lose the exception and stop the stream
            self.failures += 1
            self._last_error = str(error) or type(error).__name__

    def _exchange(self, heard: _Frames, to_play: _Frames, frames: int) -> None:
        while len(self._to_device) < frames:
            played = self._next_block()
            self._in_hand = np.concatenate([self._in_hand, played])
            ready = played if self._for_device is None else self._for_device.resample_chunk(played)
            self._to_device = np.concatenate([self._to_device, ready])
        to_play[:] = self._to_device[:frames, np.newaxis]
        self._to_device = self._to_device[frames:]
        mono = finite(heard).mean(axis=1, dtype=np.float32)
        mono = mono if self._from_device is None else self._from_device.resample_chunk(mono)
        self._heard = np.concatenate([self._heard, mono])
        while len(self._heard) >= self._block and len(self._in_hand) >= self._block:
            mic, self._heard = self._heard[: self._block], self._heard[self._block :]
            played, self._in_hand = self._in_hand[: self._block], self._in_hand[self._block :]
            self._queue.put(Captured(self._delivered, mic, played, mic.copy()))
            self._delivered += self._block

    def _next_block(self) -> Block:
        """Return the next block of the session to play; silence if it cannot be rendered."""
        at, self._rendered = self._rendered, self._rendered + self._block
        try:
            if self._render is None:
                return np.zeros(self._block, dtype=np.float32)
            block = np.asarray(self._render(at, self._block), dtype=np.float32).reshape(self._block)
        except Exception as error:  # noqa: BLE001  see _callback
            self.failures += 1
            self._failed_in_a_row += 1
            self._last_error = str(error) or type(error).__name__
            return np.zeros(self._block, dtype=np.float32)
        self._failed_in_a_row = 0
        return block


def _let_go(stream: Any, error: type[Exception]) -> None:  # noqa: ANN401  a class of another library
    with suppress(error):  # it is closed already
        stream.abort()
        stream.close()
    _in_use.discard(stream)


def _sounddevice() -> ModuleType:
    keep_off_the_screen()
    try:
        import sounddevice
    except OSError as error:
        raise DeviceError(
            "The sound library PortAudio is missing; install the package libportaudio2 "
            "(for instance: sudo apt install libportaudio2), then try again."
        ) from error
    except ImportError as error:
        raise DeviceError("The Python package sounddevice is missing; run: pip install sounddevice") from error
    module: ModuleType = sounddevice
    return module
