"""Keep what a person's session files came to, so that they need not be put together again.

One file in the person's folder, which may go at any time: it only saves time. A row has a key, a seal, a brief and a
record. The key is the SHA-256 of the session's id and of the bytes of its file, which are read and hashed on each use:
a file that was changed has no row; nor has one that anything is wrong with. The seal is that of key, brief, record and
the source that they come from: a row that was damaged, or written by another version, counts for nothing. The record is
unpacked when somebody asks for it. The newest sessions, on which levels and amounts rest above all, are put together
from their files in each process. A row that says other than its file does away with all rows.

The seal keeps no secret, as that of a session's file keeps none: whoever may write in the folder can write both anew.
"""

from __future__ import annotations

import os
import stat
from collections.abc import Iterable, Sequence
from contextlib import suppress
from functools import cache, cached_property, partial
from hashlib import sha256
from pathlib import Path

from coach.errors import RecordError
from coach.logbook import files
from coach.logbook.fields import UnfitField
from coach.logbook.logged import Brief, LoggedSession
from coach.logbook.packed import pack, unpack
from coach.logbook.reading import Held, History, hold_anew, id_of, read_history, uncollected
from coach.logbook.session_record import SessionRecord
from coach.loglines import kinds
from coach.program import model
from coach.progress import HowFar
from coach.session import past, plan

NAME = ".records"
"""Of the file; the dot keeps it out of what is handed over."""
NEWEST = 12
"""Sessions that are always put together from their files: more than a step up or an amount looks back on, in 50 ms."""
LARGEST = 64 * files.MIB
"""Bytes of the file at most: a row has 4 kB, and a session a day for forty years makes 15,000."""


class Cache:
    """The rows of one person. What the disk refuses is done without."""

    def __init__(self, path: Path) -> None:
        self._path = path
        self._known: dict[str, Held] = {}
        """What this process has put together or taken from a row, by key."""
        self._on_disk = 0
        """Bytes of the file."""

    def history(self, paths: Iterable[Path], *, sound: bool, tell: HowFar) -> History:
        """Return what `read_history` would."""
        ordered = sorted(paths)
        if len(ordered) <= NEWEST:
            return read_history(ordered, sound=sound)
        used: list[str] = []

        def hold(path: Path, data: bytes) -> Held:
            key = _key(data, id_of(path))
            used.append(key)
            if key not in self._known:
                self._known[key] = self.taken(key, path) or hold_anew(path, data)
            tell(len(used), len(ordered))
            return self._known[key]

        with uncollected():
            try:
                self._prove(ordered[-NEWEST:])
                return read_history(ordered, sound=sound, hold=hold)
            finally:  # also of what was begun and broken off
                self._keep(used)

    def taken(self, key: str, path: Path) -> Held | None:
        """Return what the row of a key holds; None if there is none that is good. `path` is the session's file."""
        row = self._rows.get(key)
        if row is None:
            return None
        sealed, _, packed = row.partition(b" ")
        if sealed == _seal(key, packed):
            brief, _, record = packed.partition(_BETWEEN)
            with suppress(UnfitField, UnicodeDecodeError):
                known = unpack(Brief, brief.decode("utf-8"))
                return Held((), LoggedSession(known, partial(_record, key, path, record)))
        del self._rows[key]
        return None

    def _prove(self, newest: Sequence[Path]) -> None:
        """Put sessions together from their files; a row that says other than its file takes all others with it."""
        proven: dict[str, Held] = {}
        honest = True
        for path in newest:
            with suppress(RecordError):
                data = files.read_file(path)
                key = _key(data, id_of(path))
                if key not in self._known:
                    proven[key] = hold_anew(path, data)
                    made = _row(key, proven[key])
                    honest = honest and self._rows.get(key, made) == made
        if not honest:
            self._rows.clear()
            self._known.clear()
        self._known |= proven

    @cached_property
    def _rows(self) -> dict[str, bytes]:
        """The rows of the file, by key."""
        try:
            data = files.read_file(self._path, LARGEST)
        except RecordError:
            return {}
        self._on_disk = len(data)
        rows = (one.partition(b" ") for one in data.split(b"\n"))
        return {key.decode("ascii", "replace"): row for key, _, row in rows if row}

    def _keep(self, used: Sequence[str]) -> None:
        """Bring the rows of `used` onto the disk: behind the others, or anew where most of the file is of no use."""
        missing = [key for key in used if key not in self._rows]
        for key in missing:
            self._rows[key] = _row(key, self._known[key])
        good = sum(len(key) + 1 + len(self._rows[key]) + 1 for key in used)
        new = self._lines(missing)
        useless = self._on_disk + len(new) - good
        if good > LARGEST or (not new and useless <= good):
            return
        with suppress(OSError):
            if useless > good or not self._appended(new):
                self._path.unlink(missing_ok=True)  # a link goes, what it leads to stays as it is
                new, self._on_disk = self._lines(used), 0
                with os.fdopen(files.create(self._path), "wb") as file:
                    file.write(new)
            self._on_disk += len(new)

    def _lines(self, keys: Iterable[str]) -> bytes:
        rows = ((key, self._rows[key]) for key in keys)
        return b"".join(key.encode("ascii") + b" " + row + b"\n" for key, row in rows if row)

    def _appended(self, new: bytes) -> bool:
        """Add rows to the file if it is one of ours alone; two processes may do so at once."""
        ours = os.O_WRONLY | os.O_APPEND | getattr(os, "O_NOFOLLOW", 0) | getattr(os, "O_NONBLOCK", 0)
        try:
            handle = os.open(self._path, ours | getattr(os, "O_BINARY", 0))
        except OSError:
            return False
        with os.fdopen(handle, "wb") as file:
            status = os.fstat(handle)
            private = os.name == "nt" or not status.st_mode & (stat.S_IRWXG | stat.S_IRWXO)
            if not (stat.S_ISREG(status.st_mode) and status.st_nlink == 1 and private):
                return False
            file.write(b"\n" + new)  # the row before it may have been torn off
            return True


_BETWEEN = b"\t"
"""Between brief and record; within JSON it is written otherwise."""


def _key(data: bytes, named: str) -> str:
    key = sha256(os.fsencode(named) + b"\0")
    key.update(data)
    return key.hexdigest()


def _row(key: str, found: Held) -> bytes:
    """Return a row without its key; empty where there is to be none."""
    if found.problems or found.session is None:
        return b""
    try:
        packed = _BETWEEN.join(pack(one).encode("utf-8") for one in (found.session.brief, found.session.record))
    except UnicodeEncodeError:  # the name of the file is none that can be told
        return b""
    return _seal(key, packed) + b" " + packed


def _record(key: str, path: Path, packed: bytes) -> SessionRecord:
    """Return the record of a row; where it holds none that could be, that of the file, if it is as it was."""
    with suppress(UnfitField, UnicodeDecodeError):
        return _sensible(unpack(SessionRecord, packed.decode("utf-8")))
    data = files.read_file(path)
    found = hold_anew(path, data).session if _key(data, id_of(path)) == key else None
    if found is None:
        raise RecordError(f"{path} was changed just now, or {NAME} in the folder above it: delete that, and try again.")
    return found.record


def _seal(key: str, packed: bytes) -> bytes:
    return sha256(_source() + key.encode("ascii") + packed).hexdigest().encode("ascii")


@cache
def _source() -> bytes:
    """Return the digest of the source that puts records together: what another version of it made is not taken."""
    folders = (Path(__file__).parent, Path(kinds.__file__).parent)
    others = (Path(module.__file__ or "") for module in (past, plan, model))  # for a type and two constants
    sources = (*(path for folder in folders for path in sorted(folder.glob("*.py"))), *others)
    return sha256(b"\0".join(path.read_bytes() for path in sources)).digest()


def _sensible(record: SessionRecord) -> SessionRecord:
    """Return a record. Raises UnfitField if it is nothing that could have been put together from lines."""
    if not (record.rate > 0 and record.seconds >= 0 and record.parts == 1):
        raise UnfitField("is no record of a file")
    return record
