"""Write one session's file line by line; what the disk refuses is kept in memory and written later."""

from __future__ import annotations

import errno
import os
import tempfile
from collections.abc import Callable
from contextlib import suppress
from datetime import UTC, datetime
from pathlib import Path
from typing import Self

from coach.errors import RecordError
from coach.logbook import files
from coach.logbook.lines import Reading, encode, line_of, read_lines
from coach.loglines.kinds import Fact

ENDING = ".jsonl"

GONE = (FileNotFoundError, NotADirectoryError)


class SessionStore:
    """One session's file, with a copy in memory. A `ports.Store`.

    One thread may call `take` while another calls `flush`: `take` alone changes `_whole`, `flush` alone `_size`.
    """

    def __init__(
        self,
        path: Path,
        handle: int,
        now: Callable[[], datetime],
        reading: Reading | None = None,
        raw: bytes = b"",
    ) -> None:
        """Continue after `raw`, the whole lines in the file; `reading` is what they hold."""
        self.path = path
        self.session = path.name.removesuffix(ENDING)
        """The session's id, for the field "session" of its first line."""
        self.kept_at: Path | None = None
        """After closing: where the record is, if it could not be written to `path`; None: it is at `path`."""
        self.lost = ""
        """After closing: why the record could be kept nowhere; empty: it is kept."""
        reading = reading or read_lines("")
        self._handle: int | None = handle
        self._now = now
        self._n = reading.lines[-1].n if reading.lines else 0
        self.reached = max((line.at for line in reading.lines), default=0)
        """Highest sample in the file when it was opened."""
        self._chain = reading.chain or self.session
        self._whole = raw
        self._size = len(raw)
        """Bytes of `_whole` on the disk; anything beyond them is left from a failed write and is cut off."""

    @property
    def text(self) -> str:
        """All lines taken, on the disk or not."""
        return self._whole.decode("utf-8", "surrogateescape")

    def take(self, at: int, it: Fact) -> None:
        """Keep one line in memory. Raises RecordError if the file is closed."""
        if self._handle is None:
            raise RecordError(f"The record {self.path.name} is closed; begin a new session.")
        t = self._now().astimezone(UTC).isoformat(timespec="milliseconds").replace("+00:00", "Z")
        text, chain = encode(line_of(self._n + 1, t, at, it), self._chain)
        self._whole += text.encode("utf-8") + b"\n"
        self._n, self._chain = self._n + 1, chain

    def flush(self) -> None:
        """Write all lines taken so far to the disk, in order.

        Raises RecordError if the disk refuses; then no part of a line stays there, and the next call tries again.
        """
        with files.clear_errors(self.path, "write"):
            while self._size < len(self._whole):
                self._attach()
                rest = self._whole[self._size :]
                try:
                    self._write(rest)
                except OSError:
                    first = rest[: rest.index(b"\n") + 1]
                    if first == rest:
                        raise
                    self._write(first)  # a full disk may have room for one

    def append(self, at: int, it: Fact) -> None:
        """Take one line and write it to the disk. Raises RecordError, and forgets the line, if the disk refuses it."""
        before = self._n, self._chain, self._whole
        self.take(at, it)
        try:
            self.flush()
        except RecordError:
            self._n, self._chain, self._whole = before
            raise

    def close(self, *, reachable: bool = True) -> None:
        """Write what is left and close the file; delete an empty one. Does nothing if it is closed. Raises nothing.

        If the disk refuses, or is not `reachable`, the whole record goes into a private temporary folder: see `kept_at`
        and `lost`.
        """
        if self._handle is None:
            return
        if reachable:
            try:
                self.flush()
            except RecordError as refused:
                self._rescue(str(refused))
        else:
            self._rescue(f"Cannot write {self.path}: the disk does not answer.")
        handle, self._handle = self._handle, None
        if reachable:  # else a write still hangs in it
            os.close(handle)
            if not self._size:
                self._remove()

    def __enter__(self) -> Self:
        return self

    def __exit__(self, *_: object) -> None:
        self.close()

    def _write(self, data: bytes) -> None:
        assert self._handle is not None
        if os.fstat(self._handle).st_size > self._size:
            os.ftruncate(self._handle, self._size)
        files.write_whole(self._handle, data)
        self._size += len(data)

    def _attach(self) -> None:
        """Reopen or recreate the file if it has gone; raise OSError while its folder is gone.

        A folder that has gone is not recreated: its disk may be unplugged, or somebody has deleted it.
        """
        assert self._handle is not None
        try:
            there = self.path.stat()
        except GONE:
            there = None
        except OSError:  # no permission to look; the open file can still be written
            return
        if there is None:
            handle, raw = files.create(self.path), b""
        elif os.path.samestat(there, os.fstat(self._handle)):
            return
        else:
            handle = files.open_file(self.path, adding=True)
            raw = self.path.read_bytes()
        if not files.lock(handle) or not self._whole.startswith(raw):
            os.close(handle)
            raise OSError(errno.EEXIST, "another file is in its place")
        os.close(self._handle)
        self._handle, self._size = handle, len(raw)

    def _rescue(self, why: str) -> None:
        """Keep the whole record in a private temporary folder."""
        if not self._whole:
            return
        try:
            folder = Path(tempfile.mkdtemp(prefix="session-record-"))
            files.replace_file(folder / self.path.name, self._whole)
        except OSError:
            self.lost = why
        else:
            self.kept_at = folder / self.path.name

    def _remove(self) -> None:
        with suppress(OSError):  # an empty file left behind does no harm
            self.path.unlink(missing_ok=True)
