"""Every command at a home in which one thing cannot be read: what it prints, how it ends, whether it hangs.

`tests/cli/test_broken_files.py` walks a part in which each command meets each way and each place;
`tests/bench/broken_files.py` walks them all.
"""

from __future__ import annotations

import io
import shutil
import signal
import traceback
from collections.abc import Callable, Iterator
from contextlib import contextmanager, redirect_stderr, redirect_stdout
from dataclasses import dataclass
from datetime import timedelta
from pathlib import Path
from typing import Any
from unittest import mock

from broken import BROKEN, broken, opened_up, without_privilege

from coach.cli import main, sounding, start
from coach.cli.labels import Labels
from coach.cli.visit import people
from coach.cli.visit.desk import Chosen
from coach.errors import CoachError
from coach.logbook.store import Home
from coach.page.screens import Step
from coach.program_files import read, shipped
from coach.testing import SimulatedCourse, write_history
from coach.voice.pack import load_pack

PERSON, OTHER = "ada", "bo"
BEGINS = "the session would begin here"
"""What `coach start` says once it has reached the device."""
DAYS = 5
"""Days of each person's sessions."""
SLOW = 60
"""Seconds after which a command counts as hanging: a hundred times its usual time."""

PLACES = ("session", "sessions", "kept", "programs", "person.json", "decisions.jsonl", "takes", "enrolment", "folder",
          "people")  # fmt: skip
"""What is broken: of Ada a session, all of them, the kept program, its folder, her name, the decisions, the taught
words, their file, her folder; and the folder of everybody."""


@dataclass(frozen=True, slots=True)
class Command:
    """A command and what it needs to read."""

    run: Callable[[Path, Path], int]
    """Given the home and an empty folder beside it, return the exit status."""
    reads: tuple[str, ...]
    """Places whose problem it must report."""
    beside: tuple[str, ...] = ()
    """Places whose problem must not keep it from its work."""
    needless: tuple[str, ...] = ()
    """Places that it does not look at; it fails at something else."""


def _coach(*words: str) -> Callable[[Path, Path], int]:
    def run(home: Path, out: Path) -> int:
        given = [word.format(home=home, out=out) for word in words]
        return main([given[0], "--home", str(home), *given[1:]])

    return run


def _start(home: Path, out: Path) -> int:
    def reached(*_: object, **__: object) -> None:
        raise CoachError(BEGINS)

    with mock.patch.object(start, "_device"), mock.patch.object(sounding, "coach_voice", reached):
        return _coach("start", "--person", PERSON)(home, out)


class _Desk:
    """A caregiver who chooses Ada, looks at her day and leaves."""

    def __init__(self) -> None:
        self.pack = load_pack("en")
        self.labels = Labels(self.pack.screens)
        self.said: list[str] = []

    def turn_to(self, *_: object) -> None:
        pass

    def ask(self, step: Step) -> Chosen:
        print(step.head, step.lead, step.problem, *(line.text for line in step.lines))
        wanted = (f"person.{PERSON}", "off", "close")
        return Chosen(next(one.id for name in wanted for one in step.choices if one.id == name), {})


def _page(home: Path, _: Path) -> int:
    desk: Any = _Desk()
    kept = Home(home)
    try:
        person = people.who(desk, kept)
        if person is not None:
            kept.close_broken(person.id)
            people.today(desk, kept, person, None)
    except CoachError as error:
        print(f"coach page: {error}")
        return 2
    return 0


_MUST = ("sessions", "folder", "people")
_ALL = ("session", "kept", "programs", "person.json", "decisions.jsonl")
COMMANDS: dict[str, Command] = {
    "log": Command(_coach("log"), ("session", "person.json", *_MUST), ("session", "person.json", "sessions", "folder")),
    "log PERSON": Command(_coach("log", PERSON), ("session", "person.json", *_MUST), ("session", "person.json")),
    "log --session": Command(_coach("log", PERSON, "--session", "last"), _MUST, ("session", "person.json")),
    "today": Command(
        _coach("today", PERSON), ("session", "person.json", "decisions.jsonl", *_MUST), ("session", "person.json")
    ),
    "start": Command(
        _start, ("session", "person.json", "decisions.jsonl", "takes", "enrolment", *_MUST), ("session", "person.json")
    ),
    "page": Command(_page, ("session", "person.json", "decisions.jsonl", *_MUST), ("session", "person.json", "folder")),
    "decide": Command(
        _coach("decide", PERSON, "heel_lowering", "stay", "--by", "Kim Rivers"),
        ("session", "person.json", "decisions.jsonl", *_MUST),
        ("session", "person.json"),
    ),
    "review": Command(_coach("review", PERSON), (*_ALL, *_MUST), _ALL),
    "review --fhir --csv": Command(
        _coach("review", PERSON, "--fhir", "{out}/f.json", "--csv", "{out}/t.csv"), _MUST, _ALL
    ),
    "review --clinic": Command(
        _coach("review", "--clinic", "{home}"), ("session", "person.json", *_MUST), (*_ALL, "sessions", "folder")
    ),
    "export": Command(
        _coach("export", PERSON, "{out}/all.zip"),
        (*_ALL, "takes", "enrolment", *_MUST),
        (*_ALL, "sessions", "takes", "enrolment"),
    ),
    "forget": Command(
        _coach("forget", PERSON, "--yes", PERSON),
        ("folder", "people"),
        (*_ALL, "sessions", "takes", "enrolment"),
    ),
    "hear": Command(
        _coach("hear", "--person", PERSON, "x.wav"), ("takes", "enrolment", "folder", "people"), needless=PLACES
    ),
    "enrol": Command(
        _coach("enrol", PERSON, "--takes", "{out}/none"), ("takes", "enrolment", "folder", "people"), needless=PLACES
    ),
    "enrol --forget": Command(_coach("enrol", PERSON, "--forget"), ("folder", "people")),
}

NEVER = (
    "Traceback",
    "has taught no words",
    "teach the words again",
    "teach them again",
    "no session yet",
    "Nobody called",
    "Nobody has been added",
)
"""Claims that are false if a file exists and cannot be read."""


def template(root: Path) -> Path:
    """Make a home with two people and some sessions, to be copied."""
    source = shipped()["ankle_steady"]
    home = Home(root)
    for seed, person in enumerate((PERSON, OTHER)):
        begins = home.today() - timedelta(days=DAYS + 1)
        program, text = read(source), source.read_bytes()
        write_history(home, person, program, SimulatedCourse(days=DAYS), seed=seed, begins=begins, source=text)
        home.add_person(person, person.title())
        home.person(person).takes.mkdir()
    return root


@dataclass(frozen=True, slots=True)
class Walked:
    """How a command went."""

    status: int
    said: str
    wrong: str
    """What is wrong with it; empty if nothing is."""


def walk(command: str, place: str, how: str, made: Path, room: Path) -> Walked:
    """Run a command on a copy of `made`, in the empty folder `room`, with one thing broken."""
    home, out = room / "home", room / "out"
    shutil.copytree(made, home)
    out.mkdir()
    path = _place(home, place)
    broken(path, how)
    one = COMMANDS[command]
    said = io.StringIO()
    try:
        with without_privilege(), redirect_stdout(said), redirect_stderr(said), _not_for_ever():
            status = one.run(home, out)
    except BaseException:  # noqa: BLE001  the user would see a traceback
        status = -1
        said.write(traceback.format_exc())
    opened_up(room)
    text = " ".join(said.getvalue().split())
    return Walked(status, said.getvalue(), _wrong(command, place, status, text, path))


def _wrong(command: str, place: str, status: int, text: str, path: Path) -> str:
    one = COMMANDS[command]
    if status not in (0, 2):
        return f"ended with {status}"
    found = [f'said "{words}"' for words in NEVER if words in text and place in (*one.reads, *one.beside)]
    went_on = status == 0 or BEGINS in text
    if place in one.beside and not went_on:
        found.append("did not go on")
    if place in one.reads and path.name not in text:
        found.append(f"did not name {path.name}")
    if status == 2 and not went_on and place not in one.needless and path.name not in text:
        found.append("failed and did not say at what")
    return "; ".join(found)


def _place(home: Path, place: str) -> Path:
    person = Home(home).person(PERSON)
    return {
        "session": max(person.sessions.iterdir()),
        "sessions": person.sessions,
        "kept": next((person.folder / "programs").iterdir()),
        "programs": person.folder / "programs",
        "person.json": person.folder / "person.json",
        "decisions.jsonl": person.decisions,
        "takes": person.takes,
        "enrolment": person.takes / "enrolment.npz",
        "folder": person.folder,
        "people": person.folder.parent,
    }[place]


class HungError(BaseException):
    """A command did not come back."""


@contextmanager
def _not_for_ever() -> Iterator[None]:
    """Interrupt a hanging command, if the system can."""
    if not hasattr(signal, "SIGALRM"):
        yield
        return

    def broken_off(*_: object) -> None:
        raise HungError

    before = signal.signal(signal.SIGALRM, broken_off)
    signal.alarm(SLOW)
    try:
        yield
    finally:
        signal.alarm(0)
        signal.signal(signal.SIGALRM, before)


def fits(place: str, how: str, command: str = "") -> bool:
    """Tell whether something there can be broken in that way: a folder cannot be broken by a folder.

    To a command that copies all folders, whatever their names, a folder is not broken either.
    """
    file = place in ("session", "kept", "person.json", "decisions.jsonl", "enrolment")
    return how != "folder" or (file and command != "export")


EVERY = tuple(
    (command, place, how) for command in COMMANDS for place in PLACES for how in BROKEN if fits(place, how, command)
)
