"""Kill a command that writes, at any call to the disk or at any moment; check, run it again, check again.

The rules are in `half` and `done` of each trial: right after a kill there is the old or the new state, never a part of
it. After another run the result is as without the kill, and no leftover holds words of a person.
"""

from __future__ import annotations

import contextlib
import io
import os
import shutil
import tempfile
import zipfile
from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass, field, replace
from functools import partial
from pathlib import Path
from random import Random
from types import SimpleNamespace
from typing import Any

import numpy as np
from killed import BEGAN, NEVER, PERSON, killed, made_up_words

from coach.cli import enrol, main
from coach.cli.session_setup import prepare
from coach.ears.enrolment import FILE, Enrolment, load_enrolment
from coach.errors import CoachError
from coach.logbook.forgetting import RECORD
from coach.logbook.store import Home
from coach.ports import Block
from coach.review.columns import TABLES, open_clinic
from coach.testing import RandomPerson, live_in
from coach.voice.cache import ClipVoice, _read

OLD, NEW = (replace(made_up_words(Random(seed)), verdict=verdict) for seed, verdict in ((1, "keys_only"), (2, "")))
TAUGHT = "within_reach"
"""Verdict of the enrolment that the command finally keeps."""
TEXTS = [f"Sentence {number}." for number in range(8)]
SECRET = "words of mira's program"


@dataclass(frozen=True)
class Trial:
    """A command, and the rules after a kill."""

    run: Callable[[Path], None]
    """Run it, in a child."""
    half: Callable[[Path, Path], Iterable[str]]
    """Yields what is wrong after a kill, given the place and the state before."""
    done: Callable[[Path], Iterable[str]]
    """Yields what is wrong after the second run, given the place."""
    seconds: float
    """Its usual time in seconds, for a kill at any moment."""


@dataclass
class Tally:
    """The results of many kills."""

    killed: int = 0
    ran_out: int = 0
    wrong: list[str] = field(default_factory=list)


def furnish(root: Path) -> Path:
    """Make the start of every trial: a home with two people, an earlier archive, and folders."""
    home = Home(root / "home", lambda: BEGAN)
    for number, person in enumerate((PERSON, "otto")):
        home.add_person(person, person.title())
        ready = prepare("ankle_steady")
        live_in(home, person, ready.today, RandomPerson(Random(number), 0.0, 0.0))
        home.keep_program(person, ready.program.id, ready.program.digest, ready.data)
    takes = home.person(PERSON).takes
    takes.mkdir()
    OLD.save(takes)
    ClipVoice(home.clips, Stand()).prepare(TEXTS[:2])
    (root / "out").mkdir()
    _command(root, "export", PERSON, "out/e.zip")
    (root / "tmp" / "coach-killed" / "0").mkdir(parents=True)
    (root / "tmp" / "coach-killed" / "0" / "batch.json").write_text(SECRET, "utf-8")
    return root


def _command(root: Path, *words: str) -> None:
    before = Path.cwd()
    os.chdir(root)
    try:
        with contextlib.redirect_stdout(io.StringIO()), contextlib.redirect_stderr(io.StringIO()) as err:
            status = main([*words, "--home", "home"])
        assert status == 0 or "Nobody called" in err.getvalue(), err.getvalue()
    finally:
        os.chdir(before)


def _home(root: Path) -> Home:
    return Home(root / "home")


def _files(folder: Path) -> dict[str, bytes]:
    return {path.relative_to(folder).as_posix(): path.read_bytes() for path in folder.rglob("*") if path.is_file()}


def _left_over(root: Path) -> Iterator[str]:
    for path in root.rglob("*"):
        if path.name.endswith(".new") or path.name.startswith((".new-", ".part")):
            yield f"left over: {path.name}"


def _sessions(root: Path, before: Path) -> Iterator[str]:
    if _files(_home(root).person(PERSON).sessions) != _files(_home(before).person(PERSON).sessions):
        yield "a session was touched"


# -- enrol -------------------------------------------------------------------------------------------------------------


def _enrol(root: Path) -> None:
    patched: Any = enrol
    patched.enrol_folder = lambda *_, **__: SimpleNamespace(refused=(), enrolment=NEW)
    patched._learnt = lambda enrolment, *_: enrolment
    patched.judged = lambda enrolment: (None, replace(enrolment, verdict=TAUGHT))
    patched.show_forecast = lambda *_: None
    _command(root, "enrol", PERSON, "--takes", "takes")


def _same_words(one: Enrolment, other: Enrolment) -> bool:
    first, second = ([take.frames for own in each.takes.values() for take in own] for each in (one, other))
    return all(np.array_equal(mine, theirs) for mine, theirs in zip(first, second, strict=True))


def _half_enrolled(root: Path, before: Path) -> Iterator[str]:
    yield from _sessions(root, before)
    there = load_enrolment(_home(root).person(PERSON).takes)
    if not _same_words(there, OLD if there.verdict == OLD.verdict else NEW):
        yield "words of two times"


def _enrolled(root: Path) -> Iterator[str]:
    yield from _left_over(root)
    takes = _home(root).person(PERSON).takes
    if load_enrolment(takes).verdict != TAUGHT or [path.name for path in takes.iterdir()] != [FILE]:
        yield "not taught"


# -- decide ------------------------------------------------------------------------------------------------------------


def _decide(root: Path) -> None:
    _command(root, "decide", PERSON, "heel_lowering", "stay", "--by", "Kim", "--program", "ankle_steady")


def _half_decided(root: Path, before: Path) -> Iterator[str]:
    yield from _sessions(root, before)
    found = _home(root).decisions(PERSON)
    if len(found.decisions) > 1 or any("torn" not in problem.text for problem in found.problems):
        yield f"decisions: {found}"


def _decided(root: Path) -> Iterator[str]:
    yield from _left_over(root)
    found = _home(root).decisions(PERSON)
    if found.problems or not found.decisions or found.decisions[-1].by != "Kim":
        yield f"decisions: {found}"


# -- export ------------------------------------------------------------------------------------------------------------


def _export(root: Path) -> None:
    _command(root, "export", PERSON, "out/e.zip")


def _half_exported(root: Path, before: Path) -> Iterator[str]:
    yield from _sessions(root, before)
    with zipfile.ZipFile(root / "out" / "e.zip") as archive:
        if archive.testzip() is not None:
            yield "a torn archive"


def _exported(root: Path) -> Iterator[str]:
    yield from _left_over(root)
    with zipfile.ZipFile(root / "out" / "e.zip") as archive:
        held = {name: archive.read(name) for name in archive.namelist() if name != "README.txt"}
    if held != _files(_home(root).person(PERSON).folder):
        yield "not all is in it"


# -- forget ------------------------------------------------------------------------------------------------------------


def _forget(root: Path) -> None:
    tempfile.tempdir = str(root / "tmp")
    _command(root, "forget", PERSON, "--yes", PERSON)


def _half_forgotten(root: Path, before: Path) -> Iterator[str]:
    if PERSON in _home(root).people() and _files(_home(root).person(PERSON).folder) != _files(
        _home(before).person(PERSON).folder
    ):
        yield "half a person"
    if _files(_home(root).person("otto").folder) != _files(_home(before).person("otto").folder):
        yield "somebody else was touched"


def _forgotten(root: Path) -> Iterator[str]:
    yield from _left_over(root)
    held = _files(root / "home") | _files(root / "tmp")
    if [name for name, data in held.items() if PERSON in name or PERSON.encode() in data or SECRET.encode() in data]:
        yield "something still tells of them"
    if (root / "home" / RECORD).read_bytes().count(b"\n") != 1 or any(_home(root).clips.iterdir()):
        yield "not forgotten once"


# -- the first rendering -----------------------------------------------------------------------------------------------


class Stand:
    """Render without an engine: a clip has a hundred samples per character of its text."""

    identity = "one voice"

    def each(self, texts: Iterable[str]) -> Iterator[tuple[str, Block]]:
        for text in texts:
            yield text, np.full(100 * len(text), 0.5, np.float32)


def _render(root: Path) -> None:
    clips = _home(root).clips
    for half in clips.glob(".new-*"):
        os.utime(half, (0, 0))  # as if time had passed
    voice = ClipVoice(clips, Stand())
    voice.prepare(TEXTS)
    assert all(len(voice.clip(text)) == 100 * len(text) for text in TEXTS)


def _half_rendered(root: Path, _before: Path) -> Iterator[str]:
    if any(_read(path) is None for path in _home(root).clips.glob("*.wav")):
        yield "a clip that is not whole"


def _rendered(root: Path) -> Iterator[str]:
    yield from _left_over(root)
    yield from _half_rendered(root, root)
    if len(list(_home(root).clips.iterdir())) != len(TEXTS):
        yield "not all is rendered"


# -- a clinic's columns ------------------------------------------------------------------------------------------------


def _columns(root: Path) -> None:
    _command(root, "review", "--clinic", "home", "--parquet", "out/columns")


def _half_columns(root: Path, _before: Path) -> Iterator[str]:
    folder = root / "out" / "columns"
    if not (folder / "sessions.parquet").exists():
        return
    try:
        clinic = open_clinic(folder)
    except CoachError as error:
        if "of two times" not in str(error) and "cannot be read" not in str(error):
            yield str(error)
    else:
        if clinic.engine.execute("SELECT count(*) FROM sessions").fetchall() != [(2,)]:
            yield "columns that tell of something else"


def _columned(root: Path) -> Iterator[str]:
    yield from _left_over(root)
    yield from _half_columns(root, root)
    if sorted(path.stem for path in (root / "out" / "columns").iterdir()) != sorted(TABLES):
        yield "not all tables"


TRIALS = {
    "enrol": Trial(_enrol, _half_enrolled, _enrolled, 0.2),
    "decide": Trial(_decide, _half_decided, _decided, 0.1),
    "export": Trial(_export, _half_exported, _exported, 0.05),
    "forget": Trial(_forget, _half_forgotten, _forgotten, 0.05),
    "first rendering": Trial(_render, _half_rendered, _rendered, 0.02),
    "columns": Trial(_columns, _half_columns, _columned, 1.0),
}


def _child(run: Callable[[Path], None], root: Path, _chance: Random, _tell: object) -> None:
    run(root)


def try_it(name: str, base: Path, root: Path, seed: int, at: int, tally: Tally, within: float = 0.0) -> bool:
    """Kill a command at one point, in a copy of `base` at `root`; return whether it ended before that point."""
    trial = TRIALS[name]
    shutil.copytree(base, root)
    _, died = killed(partial(_child, trial.run, root), seed, at, within)
    tally.killed += died
    tally.ran_out += not died
    wrong = list(trial.half(root, base))
    killed(partial(_child, trial.run, root), seed, NEVER)
    wrong += trial.done(root)
    tally.wrong += [f"{name}, at {at}, seed {seed}: {one}" for one in wrong]
    shutil.rmtree(root)
    return not died
