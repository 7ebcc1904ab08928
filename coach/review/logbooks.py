"""Find the logbooks of a clinic, and tell what of them can be read as it is and what is left out, by file and line."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field
from pathlib import Path

from coach.errors import RecordError
from coach.logbook.decisions import local_moment
from coach.logbook.record import read_lines
from coach.logbook.seals import unbroken
from coach.logbook.store import Home, Person
from coach.logbook.writing import ENDING

PEOPLE = "people"
"""The folder of a home that makes it one."""


@dataclass(frozen=True, slots=True)
class LeftOut:
    """Something that was not counted."""

    file: str
    """Its path below the clinic's folder."""
    line: int
    """Number of the line, from 1; 0: the whole file."""
    text: str
    """What is wrong, as the end of a sentence."""

    def __str__(self) -> str:
        return f"{self.file}:{self.line} {self.text}." if self.line else f"{self.file} {self.text}."


@dataclass(frozen=True, slots=True)
class Member:
    """Somebody of the clinic."""

    person: str
    """Their id; where the clinic has several homes, with its folder before it: "north/p01"."""
    home: Home
    at_home: Person
    """They as that home knows them."""


@dataclass(slots=True)
class Logbook:
    """One session's file that can be used, whole or in part."""

    path: Path
    person: str
    session: str
    """The id that its name gives."""
    began: str
    """UTC, ISO 8601."""
    day: int
    """The local day on which it began, counted from 1970-01-01."""
    sound: list[str] = field(default_factory=list)
    """Its sound lines; empty if all are sound, so that the file can be read as it is."""


def members(folder: Path) -> tuple[Member, ...]:
    """Return everybody in a home, or in all homes side by side in a folder. Raises RecordError if there are none."""
    if (folder / PEOPLE).is_dir():
        homes = {"": Home(folder)}
    elif folder.is_dir():
        homes = {f"{path.name}/": Home(path) for path in sorted(folder.iterdir()) if (path / PEOPLE).is_dir()}
    else:
        homes = {}
    if not homes:
        raise RecordError(
            f'{folder} is no clinic: name a home, which is a folder with "{PEOPLE}" in it, or a folder of homes.'
        )
    return tuple(
        Member(before + person, home, home.person(person)) for before, home in homes.items() for person in home.people()
    )


def logbooks(folder: Path, everybody: tuple[Member, ...], left_out: list[LeftOut]) -> Iterator[Logbook]:
    """Yield each session's file that can be used; put what cannot be counted into `left_out`.

    Never fails because of what a file holds. A line is left out if `read_lines` has anything against it.
    """
    for member in everybody:
        for path in sorted(member.at_home.sessions.glob("*" + ENDING)):
            shown = path.relative_to(folder).as_posix().encode("utf-8", "replace").decode("utf-8")
            try:
                path.as_posix().encode("utf-8")
                data = path.read_bytes()
            except OSError as error:
                left_out.append(LeftOut(shown, 0, f"cannot be read ({error.strerror or error})"))
                continue
            except UnicodeEncodeError:
                left_out.append(LeftOut(shown, 0, "has a name that is no text"))
                continue
            session = path.name.removesuffix(ENDING)
            t = _first_time(data)
            sound: list[str] = []
            if not unbroken(data, session) or _PATTERN & set(path.as_posix()):
                t, sound = _repaired(data, session, shown, left_out)
            moment = local_moment(t)
            if moment is None:
                left_out.append(LeftOut(shown, 0, "holds no session" if not t else "does not tell when it was"))
                continue
            yield Logbook(path, member.person, session, t, moment.date().toordinal() - EPOCH, sound)


_PATTERN = set("*?[{")
"""Signs in a path that the engine would take for a pattern: such a file is read here."""

EPOCH = 719_163
"""The ordinal of 1970-01-01."""


def recheck(logbook: Logbook, folder: Path, left_out: list[LeftOut]) -> None:
    """Look at every field of a file whose chain is whole; from then on only its sound lines are read."""
    shown = logbook.path.relative_to(folder).as_posix()
    _, logbook.sound = _repaired(logbook.path.read_bytes(), logbook.session, shown, left_out)


def _first_time(data: bytes) -> str:
    """Return the time of the first line, as it stands behind the numbers of version and line."""
    begins = data.find(b'"t":"') + 5
    return data[begins : data.find(b'"', begins)].decode("utf-8", "replace")


def _repaired(data: bytes, session: str, shown: str, left_out: list[LeftOut]) -> tuple[str, list[str]]:
    """Return the time of the first sound line, and all of them; list the others."""
    text = data.decode("utf-8", "surrogateescape")
    reading = read_lines(text, session)
    left_out += [LeftOut(shown, problem.line, problem.text) for problem in reading.problems]
    bad = {problem.line for problem in reading.problems}
    written = text.split("\n")
    sound = [line for number, line in enumerate(written, start=1) if line and number not in bad]
    first = next((line for at, line in enumerate(reading.lines) if at not in reading.suspect), None)
    return (first.t if first else ""), sound
