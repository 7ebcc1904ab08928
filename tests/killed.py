"""Kill a real process with SIGKILL at any call that touches the disk, and check what it leaves behind.

The child is forked, so its modules are already loaded. In it, each system call that changes a file is a point. At the
drawn point the call is skipped, done in part (some bytes of a write) or done whole, and then the child kills itself.
Through a pipe, the child reports at once everything that it was told is on the disk.
"""

from __future__ import annotations

import contextlib
import io
import json
import os
import signal
import subprocess
import sys
import traceback
import zipfile
from collections import Counter
from collections.abc import Callable
from dataclasses import dataclass, field
from datetime import UTC, datetime, timedelta
from functools import cache, partial
from pathlib import Path
from random import Random
from typing import Any, Self

import numpy as np

from coach.cli import main
from coach.ears.enrolment import FILE, Enrolment, load_enrolment
from coach.ears.spectrum import BANDS
from coach.ears.takes import Take
from coach.history import broken_off, past
from coach.logbook import SessionRecord, joined
from coach.logbook.files import make_folder
from coach.logbook.store import Home
from coach.logbook.writing import SessionStore
from coach.loglines.changes import Decided
from coach.loglines.kinds import Fact, SetEnded
from coach.program.model import Program
from coach.program_files import read, shipped
from coach.session.plan import Today, plan, turns
from coach.session.taken_up import take_up
from coach.testing import RandomPerson, StoredRun, begin_in, live, random_program

PERSON = "mira"
BEGAN = datetime(2027, 1, 11, 9, 30, tzinfo=UTC)

TOUCHES = ("open", "write", "fsync", "ftruncate", "close", "replace", "rename", "unlink", "mkdir", "rmdir")
"""Calls of `os` that change or sync a file; writes to files of `os.fdopen` count as well."""


PARTS = 6
"""Most times that a day is taken up, the last time to its end."""

NEVER = 10**9


Told = list[dict[str, Any]]
"""The reports of a child through its pipe, in order."""
Tell = Callable[..., None]


class Fatal:
    """Counts the calls that touch the disk; at one of them the process dies by SIGKILL."""

    def __init__(self, chance: Random, at: int) -> None:
        self._chance, self._at, self.count = chance, at, 0
        self.real = {name: getattr(os, name) for name in TOUCHES}
        for name in TOUCHES:
            setattr(os, name, self._deadly(name, self.real[name]))
        fdopen, deadly = os.fdopen, self._deadly

        def opened(handle: int, mode: str = "r", *args: Any, **more: Any) -> Any:
            file = fdopen(handle, mode, *args, **more)
            if mode != "wb":
                return file

            def written(data: Any) -> int:
                count = file.write(data)
                file.flush()
                return count

            return _Through(file, deadly("write to", written))

        os.fdopen = opened  # type: ignore[assignment]

    def _deadly(self, name: str, real: Callable[..., Any]) -> Callable[..., Any]:
        def call(*args: Any, **more: Any) -> Any:
            self.count += 1
            if self.count != self._at:
                return real(*args, **more)
            how = self._chance.choice(("before", "part", "after"))
            if how == "part" and name.startswith("write"):
                *where, data = args
                real(*where, bytes(data)[: self._chance.randint(0, len(data))])
            elif how == "after":
                real(*args, **more)
            os.kill(os.getpid(), signal.SIGKILL)
            raise AssertionError("a killed process does nothing more")

        return call


class _Through:
    """A file with another `write`."""

    def __init__(self, file: Any, write: Callable[..., Any]) -> None:
        self._file, self.write = file, write

    def __getattr__(self, name: str) -> Any:
        return getattr(self._file, name)

    def __enter__(self) -> Self:
        return self

    def __exit__(self, *_: object) -> None:
        self._file.close()


@dataclass
class Left:
    """What was left behind and found, summed over many kills."""

    points: Counter[str] = field(default_factory=Counter)
    """The activity at each kill."""
    ran_out: int = 0
    """Children that ended before their point."""
    finished: int = 0
    """Sets that were on the disk when the child died, by its reports."""
    found: int = 0
    """Those of them that the record holds with the same count and end."""
    torn: int = 0
    named: int = 0
    """Torn tails that reading reported."""
    aside: int = 0
    """Torn tails that the next start kept byte for byte in the file beside."""
    died: int = 0
    """Sessions without their end."""
    closed: int = 0
    """Those of them that the next start closed as interrupted."""
    taken_up: int = 0
    whole: int = 0
    """Sessions that were taken up and completed."""
    twice: int = 0
    """Sets of the same exercise, number and side that a day's record holds twice."""
    beyond: int = 0
    """Sets beyond the plan."""
    days: int = 0
    """Days that the plan counts as more than one session."""
    decisions: int = 0
    """Decisions that were lost or could not be read."""
    words: int = 0
    """Times that taught words were lost or incomplete."""
    archives: int = 0
    """Exports that were lost or incomplete."""

    @property
    def lost(self) -> int:
        """Number of broken rules."""
        wrong = self.twice + self.beyond + self.days + self.decisions + self.words + self.archives
        return wrong + (self.finished - self.found) + 2 * self.torn - self.named - self.aside + self.died - self.closed


def made_up_words(chance: Random) -> Enrolment:
    """Return an enrolment of made-up numbers; its verdict identifies it."""
    generator = np.random.default_rng(chance.randint(0, 2**31))

    def take() -> Take:
        frames = generator.standard_normal((6, 96)).astype(np.float32)
        rows = generator.uniform(-60.0, -10.0, (27, BANDS)).astype(np.float32)
        return Take(frames, np.arange(1, 7, dtype=np.int32) * 1280, 8_000, -20.0, -60.0, rows)

    takes = {word: (take(), take()) for word in ("ready", "stop")}
    return Enrolment(takes, source="made up", verdict=chance.choice(("hands_free", "keys_only")))


def _live_on(home: Home, program: Program, today: Today, chance: Random, tell: Tell) -> None:
    """Run a person's day in the child: a decision, taught words, a session, and an export before and after it."""
    anew = today.taken_up is None
    if chance.random() < 0.3:
        _export(home, tell)
    if anew and chance.random() < 0.3:
        tell(doing="enrol")
        words = made_up_words(chance)
        make_folder(home.person(PERSON).takes)
        words.save(home.person(PERSON).takes)
        tell(words=words.verdict)
    if anew and chance.random() < 0.3:
        for number in range(3):
            tell(doing="decide")
            exercise = program.exercises[0]
            level = exercise.levels[0].id
            home.decide(PERSON, Decided(program.id, program.digest, exercise.id, "stay", level, level, f"by {number}"))
            tell(decided=f"by {number}")
    tell(doing="session" if anew else "taken up")
    store = begin_in(home, PERSON, today)

    def write(at: int, it: Fact) -> None:
        store.append(at, it)
        if isinstance(it, SetEnded):
            tell(session=store.session, set_id=it.set_id, counted=it.counted, why=it.why)

    live(StoredRun(today, write), RandomPerson(chance, chance.choice((0.0, 0.0, 0.01)), chance.choice((0.0, 0.0, 0.1))))
    store.close()
    _export(home, tell)


def _export(home: Home, tell: Tell) -> None:
    tell(doing="export")
    out = _archive(home)
    with contextlib.redirect_stdout(io.StringIO()):
        assert main(["export", PERSON, str(out), "--home", str(home.root)]) == 0
    tell(exported=out.name)


def _archive(home: Home) -> Path:
    return home.root.with_suffix(".zip")


def killed(do: Callable[[Random, Tell], None], seed: int, at: int, within: float = 0.0) -> tuple[Told, bool]:
    """Run `do` in a child that dies at call number `at` to the disk; return its reports, and whether it was killed.

    `within`: seconds after which it dies instead, wherever it is, even in another library; 0: not used.
    """
    reads, writes = os.pipe()
    sys.stdout.flush()
    child = os.fork()
    if not child:
        try:
            os.close(reads)
            fatal = Fatal(Random(seed + 1), at)

            def tell(**told: Any) -> None:
                fatal.real["write"](writes, json.dumps(told).encode() + b"\n")

            signal.setitimer(signal.ITIMER_REAL, within)  # its signal ends the process like a kill, without clean-up
            do(Random(seed), tell)
        except BaseException:  # noqa: BLE001 - the child must not go on as a second parent
            traceback.print_exc()
            os._exit(1)
        os._exit(0)
    os.close(writes)
    with os.fdopen(reads, "rb") as pipe:
        told = [json.loads(line) for line in pipe]
    _, status = os.waitpid(child, 0)
    assert not os.WIFEXITED(status) or os.WEXITSTATUS(status) == 0, "the child broke: see above"
    return told, os.WIFSIGNALED(status) and os.WTERMSIG(status) in (signal.SIGKILL, signal.SIGALRM)


def look(home: Home, told: Told, left: Left) -> None:
    """Check what a killed child left, let the next start close it, and check again."""
    _look_at_export(home, told, left)
    folder = home.person(PERSON).sessions
    before = home.history(PERSON)
    tails = {path: raw[raw.rfind(b"\n") + 1 :] for path in folder.glob("*.jsonl") if (raw := path.read_bytes())}
    torn = {path: tail for path, tail in tails.items() if tail}
    left.torn += len(torn)
    left.named += sum(
        any(problem.path == path and "torn" in problem.text for problem in before.problems) for path in torn
    )
    died = {record.session for record in before.records if not record.why}
    died |= {path.stem for path in torn} if not died else set()
    left.died += len(died)

    closed = home.close_broken(PERSON)
    left.aside += sum(path.with_name(path.name + ".torn").read_bytes().endswith(tail) for path, tail in torn.items())
    after = home.history(PERSON)
    records = {record.session: record for record in after.records}
    left.closed += sum(
        (name in closed and records[name].why == "interrupted") or not (folder / f"{name}.jsonl").exists()
        for name in died
    )
    assert not after.problems, after.problems
    sets = {(name, one.set_id): one for name, record in records.items() for one in record.sets}
    for one in told:
        if "set_id" in one:
            left.finished += 1
            kept = sets.get((one["session"], one["set_id"]))
            left.found += kept is not None and (kept.counted, kept.why) == (one["counted"], one["why"])
    decisions = home.decisions(PERSON)
    by = [one.by for one in decisions.decisions]
    ours = [one["decided"] for one in told if "decided" in one]
    left.decisions += by[: len(ours)] != ours if ours else 0
    taught = [one["words"] for one in told if "words" in one]
    takes = home.person(PERSON).takes
    if taught or (takes / FILE).exists():
        left.words += bool(taught) and load_enrolment(takes).verdict != taught[-1]


def _close(home: Home) -> None:
    home.close_broken(PERSON)


def _look_at_export(home: Home, told: Told, left: Left) -> None:
    """Check that an export is complete, and holds everything if it was the last action."""
    out, person = _archive(home), home.person(PERSON).folder
    if not out.exists():
        left.archives += any("exported" in one for one in told)
        return
    with zipfile.ZipFile(out) as archive:
        whole = archive.testzip() is None and "README.txt" in archive.namelist()
        if told and "exported" in told[-1]:
            held = {name: archive.read(name) for name in archive.namelist() if name != "README.txt"}
            there = {path.relative_to(person).as_posix(): path for path in person.rglob("*") if path.is_file()}
            whole &= held == {name: path.read_bytes() for name, path in there.items()}
    left.archives += not whole


def most_of(today: Today) -> Counter[tuple[str, str]]:
    """Return the number of planned sets by exercise and side."""
    return Counter(
        (planned.exercise.id, "+".join(side for side in sides if side))
        for planned in today.exercises
        for _, sides in turns(planned.exercise, planned.exercise.levels[planned.level], today.side)
    )


def count_day(records: tuple[SessionRecord, ...], program: Program, first: Today, left: Left) -> None:
    """Compare all parts of a day together with its first plan."""
    if not records or not records[0].sets:
        return
    begun = [one for record in records for one in record.sets]
    each = Counter((one.exercise, one.set, one.side) for one in begun)
    left.twice += sum(times - 1 for times in each.values())
    counted = Counter((one.exercise, one.side) for one in begun)
    left.beyond += sum((counted - most_of(first)).values())
    left.days += len(past(records, program.id)) - 1
    (whole,) = (one.record for one in joined(records))
    left.twice += len(whole.sets) - len({one.set_id for one in whole.sets})


@cache
def _shipped(name: str) -> Program:
    return read(shipped()[name])


def one_day(root: Path, seed: int, left: Left) -> None:
    """Kill one day again and again, each time taken up, until nothing is left of it."""
    chance = Random(seed)
    program = _shipped(chance.choice(sorted(shipped()))) if chance.random() < 0.5 else random_program(chance)
    now = [BEGAN]
    home = Home(root / "home", lambda: now[0])
    home.add_person(PERSON)
    first = plan(program, (), home.today())
    today: Today | None = first
    for part in range(PARTS):
        assert today is not None
        at = chance.randint(1, chance.choice((30, 120, 500))) if part < PARTS - 1 else NEVER
        told, died = killed(partial(_live_on, home, program, today), chance.randint(0, 2**32), at)
        doing = [one["doing"] for one in told if "doing" in one]
        if died:
            left.points[doing[-1] if doing else "begin"] += 1
        else:
            left.ran_out += 1
            left.whole += today.taken_up is not None
        now[0] += timedelta(minutes=10)
        if died and chance.random() < 0.3:  # the next start dies, too, while it closes the session
            _, too = killed(lambda _chance, _tell: _close(home), chance.randint(0, 2**32), chance.randint(1, 12))
            left.points["closing"] += too
        look(home, told, left)
        records = home.history(PERSON).records
        broken = broken_off(records, program.id, home.now())
        today = take_up(plan(program, past(records, program.id), home.today()), broken) if broken else None
        if today is None:
            break
        left.taken_up += 1
    records = home.history(PERSON).records
    count_day(records, program, first, left)


def cut_anywhere(path: Path, root: Path, chance: Random, left: Left, cuts: int) -> None:
    """Cut a session's file at any byte, like a partial write, and let the next start find it."""
    raw = path.read_bytes()
    for _ in range(cuts):
        home = Home(root, lambda: BEGAN)
        home.add_person(PERSON)
        target = home.person(PERSON).sessions / path.name
        target.write_bytes(raw[: chance.randint(1, len(raw) - 1)])
        lines = [json.loads(line) for line in target.read_bytes().rpartition(b"\n")[0].splitlines()]
        told = [
            {"session": path.stem, "set_id": one["set_id"], "counted": one["counted"], "why": one["why"]}
            for one in lines
            if one["line"] == "set_ended"
        ]
        left.points["cut"] += 1
        look(home, told, left)
        for each in target.parent.iterdir():
            each.unlink()


def room_child(root: Path, seed: int, at: int) -> None:
    """Run a session in the virtual room, in its own process, that dies at call number `at` to the disk.

    It reports on standard output what is on the disk, as soon as the writing thread has written it.
    """
    from in_the_room import furnish_home, prepared, session

    ready = prepared()
    furnished = furnish_home(root, ready)
    told: set[int] = set()
    flush = SessionStore.flush
    out = os.dup(1)
    fatal = Fatal(Random(seed), at)

    def flushed(store: SessionStore) -> None:
        flush(store)
        on_disk = (json.loads(line) for line in store.path.read_bytes().splitlines())
        for one in [each for each in on_disk if each["line"] == "set_ended" and each["set_id"] not in told]:
            told.add(one["set_id"])
            said = {"session": store.session} | {name: one[name] for name in ("set_id", "counted", "why")}
            fatal.real["write"](out, json.dumps(said).encode() + b"\n")

    setattr(SessionStore, "flush", flushed)  # noqa: B010 - for the rest of this process
    session(furnished, ready, seed=seed)


def in_a_room(root: Path, command: list[str], seed: int, left: Left) -> None:
    """Kill a session with sound, run by `command` with the home, a seed and a point; check what it left."""
    at = Random(seed).randint(1, 110)
    ran = subprocess.run([*command, str(root), str(seed), str(at)], check=False, stdout=subprocess.PIPE)
    if ran.returncode == -signal.SIGKILL:
        left.points["in the room"] += 1
    else:
        assert ran.returncode == 0, "the child broke: see above"
        left.ran_out += 1
    look(Home(root), [json.loads(line) for line in ran.stdout.splitlines()], left)
