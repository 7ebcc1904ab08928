"""Cache a person's assembled sessions, because assembling them from their files takes time.

The cache is one file in the person's folder and may be deleted at any time. A row has a key, a seal, a brief, a tally
and a record; the last two are unpacked only on demand:
- The key is the SHA-256 of the session's id and of its file's bytes. Every use reads and hashes the file, so a changed
  file has no row. A file with problems has none either.
- The seal is the SHA-256 of key, brief, tally, record and the source code that made them. A damaged row, or one from
  another version of the program, is ignored.
Each process assembles the newest sessions from their files, because levels and amounts rest on them most. If a row
differs from its file, all rows are dropped.

The seal is no secret: whoever may write in the folder can forge it, like the chain of a session's file.
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
from coach.logbook.tallied import Tally
from coach.loglines import kinds
from coach.program import model
from coach.progress import HowFar
from coach.session import past, plan

NAME = ".records"
"""Name of the file; because of its dot a handover leaves it out."""
NEWEST = 12
"""Sessions always assembled from their files: more than a step up or an amount looks back on."""
LARGEST = 96 * files.MIB
"""Most bytes of the file: 15,000 rows of 5 kB, a session a day for forty years."""


class Cache:
    """The rows of one person. Works without the file if the disk refuses it."""

    def __init__(self, path: Path) -> None:
        self._path = path
        self._known: dict[str, Held] = {}
        """What this process has assembled or taken from a row, by key."""
        self._on_disk = 0
        """Size of the file in bytes."""

    def history(self, paths: Iterable[Path], *, sound: bool, tell: HowFar) -> History:
        """Return the same as `read_history`; `tell` is called for each file, with its number and their count."""
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
            finally:  # even after an interrupt
                self._keep(used)

    def taken(self, key: str, path: Path) -> Held | None:
        """Return what the row of a key holds; None if it has no valid row. `path` is the session's file."""
        row = self._rows.get(key)
        if row is None:
            return None
        sealed, _, packed = row.partition(b" ")
        if sealed == _seal(key, packed):
            with suppress(UnfitField, UnicodeDecodeError, ValueError):
                brief, tally, record = packed.split(_BETWEEN)
                known = unpack(Brief, brief.decode("utf-8"))
                session = LoggedSession(known, partial(_record, key, path, record), partial(_tally, key, path, tally))
                return Held((), session)
        del self._rows[key]
        return None

    def _prove(self, newest: Sequence[Path]) -> None:
        """Assemble sessions from their files; if a row differs from its file, drop all rows."""
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
        """Write the rows of `used`: append what is missing, or rewrite a file of which most is useless."""
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
                self._path.unlink(missing_ok=True)  # removes a link, not its target
                new, self._on_disk = self._lines(used), 0
                with os.fdopen(files.create(self._path), "wb") as file:
                    file.write(new)
            self._on_disk += len(new)

    def _lines(self, keys: Iterable[str]) -> bytes:
        rows = ((key, self._rows[key]) for key in keys)
        return b"".join(key.encode("ascii") + b" " + row + b"\n" for key, row in rows if row)

    def _appended(self, new: bytes) -> bool:
        """Append rows if the file is regular and private; two processes may do so at once. Return whether it worked."""
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
            file.write(b"\n" + new)  # the row before may be incomplete
            return True


_BETWEEN = b"\t"
"""Separates brief, tally and record; JSON writes a tab as \\t."""


def _key(data: bytes, named: str) -> str:
    key = sha256(os.fsencode(named) + b"\0")
    key.update(data)
    return key.hexdigest()


def _row(key: str, found: Held) -> bytes:
    """Return a row without its key; empty if the file has problems or holds no session."""
    if found.problems or found.session is None:
        return b""
    try:
        parts = (found.session.brief, found.session.tally, found.session.record)
        packed = _BETWEEN.join(pack(one).encode("utf-8") for one in parts)
    except UnicodeEncodeError:  # the file's name is not valid text
        return b""
    return _seal(key, packed) + b" " + packed


def _record(key: str, path: Path, packed: bytes) -> SessionRecord:
    """Return the record of a row, or if the row is unusable, of its file.

    Raises RecordError if the file was changed since.
    """
    with suppress(UnfitField, UnicodeDecodeError):
        return _sensible(unpack(SessionRecord, packed.decode("utf-8")))
    return _of_file(key, path).record


def _tally(key: str, path: Path, packed: bytes) -> Tally:
    """Return the tally of a row, as `_record` does."""
    with suppress(UnfitField, UnicodeDecodeError):
        return unpack(Tally, packed.decode("utf-8"))
    return _of_file(key, path).tally


def _of_file(key: str, path: Path) -> LoggedSession:
    data = files.read_file(path)
    found = hold_anew(path, data).session if _key(data, id_of(path)) == key else None
    if found is None:
        raise RecordError(f"{path} was just changed, or {NAME} above it is damaged: delete {NAME}, then try again.")
    return found


def _seal(key: str, packed: bytes) -> bytes:
    return sha256(_source() + key.encode("ascii") + packed).hexdigest().encode("ascii")


@cache
def _source() -> bytes:
    """Return the digest of the source that assembles records: rows of another version are ignored."""
    folders = (Path(__file__).parent, Path(kinds.__file__).parent)
    others = (Path(module.__file__ or "") for module in (past, plan, model))  # for a type and two constants
    sources = (*(path for folder in folders for path in sorted(folder.glob("*.py"))), *others)
    return sha256(b"\0".join(path.read_bytes() for path in sources)).digest()


def _sensible(record: SessionRecord) -> SessionRecord:
    """Return `record`. Raises UnfitField if no file's lines could give it."""
    if not (record.rate > 0 and record.seconds >= 0 and record.parts == 1):
        raise UnfitField("is not the record of a file")
    return record
