"""Read sound files as the session hears them; write WAV files whole or not at all."""

from __future__ import annotations

import os
import struct
from collections.abc import Iterator
from contextlib import ExitStack, contextmanager, suppress
from pathlib import Path
from typing import BinaryIO, Self

import numpy as np

from coach.audio.sounds import finite
from coach.errors import DeviceError
from coach.outputs import output
from coach.ports import Block
from coach.tempo.units import RATE, to_seconds

LONGEST = 3600
"""Longest file in seconds: an hour is more than any session and fits into memory (230 MB)."""
HIGHEST, MOST_CHANNELS = 768_000, 64
"""Highest rate (samples per second) and most channels of a file; a piece of one second must fit into memory."""
BEGINNINGS = (b"RIFF", b"fLaC")
"""First bytes of WAV and FLAC files. The library would decode dozens of other formats, which are refused."""
PLAIN = ("PCM_U8", "PCM_S8", "PCM_16", "PCM_24", "PCM_32", "FLOAT", "DOUBLE")
"""Sample formats that need no decoder; the decoders of packed WAV files have known faults."""


def read_sound(path: Path | str, *, longest: float = LONGEST) -> Block:
    """Return a WAV or FLAC file of any rate and any number of channels as mono at RATE.

    Channels are averaged. Raises DeviceError if the file is missing, is no sound file, is empty or is longer than
    `longest` seconds.
    """
    import soundfile
    import soxr

    path = Path(path)
    if not path.is_file():
        raise DeviceError(f"There is no sound file {path}; check the path.")
    try:
        with path.open("rb") as raw:
            known = raw.read(4) in BEGINNINGS
        if not known:
            raise DeviceError(f"{path} cannot be read as sound (it is not a WAV or FLAC file); save it as one.")
        with soundfile.SoundFile(path) as file:
            if file.subtype not in PLAIN:
                raise DeviceError(f"{path} is a packed sound file ({file.subtype}); save it as plain WAV or FLAC.")
            rate, frames = file.samplerate, file.frames
            if rate > HIGHEST or file.channels > MOST_CHANNELS:
                raise DeviceError(
                    f"{path} has {file.channels} channels of {rate} samples a second, which no microphone gives; "
                    "record it again."
                )
            if frames > longest * rate:
                raise DeviceError(
                    f"{path} lasts {frames / rate / 60:.1f} minutes, the most is {longest / 60:.1f}; "
                    f"cut it into shorter files."
                )
            # A piece at a time, so that many channels at a high rate are never in memory together.
            convert = soxr.ResampleStream(rate, RATE, 1, dtype="float32") if rate != RATE else None
            pieces: list[Block] = []
            for piece in file.blocks(blocksize=rate, dtype="float32", always_2d=True):
                mono = finite(piece).mean(axis=1, dtype=np.float32)
                pieces.append(convert.resample_chunk(mono) if convert else mono)
            if convert:
                pieces.append(convert.resample_chunk(np.zeros(0, dtype=np.float32), last=True))
    except (soundfile.LibsndfileError, OSError, ValueError) as error:  # ValueError: its header gives no length
        raise DeviceError(f"{path} cannot be read as sound ({error}); give a WAV or FLAC file.") from error
    sound = np.concatenate(pieces) if pieces else np.zeros(0, dtype=np.float32)
    if not len(sound):
        raise DeviceError(f"{path} holds no sound; record it again.")
    return sound


class _AbandonedError(Exception):
    """The file is to be discarded."""


class WavWriter:
    """A growing 16-bit WAV file; it gets its name when it is closed, and a failure leaves nothing behind.

    Use it in a `with` block: an exception inside discards the file.
    """

    def __init__(self, path: Path | str, *, channels: int = 1, rate: int = RATE) -> None:
        """Begin; raises DeviceError if the folder is missing or cannot be written into."""
        self.path = Path(path)
        self.frames = 0
        self._channels, self._rate = channels, rate
        self._output = ExitStack()
        self._file: BinaryIO | None = None
        if self.path.is_dir():
            raise DeviceError(f"{self.path} is a folder; name a file in it, such as {self.path / 'session.wav'}.")
        if not self.path.parent.is_dir():
            raise DeviceError(f"There is no folder {self.path.parent}; make it first or name another.")
        with self._or_nothing():
            self._file = self._output.enter_context(output(self.path)).open("wb")
            self._file.write(self._header())

    @property
    def seconds(self) -> float:
        """Length of the sound written so far."""
        return to_seconds(self.frames, self._rate)

    def write(self, sound: Block) -> None:
        """Append `sound`, shape (frames,) or (frames, channels), -1 to 1. Raises DeviceError if the disk is full."""
        if self._file is None:
            raise DeviceError(f"{self.path} is closed already; begin a new file.")
        steps = np.rint(np.clip(np.nan_to_num(sound), -1.0, 1.0) * 32767).astype("<i2")
        with self._or_nothing():
            self._file.write(steps.tobytes())
        self.frames += len(sound)

    def close(self) -> None:
        """Finish the file under its name. Harmless if it is closed already. Raises DeviceError if the disk is full."""
        if self._file is None:
            return
        with self._or_nothing():
            self._file.seek(0)
            self._file.write(self._header())
            self._file.flush()
            os.fsync(self._file.fileno())
            self._file.close()
            self._file = None
            self._output.close()

    def abandon(self) -> None:
        """Discard the new file; an earlier file of the same name is untouched."""
        if self._file is None:
            return
        with suppress(OSError):  # a full disk refuses the last buffer, too; the file is discarded anyway
            self._file.close()
        self._file = None
        with suppress(_AbandonedError), self._output:
            raise _AbandonedError

    def __enter__(self) -> Self:
        return self

    def __exit__(self, kind: type[BaseException] | None, *_: object) -> None:
        if kind is None:
            self.close()
        else:
            self.abandon()

    def _header(self) -> bytes:
        """Return the RIFF header for the samples written so far: 44 bytes, linear 16-bit samples."""
        width = 2 * self._channels
        size = self.frames * width
        form = struct.pack("<4sIHHIIHH", b"fmt ", 16, 1, self._channels, self._rate, self._rate * width, width, 16)
        return struct.pack("<4sI4s", b"RIFF", 36 + size, b"WAVE") + form + struct.pack("<4sI", b"data", size)

    @contextmanager
    def _or_nothing(self) -> Iterator[None]:
        """Turn an error of the system into a sentence, with nothing left half-written."""
        try:
            yield
        except OSError as error:
            self.abandon()
            raise DeviceError(
                f"{self.path} cannot be written ({error.strerror or error}); free some space or name another file."
            ) from error
