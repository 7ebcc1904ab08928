"""Close the files of sessions that died, and continue a file that exists."""

from __future__ import annotations

import os
from collections.abc import Callable
from datetime import datetime
from pathlib import Path
from typing import cast

from coach.errors import RecordError
from coach.logbook import files
from coach.logbook.assembled import assemble
from coach.logbook.lines import Reading, read_lines
from coach.logbook.reading import text_of
from coach.logbook.session_record import SetRecord
from coach.logbook.writing import ENDING, SessionStore
from coach.loglines.kinds import SessionEnded, SetEnded
from coach.loglines.reasons import WorkKind

Now = Callable[[], datetime]
"""Returns the time of day."""


def going_on(path: Path, handle: int, seed: str, now: Now) -> SessionStore:
    """Return a store that appends to an existing file, whose chain begins with `seed`.

    A torn tail is moved to a file beside it. Raises RecordError, and closes `handle`, if another command is writing.
    """
    try:
        raw = _claimed(path, handle)
    except BaseException:
        os.close(handle)
        raise
    whole = raw[: raw.rfind(b"\n") + 1]
    return SessionStore(path, handle, now, read_lines(text_of(whole), seed), whole)


def closed(path: Path, now: Now) -> bool:
    """Close a session's file if it lacks its end; return whether that was done.

    A session that still runs and a file that cannot be used are left alone. A torn tail is moved to a file beside it
    that ends in ".torn"; the chain continues from the last whole line.
    """
    try:
        if _is_ended(path):
            return False
        handle = files.open_file(path, adding=True)
    except (files.AbsentError, files.UnreadableError):
        return False
    with files.clear_errors(path, "write"):
        try:
            if not files.lock(handle):  # another process still runs it
                os.close(handle)
                return False
            raw = files.read_file(path)  # again, now that nobody else writes
            _set_aside(path, handle, raw)
        except (OSError, RecordError):
            os.close(handle)
            raise
    reading = read_lines(text_of(raw), path.name.removesuffix(ENDING))
    with SessionStore(path, handle, now, reading, raw[: raw.rfind(b"\n") + 1]) as store:
        return _closed_as_interrupted(store, reading)


def _closed_as_interrupted(store: SessionStore, reading: Reading) -> bool:
    """Write the end of a session that died; return False if it had no line (closing deletes its empty file)."""
    if not reading.lines:
        return False
    at = max(line.at for line in reading.lines)
    for one in assemble(reading.lines).sets:
        if not one.why:
            store.append(at, interrupted(one))
    because = "the program stopped in the middle; closed at the next start"
    store.append(at, SessionEnded("interrupted", None, because))
    return True


_LAST = 4096
"""Bytes at the end of a file to search first for its last line, which has 200 and may be followed by notes."""


def _is_ended(path: Path) -> bool:
    """Tell whether a file has its "session_ended" line. For most files it reads only their last lines."""
    last = files.read_end(path, _LAST)
    if _says_so(_holding(last[last.find(b"\n") + 1 : last.rfind(b"\n") + 1])):
        return True
    data = files.read_file(path)
    whole = data[: data.rfind(b"\n") + 1]
    return _says_so(_holding(whole)) or _says_so(whole)


def _holding(lines: bytes) -> bytes:
    """Return the lines that contain "session_ended" as plain text; JSON may also write it with escapes."""
    return b"".join(line + b"\n" for line in lines.split(b"\n") if b"session_ended" in line)


def _says_so(lines: bytes) -> bool:
    return any(line.kind == "session_ended" for line in read_lines(text_of(lines)).lines)


def _set_aside(path: Path, handle: int, raw: bytes) -> None:
    """Move what follows the last whole line into a file beside it."""
    good = raw.rfind(b"\n") + 1
    if good == len(raw):
        return
    beside, tail = path.with_name(path.name + ".torn"), raw[good:]
    try:
        kept = files.read_file(beside)
    except files.AbsentError:
        kept = b""
    if kept != tail and not kept.endswith(b"\n" + tail):  # else an earlier try died before the cut
        files.replace_file(beside, kept + b"\n" + tail if kept else tail)
    os.ftruncate(handle, good)
    os.fsync(handle)


def _claimed(path: Path, handle: int) -> bytes:
    """Lock a file, move its torn tail aside and return all it held. Raises RecordError if it is locked."""
    if not files.lock(handle):
        raise RecordError(f"Another command is writing {path}; try again.")
    raw = files.read_file(path)
    _set_aside(path, handle, raw)
    return raw


def interrupted(one: SetRecord) -> SetEnded:
    """Return the end of a set in which the program died."""
    return SetEnded(
        set_id=one.set_id,
        exercise=one.exercise,
        level=one.level,
        set=one.set,
        side=one.side,
        kind=cast("WorkKind", one.kind),  # it comes from a line of a set
        planned_low=one.planned_low,
        planned_high=one.planned_high,
        counted=None,
        tension_s=None,
        why="interrupted",
    )
