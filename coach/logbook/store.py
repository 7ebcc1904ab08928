"""Where people and their sessions are kept: one folder a person, one file a session."""

from __future__ import annotations

import json
import os
import re
from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass, replace
from datetime import UTC, datetime
from pathlib import Path
from typing import Any, Self

from coach.errors import RecordError, UnknownPersonError
from coach.logbook import files
from coach.logbook.assembled import SessionRecord, SetRecord, assemble
from coach.logbook.record import Line, Reading, encode, read_lines

_ID = re.compile(r"[a-z0-9_-]{1,40}")
STAMP = "%Y%m%dt%H%M%Sz"
ENDING = ".jsonl"


def default_home() -> Path:
    """Return the folder where this system keeps a person's data."""
    from platformdirs import user_data_path

    return user_data_path("home-session-coach", appauthor=False)


def wall_clock() -> datetime:
    """Return the time of day; the logbook's only clock, unless another is handed in."""
    return datetime.now(UTC)


@dataclass(frozen=True, slots=True)
class Person:
    """Somebody who is coached here."""

    id: str
    name: str
    """What they like to be called; may be empty."""
    folder: Path

    @property
    def takes(self) -> Path:
        """Where the taught words are kept, as numbers; it need not exist."""
        return self.folder / "takes"

    @property
    def sessions(self) -> Path:
        """Where the files of the sessions are; it need not exist."""
        return self.folder / "sessions"


@dataclass(frozen=True, slots=True)
class FileProblem:
    """Something in a session's file that should not be so."""

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

    records: tuple[SessionRecord, ...]
    problems: tuple[FileProblem, ...]


class SessionStore:
    """Write one session's file, a line at a time; each is on the disk when `append` returns. A `ports.Store`."""

    def __init__(self, path: Path, handle: int, now: Callable[[], datetime], reading: Reading) -> None:
        self.path = path
        self.session = path.name.removesuffix(ENDING)
        """The session's id, for the field "session" of its first line."""
        self._handle: int | None = handle
        self._now = now
        self._n = reading.lines[-1].n if reading.lines else 0
        self._chain = reading.chain or self.session
        self._begun = bool(reading.lines)

    def append(self, kind: str, at: int, fields: Mapping[str, Any]) -> None:
        """Write one line and make sure it is on the disk.

        Raises RecordError if it does not fit its kind, or if the disk refuses it; then nothing of it is in the file.
        """
        if self._handle is None:
            raise RecordError(f"The record {self.path.name} is closed; begin a new session.")
        t = self._now().astimezone(UTC).isoformat(timespec="milliseconds").replace("+00:00", "Z")
        text, chain = encode(Line(self._n + 1, t, at, kind, fields), self._chain)
        with files.clear_errors(self.path, "write"):
            files.write_whole(self._handle, text.encode("utf-8") + b"\n")
        self._n, self._chain, self._begun = self._n + 1, chain, True

    def close(self) -> None:
        """Finish the file; one in which nothing was written goes away. Harmless if it is closed already."""
        if self._handle is None:
            return
        os.close(self._handle)
        self._handle = None
        if not self._begun:
            self.path.unlink(missing_ok=True)

    def __enter__(self) -> Self:
        return self

    def __exit__(self, *_: object) -> None:
        self.close()


class Home:
    """The folder that holds all data of this program."""

    def __init__(self, root: Path, now: Callable[[], datetime] = wall_clock) -> None:
        self.root = root
        self._now = now

    @property
    def clips(self) -> Path:
        """Where the rendered phrases are kept; it need not exist."""
        return self.root / "clips"

    def people(self) -> tuple[str, ...]:
        """Return the ids of the people here, in order."""
        folder = self.root / "people"
        with files.clear_errors(folder, "read"):
            if not folder.is_dir():
                return ()
            return tuple(sorted(path.name for path in folder.iterdir() if path.is_dir() and _ID.fullmatch(path.name)))

    def person(self, person_id: str) -> Person:
        """Return the person of that id. Raises UnknownPersonError, which lists who there is and what to do."""
        folder = self._folder(person_id)
        known = self.people()
        if person_id not in known:
            there = "There are: " + ", ".join(known) if known else "Nobody is here yet"
            raise UnknownPersonError(
                f'Nobody called "{person_id}" in {self.root}. {there}; add them with: coach enrol {person_id}'
            )
        return Person(person_id, _name(folder / "person.json"), folder)

    def add_person(self, person_id: str, name: str = "") -> Person:
        """Make a place for a person; somebody who is here already stays, and gets the new name if one is given."""
        folder = self._folder(person_id)
        known = folder / "person.json"
        with files.clear_errors(folder, "write"):
            files.make_folder(folder / "sessions")
            if name or not known.is_file():
                held = {"v": 1, "id": person_id, "name": name, "added": self._now().astimezone(UTC).isoformat()}
                files.replace_file(known, json.dumps(held, ensure_ascii=False).encode("utf-8", "replace"))
        return self.person(person_id)

    def begin(self, person_id: str) -> SessionStore:
        """Create the file of a new session. Its first line is "session_begun" with the store's `session` in it."""
        sessions = self.person(person_id).sessions
        stamp = self._now().astimezone(UTC).strftime(STAMP)
        with files.clear_errors(sessions, "write"):
            files.make_folder(sessions)
            number = 1
            while True:
                path = sessions / f"{stamp}-{number}{ENDING}"
                try:
                    handle = files.create(path)
                except FileExistsError:
                    number += 1
                    continue
                if not files.lock(handle) or not path.exists():  # another start took it for one that died
                    os.close(handle)
                    number += 1
                    continue
                files.sync_folder(sessions)
                return SessionStore(path, handle, self._now, read_lines(""))

    def close_broken(self, person_id: str) -> tuple[str, ...]:
        """Close the sessions that died as interrupted; return their ids. A session that still runs is left alone.

        A torn tail is kept beside the file, in one that ends in ".torn"; the chain goes on from the last whole line.
        """
        return tuple(path.name.removesuffix(ENDING) for path in self._paths(person_id) if self._closed_now(path))

    def history(self, person_id: str) -> History:
        """Return all sessions of a person. Never fails because of what a file holds."""
        return read_history(self._paths(person_id))

    def check_id(self, person_id: str) -> None:
        """Raise RecordError if nobody can have this id."""
        if not _ID.fullmatch(person_id):
            raise RecordError(
                f'"{person_id}" cannot be the id of a person: use 1 to 40 small letters a-z, digits, "-" or "_".'
            )

    def _folder(self, person_id: str) -> Path:
        self.check_id(person_id)
        return self.root / "people" / person_id

    def _paths(self, person_id: str) -> list[Path]:
        sessions = self.person(person_id).sessions
        with files.clear_errors(sessions, "read"):
            return sorted(sessions.glob("*" + ENDING))

    def _closed_now(self, path: Path) -> bool:
        with files.clear_errors(path, "read"):
            raw = path.read_bytes()
        if _is_ended(read_lines(_text(raw)).lines):
            return False
        with files.clear_errors(path, "write"):
            handle = files.reopen(path)
            try:
                if not files.lock(handle):  # it still runs, in another process
                    os.close(handle)
                    return False
                raw = path.read_bytes()  # again, now that nobody else writes
                _set_aside(path, handle, raw)
            except OSError:
                os.close(handle)
                raise
        reading = read_lines(_text(raw), path.name.removesuffix(ENDING))
        with SessionStore(path, handle, self._now, reading) as store:
            return _closed_as_interrupted(store, reading)


def _closed_as_interrupted(store: SessionStore, reading: Reading) -> bool:
    """Write the end of a session that died; False if none had begun (its empty file goes away when closed)."""
    if not reading.lines:
        return False
    at = max(line.at for line in reading.lines)
    for one in assemble(reading.lines).sets:
        if not one.why:
            store.append("set_ended", at, _interrupted(one))
    because = "the program stopped in the middle; closed at the next start"
    store.append("session_ended", at, {"why": "interrupted", "next_in_days": None, "because": because})
    return True


def read_history(paths: Iterable[Path]) -> History:
    """Read session files, in any order, into one history. Never fails because of what a file holds."""
    records: list[SessionRecord] = []
    problems: list[FileProblem] = []
    for path in sorted(paths):
        with files.clear_errors(path, "read"):
            reading = read_lines(_text(path.read_bytes()), path.name.removesuffix(ENDING))
        problems += [FileProblem(path, problem.line, problem.text) for problem in reading.problems]
        if reading.lines:
            record = assemble(reading.lines)
            records.append(replace(record, session=record.session or path.name.removesuffix(ENDING)))
        else:
            problems.append(FileProblem(path, 0, "holds no session"))
    records.sort(key=lambda record: (record.began, record.session))
    return History(tuple(records), tuple(problems))


def _is_ended(lines: Iterable[Line]) -> bool:
    return any(line.kind == "session_ended" for line in lines)


def _set_aside(path: Path, handle: int, raw: bytes) -> None:
    """Move what stands after the last whole line into a file beside it."""
    good = raw.rfind(b"\n") + 1
    if good == len(raw):
        return
    files.replace_file(path.with_name(path.name + ".torn"), raw[good:])
    os.ftruncate(handle, good)
    os.fsync(handle)


def _interrupted(one: SetRecord) -> dict[str, Any]:
    return {
        "set_id": one.set_id,
        "exercise": one.exercise,
        "level": one.level,
        "set": one.set,
        "side": one.side,
        "kind": one.kind,
        "planned_low": one.planned_low,
        "planned_high": one.planned_high,
        "counted": None,
        "tension_s": None,
        "why": "interrupted",
    }


def _name(path: Path) -> str:
    """Return the name in a person's file; empty if it holds none."""
    try:
        held = json.loads(path.read_text("utf-8"))
    except (OSError, ValueError):
        return ""
    name = held.get("name") if isinstance(held, dict) else None
    return name if isinstance(name, str) else ""


def _text(raw: bytes) -> str:
    """Return the text of a file; a byte that is no UTF-8 becomes a sign that no line was written with."""
    return raw.decode("utf-8", "surrogateescape")
