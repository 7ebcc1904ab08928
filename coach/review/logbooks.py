"""Find the logbooks of a clinic, and tell by file and line what cannot be used."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field
from pathlib import Path

from coach.errors import RecordError
from coach.logbook import files
from coach.logbook.decisions import local_moment
from coach.logbook.lines import read_lines
from coach.logbook.reading import lost_session, unreadable
from coach.logbook.seals import unbroken
from coach.logbook.store import PEOPLE, Home, Person
from coach.logbook.writing import ENDING
from coach.session.past import PastSession


@dataclass(frozen=True, slots=True)
class NotCounted:
    """A file or line that was not counted."""

    file: str
    """Path below the clinic's folder."""
    line: int
    """Number of the line, from 1; 0: the whole file."""
    text: str
    """The fault, as the end of a sentence."""

    def __str__(self) -> str:
        return f"{self.file}:{self.line} {self.text}." if self.line else f"{self.file} {self.text}."


@dataclass(frozen=True, slots=True)
class Member:
    """A person of the clinic."""

    person: str
    """Their id; if the clinic has several homes, after the home's folder: "north/p01"."""
    home: Home
    at_home: Person
    """The person as their home stores them."""


@dataclass(slots=True)
class Logbook:
    """One session's file that is usable, whole or in part."""

    path: Path
    person: str
    session: str
    """The session's id, from the file's name."""
    began: str
    """Time of its beginning, UTC, ISO 8601."""
    day: int
    """Local day of its beginning, in days from 1970-01-01."""
    sound: list[str] = field(default_factory=list)
    """Its undamaged lines; empty if all are undamaged, and the engine reads the file itself."""


def members(folder: Path, left_out: list[NotCounted]) -> tuple[Member, ...]:
    """Return everybody in a home, or in all homes in a folder; add unreadable people to `left_out`.

    Raises RecordError if there is no home, or the folder cannot be read.
    """
    try:
        homes = {"": Home(folder)} if _is_home(folder) else {}
        if not homes:
            homes = {f"{path.name}/": Home(path) for path in _homes(folder, left_out)}
    except files.AbsentError:
        homes = {}
    if not homes:
        raise RecordError(
            f'{folder} is not a clinic; name a home, which is a folder with "{PEOPLE}" in it, or a folder of homes.'
        )
    found = []
    for before, home in homes.items():
        for person in home.people():
            try:
                known = home.person(person)
            except files.UnreadableError as error:
                left_out.append(_unreadable(folder, error))
                continue
            left_out += [NotCounted(_shown(folder, one.path), one.line, one.text) for one in known.problems]
            found.append(Member(before + person, home, known))
    return tuple(found)


def _is_home(folder: Path) -> bool:
    try:
        files.check_folder(folder / PEOPLE)
    except files.AbsentError:
        return False
    return True


def _homes(folder: Path, left_out: list[NotCounted]) -> Iterator[Path]:
    """Yield the homes in a folder."""
    for path in files.list_folder(folder):
        try:
            if path.is_dir() and _is_home(path):
                yield path
        except files.UnreadableError as error:
            left_out.append(_unreadable(folder, error))


def _unreadable(folder: Path, error: files.UnreadableError) -> NotCounted:
    return NotCounted(_shown(folder, error.path), 0, unreadable(error.path, error).text)


def _shown(folder: Path, path: Path) -> str:
    """Return a path as it is shown: relative to the clinic's folder."""
    return path.relative_to(folder).as_posix().encode("utf-8", "replace").decode("utf-8")


def logbooks(
    folder: Path, everybody: tuple[Member, ...], left_out: list[NotCounted], unread: dict[str, list[PastSession]]
) -> Iterator[Logbook]:
    """Yield each usable session file; add what cannot be counted to `left_out`.

    `unread` receives, by person, the session that may be in an unreadable file, and also each person whose files cannot
    be listed. Nothing in a file makes this fail. A line is left out if `read_lines` finds a fault in it.
    """
    for member in everybody:
        try:
            there = files.list_folder(member.at_home.sessions)
        except files.AbsentError:
            continue
        except files.UnreadableError as error:
            left_out.append(_unreadable(folder, error))
            unread[member.person] = []
            continue
        for path in (one for one in there if one.name.endswith(ENDING)):
            shown = _shown(folder, path)
            try:
                path.as_posix().encode("utf-8")
                data = files.read_file(path)
            except files.AbsentError:  # it was deleted meanwhile
                continue
            except files.UnreadableError as error:
                left_out.append(_unreadable(folder, error))
                unread.setdefault(member.person, []).append(lost_session(path))
                continue
            except UnicodeEncodeError:
                left_out.append(NotCounted(shown, 0, "has a name that is not text"))
                continue
            session = path.name.removesuffix(ENDING)
            t = _first_time(data)
            sound: list[str] = []
            if not unbroken(data, session) or _PATTERN & set(path.as_posix()):
                t, sound = _repaired(data, session, shown, left_out)
            moment = local_moment(t)
            if moment is None:
                if data:
                    unread.setdefault(member.person, []).append(lost_session(path))
                left_out.append(NotCounted(shown, 0, "holds no session" if not t else "does not say when it was"))
                continue
            yield Logbook(path, member.person, session, t, moment.date().toordinal() - EPOCH, sound)


_PATTERN = set("*?[{")
"""Characters of a path that the engine would read as a pattern; we read such a file ourselves."""

EPOCH = 719_163
"""The ordinal of 1970-01-01."""


def recheck(logbook: Logbook, folder: Path, left_out: list[NotCounted]) -> None:
    """Check every field of a file whose chain is whole; afterwards only its undamaged lines are read."""
    shown = logbook.path.relative_to(folder).as_posix()
    _, logbook.sound = _repaired(files.read_file(logbook.path), logbook.session, shown, left_out)


def _first_time(data: bytes) -> str:
    """Return the time of the first line, which follows the numbers of version and line."""
    begins = data.find(b'"t":"') + 5
    return data[begins : data.find(b'"', begins)].decode("utf-8", "replace")


def _repaired(data: bytes, session: str, shown: str, left_out: list[NotCounted]) -> tuple[str, list[str]]:
    """Return the time of the first undamaged line and all such lines; add the others to `left_out`."""
    text = data.decode("utf-8", "surrogateescape")
    reading = read_lines(text, session)
    left_out += [NotCounted(shown, problem.line, problem.text) for problem in reading.problems]
    bad = {problem.line for problem in reading.problems}
    written = text.split("\n")
    sound = [line for number, line in enumerate(written, start=1) if line and number not in bad]
    first = next((line for at, line in enumerate(reading.lines) if at not in reading.suspect), None)
    return (first.t if first else ""), sound
