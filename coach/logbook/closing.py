"""Close sessions that died as interrupted, and continue a file that is already there."""

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
"""The time of day."""


def going_on(path: Path, handle: int, seed: str, now: Now) -> SessionStore:
    """Return what adds to a file that is there, whose chain begins with `seed`; its torn tail is kept beside it.

    Raises RecordError if another command writes it just now. `handle` is closed then.
    """
    try:
        raw = _claimed(path, handle)
    except BaseException:
        os.close(handle)
        raise
    whole = raw[: raw.rfind(b"\n") + 1]
    return SessionStore(path, handle, now, read_lines(text_of(whole), seed), whole)


def closed(path: Path, now: Now) -> bool:
    """Tell whether a session's file was closed now, since it lacked its end.

    One that still runs, or whose file cannot be used, is left alone. A torn tail is kept beside the file, in one that
    ends in ".torn"; the chain goes on from the last whole line.
    """
    try:
        if _is_ended(path):
            return False
        handle = files.open_file(path, adding=True)
    except (files.AbsentError, files.UnreadableError):
        return False
    with files.clear_errors(path, "write"):
        try:
            if not files.lock(handle):  # it still runs, in another process
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
    """Write the end of a session that died; False if none had begun (its empty file goes away when closed)."""
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
"""Bytes at the end of a file among which its end is looked for first: its line has 200, and remarks may follow it."""


def _is_ended(path: Path) -> bool:
    """Tell whether a line of a file says so. Most files are not read for it but for their last lines."""
    last = files.read_end(path, _LAST)
    if _says_so(_holding(last[last.find(b"\n") + 1 : last.rfind(b"\n") + 1])):
        return True
    data = files.read_file(path)
    whole = data[: data.rfind(b"\n") + 1]
    return _says_so(_holding(whole)) or _says_so(whole)


def _holding(lines: bytes) -> bytes:
    """Return those of the lines that hold the word; it may be written with codes, too."""
    return b"".join(line + b"\n" for line in lines.split(b"\n") if b"session_ended" in line)


def _says_so(lines: bytes) -> bool:
    return any(line.kind == "session_ended" for line in read_lines(text_of(lines)).lines)


def _set_aside(path: Path, handle: int, raw: bytes) -> None:
    """Move what stands after the last whole line into a file beside it."""
    good = raw.rfind(b"\n") + 1
    if good == len(raw):
        return
    beside, tail = path.with_name(path.name + ".torn"), raw[good:]
    try:
        kept = files.read_file(beside)
    except files.AbsentError:
        kept = b""
    if kept != tail and not kept.endswith(b"\n" + tail):  # else it died before the tail was cut off, and comes again
        files.replace_file(beside, kept + b"\n" + tail if kept else tail)
    os.ftruncate(handle, good)
    os.fsync(handle)


def _claimed(path: Path, handle: int) -> bytes:
    """Take a file for this process, its torn tail set aside; return what it held. Raises RecordError if it is taken."""
    if not files.lock(handle):
        raise RecordError(f"Another command writes {path} just now; try again.")
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
        kind=cast("WorkKind", one.kind),  # it was taken from a line of a set
        planned_low=one.planned_low,
        planned_high=one.planned_high,
        counted=None,
        tension_s=None,
        why="interrupted",
    )
