"""Read the files of a person's sessions into one history; what cannot be read is reported and left out."""

from __future__ import annotations

import gc
from collections.abc import Callable, Iterable, Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, replace
from datetime import UTC, datetime
from pathlib import Path

from coach.logbook import files
from coach.logbook.assembled import assemble
from coach.logbook.lines import Line, Problem, read_lines
from coach.logbook.logged import Brief, LoggedSession, logged
from coach.logbook.session_record import SessionRecord
from coach.logbook.writing import ENDING
from coach.session.past import PastSession

STAMP = "%Y%m%dt%H%M%Sz"
"""Format of the time, UTC, with which the name of a session's file begins."""


@dataclass(frozen=True, slots=True)
class FileProblem:
    """Something wrong in a person's file."""

    path: Path
    line: int
    """Number of the line, from 1; 0: the whole file."""
    text: str

    def __str__(self) -> str:
        where = f"{self.path.name}:{self.line}" if self.line else self.path.name
        return f"{where} {self.text}."


@dataclass(frozen=True, slots=True)
class History:
    """All sessions of a person, oldest first, and what is wrong with their files."""

    sessions: tuple[LoggedSession, ...]
    problems: tuple[FileProblem, ...]
    paths: tuple[Path, ...] = ()
    """The file of each session."""
    unread: tuple[PastSession, ...] = ()
    """A placeholder for each file that may hold a session but cannot be read."""

    @property
    def briefs(self) -> tuple[Brief, ...]:
        """The briefs of the sessions."""
        return tuple(one.brief for one in self.sessions)

    @property
    def records(self) -> tuple[SessionRecord, ...]:
        """The whole record of every session. If you need only a few, ask each session for its own."""
        with uncollected():
            return tuple(one.record for one in self.sessions)


@contextmanager
def uncollected() -> Iterator[None]:
    """Turn garbage collection off meanwhile: with a million small values that all stay it takes a third of the time."""
    collecting = gc.isenabled()
    gc.disable()
    try:
        yield
    finally:
        if collecting:
            gc.enable()


@dataclass(frozen=True, slots=True)
class Held:
    """What the bytes of a session's file hold."""

    problems: tuple[Problem, ...]
    session: LoggedSession | None
    """The session of all its lines; None: it has no line."""
    suspect: bool = False
    """Whether any of its lines has a problem."""
    sound: LoggedSession | None = None
    """If so, the session without those lines."""


@dataclass(frozen=True, slots=True)
class SessionFile:
    """What one file among the sessions holds."""

    session: LoggedSession | None
    problems: tuple[FileProblem, ...]
    unread: PastSession | None = None


def held(data: bytes, named: str) -> Held:
    """Assemble what the bytes of a session's file hold; `named` is the session's id from the file's name."""
    reading = read_lines(text_of(data), named)

    def session(lines: Sequence[Line]) -> LoggedSession | None:
        if not lines:
            return None
        made = replace(assemble(lines), doubtful=bool(reading.problems))
        return logged(replace(made, session=made.session or named))

    whole = session(reading.lines)
    if not reading.suspect:
        return Held(reading.problems, whole)
    sound = [line for index, line in enumerate(reading.lines) if index not in reading.suspect]
    return Held(reading.problems, whole, suspect=True, sound=session(sound))


HoldFile = Callable[[Path, bytes], Held]
"""Returns what the bytes of the file at a path hold: `hold_anew`, or a cached version of it."""


def hold_anew(path: Path, data: bytes) -> Held:
    """Assemble what the bytes of a file hold."""
    return held(data, id_of(path))


def id_of(path: Path) -> str:
    """Return the session's id from the name of its file."""
    return path.name.removesuffix(ENDING)


def read_history(paths: Iterable[Path], *, sound: bool = False, hold: HoldFile = hold_anew) -> History:
    """Read session files, in any order, into one history. Never fails, whatever a file is or holds.

    With `sound`, lines with a problem (changed, of a newer version, in the wrong place) are left out.
    """
    read = [(read_session(path, sound=sound, hold=hold), path) for path in sorted(paths)]
    known = [(one.session, path) for one, path in read if one.session is not None]
    known.sort(key=lambda one: (one[0].brief.began, one[0].brief.session, one[1].name))
    return History(
        tuple(session for session, _ in known),
        tuple(problem for one, _ in read for problem in one.problems),
        tuple(path for _, path in known),
        tuple(one.unread for one, _ in read if one.unread is not None),
    )


def read_session(path: Path, *, sound: bool = False, hold: HoldFile = hold_anew) -> SessionFile:
    """Read one file; `sound` as in `read_history`. Never fails, whatever the file is or holds."""
    try:
        data = files.read_file(path)
    except files.AbsentError:  # it was just deleted
        return SessionFile(None, ())
    except files.UnreadableError as error:
        return SessionFile(None, (unreadable(path, error),), lost_session(path))
    found = hold(path, data)
    problems = tuple(FileProblem(path, problem.line, problem.text) for problem in found.problems)
    session = found.sound if sound and found.suspect else found.session
    if session is None:
        lost = lost_session(path) if data else None
        return SessionFile(None, (*problems, FileProblem(path, 0, "holds no session")), lost)
    return SessionFile(session, problems)


def unreadable(path: Path, error: files.UnreadableError, meanwhile: str = "counts for nothing") -> FileProblem:
    """Return the problem of an unreadable file; `meanwhile` says what becomes of it until it can be read."""
    return FileProblem(path, 0, f"cannot be read ({error.why}): allow access to it; until then it {meanwhile}")


def text_of(data: bytes) -> str:
    """Return the text of a file; bytes that are not UTF-8 become surrogates, which no line contains."""
    return data.decode("utf-8", "surrogateescape")


def lost_session(path: Path) -> PastSession:
    """Return a placeholder for the session in an unreadable file, dated by its name or else its last change."""
    named = id_of(path)
    try:
        began = datetime.strptime(named.rpartition("-")[0], STAMP).replace(tzinfo=UTC)
    except ValueError:
        began = datetime.fromtimestamp(path.lstat().st_mtime, UTC)
    day = began.astimezone().date()
    return PastSession(day, "", (), began.isoformat(timespec="milliseconds"), session=named, unread=True)
