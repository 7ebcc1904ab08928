"""Keep clips on the disk between sessions, and this session's clips in memory."""

from __future__ import annotations

import contextlib
import errno
import hashlib
import os
import struct
import tempfile
import time
import zlib
from collections.abc import Iterable
from pathlib import Path
from typing import Protocol

import numpy as np
import numpy.typing as npt

from coach.errors import SpeechError
from coach.logbook.files import make_folder
from coach.ports import Block
from coach.progress import HowFar
from coach.tempo.units import RATE, to_seconds
from coach.voice.render import clean

MOST_BYTES = 256 * 1024 * 1024
"""Bytes of the folder at most; a program needs about 10-30 MiB. The clips unused for longest are deleted first."""

_HALF = ".new-"
"""Prefix of the name of an unfinished clip."""

_STALE = 60.0
"""Seconds after which an unfinished clip is abandoned: writing one takes milliseconds."""

_FULL = (errno.ENOSPC, getattr(errno, "EDQUOT", errno.ENOSPC))  # Windows has no quota error

_Samples = npt.NDArray[np.int16]


class Rendering(Protocol):
    """Turns texts without a kept clip into clips (`render.Renderer`)."""

    @property
    def identity(self) -> str:
        """Everything a clip depends on besides its text."""
        ...

    def each(self, texts: Iterable[str]) -> Iterable[tuple[str, Block]]:
        """Yield each text with its clip."""
        ...


class ClipVoice:
    """A voice (`ports.Voice`) that speaks prepared sentences."""

    def __init__(self, folder: Path, renderer: Rendering, most_bytes: int = MOST_BYTES) -> None:
        """`folder`: where clips are kept, <home>/clips; it is made when needed, readable by its owner only."""
        self._folder = folder
        self._renderer = renderer
        self._most = most_bytes
        self._clips: dict[str, _Samples] = {}
        self.unkept = ""
        """Reason why new clips are only in memory and not in the folder; empty: they are in the folder."""

    def prepare(self, texts: Iterable[str], progress: HowFar | None = None) -> int:
        """Load the clip of every text, render the missing and damaged ones, and return how many were rendered.

        If the disk refuses a clip, it stays in memory only (see `unkept`). `progress` receives the number of ready
        clips and their total. Raises SpeechError if a text cannot be said or there is no engine.
        """
        wanted = list(dict.fromkeys(clean(text) for text in texts))
        missing = []
        for text in wanted:
            kept = self._clips.get(text)
            if kept is None:
                kept = _read(self._path(text))
            if kept is None:
                missing.append(text)
            else:
                self._clips[text] = kept
        ready = len(wanted) - len(missing)
        if progress and ready:
            progress(ready, len(wanted))
        new: list[Path] = []
        for text, clip in self._renderer.each(missing) if missing else ():
            samples = np.round(clip * 32767).astype(np.int16)
            self._clips[text] = samples
            self._keep(self._path(text), samples, new)
            ready += 1
            if progress:
                progress(ready, len(wanted))
        if missing:
            self._prune({self._path(text) for text in self._clips})
        return len(missing)

    def clip(self, text: str) -> Block:
        """Return the sound of `text`: mono, 16 kHz, its first sample audible. Never calls a speech engine.

        Raises SpeechError if the sentence was not prepared.
        """
        return self._samples(text).astype(np.float32) / np.float32(32767)

    def seconds(self, text: str) -> float:
        """Return how long `text` takes. Raises SpeechError if it was not prepared."""
        return to_seconds(len(self._samples(text)))

    def _samples(self, text: str) -> _Samples:
        found = self._clips.get(text)
        if found is None:
            found = self._clips.get(clean(text))
        if found is None:
            raise SpeechError(f'"{text}" was not rendered before the session; prepare it together with the others.')
        return found

    def _path(self, text: str) -> Path:
        key = hashlib.sha256(f"{self._renderer.identity}\n{text}".encode()).hexdigest()
        return self._folder / f"{key}.wav"

    def _keep(self, path: Path, samples: _Samples, new: list[Path]) -> None:
        """Write a clip and add its path to `new`; after the first refusal no other clip is written."""
        if self.unkept:
            return
        try:
            _write(path, samples)
        except OSError as refused:
            self.unkept = refused.strerror or str(refused)
            if refused.errno in _FULL:  # the remaining space is for the record
                for each in new:
                    each.unlink(missing_ok=True)
        else:
            new.append(path)

    def _prune(self, needed: set[Path]) -> None:
        """Delete the least recently used clips until the rest fits, but none of `needed`."""
        _sweep(self._folder)
        kept = []
        for path in self._folder.glob("*.wav"):
            with contextlib.suppress(OSError):  # another session may have deleted it
                status = path.stat()
                kept.append((status.st_mtime, status.st_size, path))
        total = sum(size for _, size, _ in kept)
        for _, size, path in sorted(kept):
            if total <= self._most:
                break
            if path not in needed:
                with contextlib.suppress(OSError):
                    path.unlink()
                    total -= size


def _write(path: Path, samples: _Samples) -> None:
    """Write a clip, whole or not at all; make its folder if it is missing."""
    make_folder(path.parent)
    handle, name = tempfile.mkstemp(dir=path.parent, prefix=_HALF)  # readable by its owner only
    half = Path(name)
    try:
        with os.fdopen(handle, "wb") as file:
            file.write(_packed(samples))
        half.replace(path)
    except BaseException:
        with contextlib.suppress(OSError):
            half.unlink()
        raise


def _sweep(folder: Path) -> None:
    """Delete the unfinished clips of killed processes."""
    for half in folder.glob(f"{_HALF}*"):
        with contextlib.suppress(OSError):
            if time.time() - half.stat().st_mtime > _STALE:
                half.unlink()


def _read(path: Path) -> _Samples | None:
    """Return the clip in the file, or None if it is missing or damaged."""
    try:
        data = path.read_bytes()
    except OSError:
        return None
    with contextlib.suppress(OSError):  # on a read-only disk the clip is still usable
        os.utime(path)  # mark it as used now
    size = len(data) - _HEADER.size - _CHECK.size
    if size <= 0 or size % 2 or data[: _HEADER.size] != _header(size):
        return None
    sound = data[_HEADER.size : _HEADER.size + size]
    if data[_HEADER.size + size :] != _check(sound):
        return None
    return np.frombuffer(sound, "<i2").astype(np.int16, copy=False)


# A plain WAV file (16 bit, mono) that any player opens; our own chunk after the sound holds a checksum.
_HEADER = struct.Struct("<4sI4s4sIHHIIHH4sI")
_CHECK = struct.Struct("<4sII")


def _packed(samples: _Samples) -> bytes:
    sound = samples.astype("<i2").tobytes()
    return _header(len(sound)) + sound + _check(sound)


def _header(size: int) -> bytes:
    whole = _HEADER.size - 8 + size + _CHECK.size
    return _HEADER.pack(b"RIFF", whole, b"WAVE", b"fmt ", 16, 1, 1, RATE, 2 * RATE, 2, 16, b"data", size)


def _check(sound: bytes) -> bytes:
    return _CHECK.pack(b"crc ", 4, zlib.crc32(sound))
