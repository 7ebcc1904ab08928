"""Keep people and their sessions: one folder per person, one file per session."""

from __future__ import annotations

import json
import os
import re
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager, suppress
from dataclasses import dataclass, fields, replace
from datetime import UTC, date, datetime
from hashlib import sha256
from pathlib import Path

from coach.errors import RecordError, UnknownPersonError
from coach.logbook import cached, files
from coach.logbook.closing import closed, going_on
from coach.logbook.decisions import DecisionLines, decided
from coach.logbook.lines import read_lines
from coach.logbook.reading import STAMP, FileProblem, History, id_of, text_of, unreadable
from coach.logbook.writing import ENDING, SessionStore
from coach.loglines.changes import Decided, ProgramVersion
from coach.loglines.goals import GoalChange
from coach.loglines.kinds import Note
from coach.loglines.safety import Cleared, PlacedOnHold
from coach.progress import HowFar

_ID = re.compile(r"[a-z0-9_-]{1,40}")
RESERVED = re.compile(r"(con|nul|aux|prn|com[0-9]|lpt[0-9])|-.*")
"""Ids that no new person gets: device names on some systems, and anything that looks like a command's option."""
PEOPLE = "people"
"""The folder in a home with one folder per person."""
SESSIONS = "sessions"
"""The folder in a person's folder with one file per session."""
NAMED = "person.json"
"""The file in a person's folder with the name they like to be called."""
_OF_DIGEST = 12
"""Hex digits of a program's digest in the name of its copy."""
_LONGEST_NAME = 60
"""Most characters of a program's id in the name of its copy; with 4 bytes each, every file system takes it."""


def default_home() -> Path:
    """Return the folder where this system keeps a user's data."""
    from platformdirs import user_data_path

    return user_data_path("home-session-coach", appauthor=False)


def wall_clock() -> datetime:
    """Return the present time in UTC: the logbook's only clock, unless it is given another."""
    return datetime.now(UTC)


@dataclass(frozen=True, slots=True)
class Person:
    """A person in a home. Their paths need not exist, except `folder`."""

    id: str
    name: str
    """What they like to be called; may be empty."""
    folder: Path
    problems: tuple[FileProblem, ...] = ()
    """What is wrong with the file of the name."""

    @property
    def takes(self) -> Path:
        """The folder of the taught words, kept as numbers."""
        return self.folder / "takes"

    @property
    def sessions(self) -> Path:
        """The folder of the session files."""
        return self.folder / SESSIONS

    @property
    def decisions(self) -> Path:
        """The file of the clinician's decisions and the program versions used."""
        return self.folder / "decisions.jsonl"

    def kept_program(self, program_id: str, digest: str) -> Path:
        """Return the path for the copy of a program file that a session ran."""
        name = "".join(sign if sign.isalnum() or sign in "-_" else "_" for sign in program_id)[:_LONGEST_NAME]
        return self.folder / "programs" / f"{name}-{digest[:_OF_DIGEST]}.yaml"


@dataclass(frozen=True, slots=True)
class Decisions(DecisionLines):
    """The decisions about a person, in the order of the file, and what is wrong with the file."""

    problems: tuple[FileProblem, ...] = ()


class Home:
    """The folder that holds all data of this program."""

    def __init__(self, root: Path, now: Callable[[], datetime] = wall_clock, tell: HowFar = lambda *_: None) -> None:
        """`tell` is called for each session file that is read."""
        self.root = root
        self.tell = tell
        self._now = now
        self._caches: dict[str, cached.Cache] = {}

    @property
    def clips(self) -> Path:
        """The folder of the rendered phrases; it need not exist."""
        return self.root / "clips"

    def now(self) -> datetime:
        """Return the local time, in the machine's present time zone: it may have travelled since the start."""
        if hasattr(time, "tzset"):  # Windows needs no call
            time.tzset()
        return self._now().astimezone()

    def today(self) -> date:
        """Return the local date."""
        return self.now().date()

    def people(self) -> tuple[str, ...]:
        """Return the ids of the people here, sorted. Anything in their folder with a valid name counts, even a file."""
        try:
            there = files.list_folder(self.root / PEOPLE)
        except files.AbsentError:
            return ()
        return tuple(path.name for path in there if _ID.fullmatch(path.name))

    def person(self, person_id: str) -> Person:
        """Return the person with that id.

        Raises UnknownPersonError, which lists the people here, RecordError for an impossible id, and UnreadableError.
        """
        folder = self._folder(person_id)
        try:
            files.check_folder(folder)
        except files.AbsentError:
            known = self.people()
            there = "There are: " + ", ".join(known) if known else "Nobody is here yet"
            raise UnknownPersonError(
                f'Nobody called "{person_id}" in {self.root}. {there}; add them with: coach enrol {person_id}'
            ) from None
        name, wrong = _read_name(folder / NAMED)
        return Person(person_id, name, folder, wrong)

    def add_person(self, person_id: str, name: str = "") -> Person:
        """Create a person's folder. A person who is here already stays and gets the new name, if one is given."""
        self.check_new_id(person_id)
        folder = self._folder(person_id)
        known = folder / NAMED
        with files.clear_errors(folder, "write"):
            files.make_folder(folder / SESSIONS)
            if name or not os.path.lexists(known):
                held = {"v": 1, "id": person_id, "name": name, "added": self._now().astimezone(UTC).isoformat()}
                files.replace_file(known, json.dumps(held, ensure_ascii=False).encode("utf-8", "replace"))
        return self.person(person_id)

    @contextmanager
    def one_session(self) -> Iterator[None]:
        """Reserve this home for one session. Raises RecordError if another runs, in this or another process."""
        with files.locked_folder(self.root / PEOPLE) as mine:
            if not mine:
                raise RecordError("Another session runs here now; end it first, or wait for its end.")
            yield

    def begin(self, person_id: str) -> SessionStore:
        """Create the file of a new session. Its first line must be "session_begun" with the store's `session`."""
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
                if not files.lock(handle) or not path.exists():  # another start took it for a dead one
                    os.close(handle)
                    number += 1
                    continue
                files.sync_folder(sessions)
                return SessionStore(path, handle, self._now)

    def close_broken(self, person_id: str, history: History | None = None) -> tuple[str, ...]:
        """Close the files of sessions that died and return their ids.

        A session that still runs and a file that cannot be used are left alone. A file whose end is in `history`, which
        has just been read, is not opened again.
        """
        known = zip(history.paths, history.briefs, strict=True) if history else ()
        ended = {path for path, brief in known if brief.why}
        return tuple(id_of(path) for path in self._paths(person_id) if path not in ended and closed(path, self._now))

    def note(self, person_id: str, session: str, text: str, by: str) -> None:
        """Add a remark to the record of a session that has ended. Raises RecordError if there is no such session."""
        person = self.person(person_id)
        path = person.sessions / f"{session}{ENDING}"
        if path not in self._paths(person_id):
            raise RecordError(f'{person_id} has no session "{session}"; coach log {person_id} lists them.')
        with files.clear_errors(path, "write"):
            store = going_on(path, files.open_file(path, adding=True), session, self._now)
        with store:
            store.append(store.reached, Note(text, by))

    def history(self, person_id: str, *, sound: bool = False) -> History:
        """Return all sessions of a person; `sound` as in `read_history`.

        Never fails, whatever a file is or holds. A session of another person in their folder is a problem and is left
        out. Raises UnreadableError if the files cannot be listed.
        """
        here = self.person(person_id)
        cache = self._caches.setdefault(person_id, cached.Cache(here.folder / cached.NAME))
        found = cache.history(self._paths(person_id), sound=sound, tell=self.tell)
        named = here.problems
        read = list(zip(found.sessions, found.paths, strict=True))
        theirs = [(session, path) for session, path in read if session.brief.person in ("", person_id)]
        others = [
            FileProblem(path, 1, f"is a session of another person: {session.brief.person}")
            for session, path in read
            if session.brief.person not in ("", person_id)
        ]
        sessions, paths = (tuple(part) for part in zip(*theirs, strict=True)) if theirs else ((), ())
        return replace(found, sessions=sessions, problems=(*named, *found.problems, *others), paths=paths)

    def keep_program(self, person_id: str, program_id: str, digest: str, data: bytes) -> Path:
        """Keep a copy of the program file that a session runs: the record is read by that program's rules."""
        path = self.person(person_id).kept_program(program_id, digest)
        try:
            kept = self.kept(person_id, program_id, digest)
        except files.UnreadableError:
            kept = None  # try to replace it
        if kept is None:
            with files.clear_errors(path, "write"):
                files.make_folder(path.parent)
                files.replace_file(path, data)
        return path

    def kept(self, person_id: str, program_id: str, digest: str) -> Path | None:
        """Return the path of the kept program with that digest; None if it is absent or was changed.

        Raises UnreadableError.
        """
        path = self.person(person_id).kept_program(program_id, digest)
        with suppress(files.AbsentError):
            if sha256(files.read_file(path)).hexdigest() == digest:
                return path
        return None

    def decide(self, person_id: str, line: Decided | ProgramVersion | PlacedOnHold | Cleared | GoalChange) -> None:
        """Add a line to the decisions about a person, whole or not at all. Raises RecordError.

        A torn tail is moved to a file beside it, as for a session.
        """
        path = self.person(person_id).decisions
        with files.clear_errors(path, "write"):
            try:
                handle = files.create(path)
                files.sync_folder(path.parent)
            except FileExistsError:
                handle = files.open_file(path, adding=True)
            store = going_on(path, handle, person_id, self._now)
        with store:
            store.append(0, line)

    def decisions(self, person_id: str) -> Decisions:
        """Return the decisions about a person. Never fails, whatever the file holds.

        Raises UnreadableError, since an unreadable file may hold a step down.
        """
        path = self.person(person_id).decisions
        try:
            raw = files.read_file(path)
        except files.AbsentError:
            raw = b""
        reading = read_lines(text_of(raw), person_id)
        problems = tuple(FileProblem(path, one.line, one.text) for one in reading.problems)
        found = decided(reading)
        return Decisions(**{each.name: getattr(found, each.name) for each in fields(found)}, problems=problems)

    def check_id(self, person_id: str) -> None:
        """Raise RecordError if nobody can have this id."""
        if not _ID.fullmatch(person_id):
            raise RecordError(
                f'"{person_id}" cannot be the id of a person: use 1 to 40 small letters a-z, digits, "-" or "_".'
            )

    def check_new_id(self, person_id: str) -> None:
        """Raise RecordError if no new person can have this id; a person who is here with it is accepted."""
        self.check_id(person_id)
        if RESERVED.fullmatch(person_id) and not os.path.lexists(self._folder(person_id)):
            raise RecordError(
                f'"{person_id}" cannot be the id of a new person: it means a device or an option to some systems; '
                f"use another, such as {person_id.strip('-') or 'p'}-01."
            )

    def _folder(self, person_id: str) -> Path:
        self.check_id(person_id)
        return self.root / PEOPLE / person_id

    def _paths(self, person_id: str) -> list[Path]:
        try:
            there = files.list_folder(self.person(person_id).sessions)
        except files.AbsentError:
            return []
        return [path for path in there if path.name.endswith(ENDING)]


def _read_name(path: Path) -> tuple[str, tuple[FileProblem, ...]]:
    """Return the name in a person's file, empty if it has none, and what is wrong with the file."""
    try:
        held = json.loads(files.read_file(path).decode("utf-8"))
    except files.AbsentError:
        return "", ()
    except files.UnreadableError as error:
        return "", (unreadable(path, error, "gives no name, and the id is shown instead"),)
    except (ValueError, RecursionError):
        held = None
    name = held.get("name") if isinstance(held, dict) else None
    if not isinstance(name, str):
        return "", (FileProblem(path, 0, "is damaged and gives no name: the id is shown instead"),)
    return name, ()
