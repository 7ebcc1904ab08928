"""The clinician's decisions and the kept program files on the disk: private, in order, honest about what is broken."""

from __future__ import annotations

import json
import stat
from collections.abc import Callable
from dataclasses import replace
from datetime import date, datetime
from hashlib import sha256
from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from coach.logbook.store import Home
from coach.loglines.changes import Decided, ProgramVersion
from coach.session.past import Verdict

UP = Decided("ankle", "d1", "heel", "up", "both", "one", "Kim Rivers", "steady")
DOWN = Decided("ankle", "d1", "heel", "down", "one", "both", "Kim Rivers")
VERSION = ProgramVersion("ankle", "d1", "", "Kim Rivers, physical therapist", "2027-01-11")


@pytest.fixture
def home(tmp_path: Path, ticking: Callable[[], datetime]) -> Home:
    home = Home(tmp_path / "home", ticking)
    home.add_person("mira", "Mira")
    return home


def decide(home: Home, *lines: Decided | ProgramVersion) -> Path:
    for line in lines:
        home.decide("mira", line)
    return home.person("mira").decisions


def test_decisions_and_versions_read_back_in_order_with_who_and_when(home: Home) -> None:
    path = decide(home, VERSION, UP, DOWN)

    read = home.decisions("mira")

    assert read.problems == ()
    assert [(d.verdict, d.to_level, d.by, d.note) for d in read.decisions] == [
        (Verdict.UP, "one", "Kim Rivers", "steady"), (Verdict.DOWN, "both", "Kim Rivers", ""),
    ]  # fmt: skip
    assert [(v.digest, v.written_by, v.written_on) for v in read.versions] == [
        ("d1", VERSION.written_by, VERSION.written_on)
    ]
    assert all(at.startswith("2027-01-11T09:30:") for at in (read.decisions[0].at, read.versions[0].at))
    assert stat.S_IMODE(path.stat().st_mode) == 0o600


def test_nobody_decided_anything_yet(home: Home) -> None:
    read = home.decisions("mira")

    assert (read.decisions, read.versions, read.problems) == ((), (), ())


def test_an_edited_line_admits_nothing_and_ends_no_pause(home: Home) -> None:
    admit = replace(UP, verdict="admit")
    pause = replace(UP, verdict="pause", until="2027-02-01")
    path = decide(home, admit, pause)
    assert [(d.verdict, d.until) for d in home.decisions("mira").decisions] == [
        (Verdict.ADMIT, None), (Verdict.PAUSE, date(2027, 2, 1)),
    ]  # fmt: skip

    path.write_text(path.read_text("utf-8").replace("Kim", "Kam"), "utf-8")

    assert [(d.verdict, d.until) for d in home.decisions("mira").decisions] == [(Verdict.PAUSE, None)]


def test_a_pause_whose_end_is_no_day_has_no_end(home: Home) -> None:
    decide(home, replace(UP, verdict="pause", until="soon"))

    assert [(d.verdict, d.until) for d in home.decisions("mira").decisions] == [(Verdict.PAUSE, None)]


def test_a_torn_tail_is_named_kept_aside_and_the_file_goes_on(home: Home) -> None:
    path = decide(home, UP)
    with path.open("ab") as file:
        file.write(b'{"v":1,"n":2,"t":')

    assert [str(problem) for problem in home.decisions("mira").problems] == [
        "decisions.jsonl:2 is torn off before its end."
    ]
    decide(home, DOWN)

    read = home.decisions("mira")
    assert (len(read.decisions), read.problems) == (2, ())
    assert path.with_name("decisions.jsonl.torn").read_bytes() == b'{"v":1,"n":2,"t":'


def test_an_edited_step_up_counts_for_nothing_and_an_edited_step_down_still_counts(home: Home) -> None:
    path = decide(home, UP, DOWN)
    path.write_text(path.read_text("utf-8").replace("Kim", "Kam"), "utf-8")

    read = home.decisions("mira")

    assert [decision.verdict for decision in read.decisions] == [Verdict.DOWN]
    assert [problem.line for problem in read.problems] == [1, 2]


def test_a_step_up_after_a_removed_line_is_ignored(home: Home) -> None:
    path = decide(home, DOWN, UP)
    path.write_text(path.read_text("utf-8").splitlines(keepends=True)[1], "utf-8")

    assert home.decisions("mira").decisions == ()
    assert home.decisions("mira").problems


def test_a_step_up_from_another_persons_file_is_ignored(home: Home) -> None:
    path = decide(home, UP)
    other = home.add_person("tao").decisions
    other.write_bytes(path.read_bytes())

    assert home.decisions("tao").decisions == ()
    assert "does not match its checksum" in home.decisions("tao").problems[0].text


def test_a_line_without_a_time_is_no_decision(home: Home) -> None:
    path = decide(home, DOWN)
    held = json.loads(path.read_text("utf-8"))
    path.write_text(json.dumps(held | {"t": "some day"}) + "\n", "utf-8")

    assert home.decisions("mira").decisions == ()


@given(st.binary(max_size=300))
@settings(suppress_health_check=[HealthCheck.function_scoped_fixture], max_examples=50)
def test_reading_never_fails_whatever_the_file_holds(home: Home, raw: bytes) -> None:
    home.person("mira").decisions.write_bytes(raw)

    assert home.decisions("mira").decisions == ()


def test_a_program_is_kept_once_and_an_edited_copy_is_not_taken_for_it(home: Home) -> None:
    data = b"format: 1\n"
    digest = sha256(data).hexdigest()

    assert home.kept("mira", "ankle", digest) is None
    path = home.keep_program("mira", "ankle", digest, data)
    assert home.kept("mira", "ankle", digest) == path
    assert path.name == f"ankle-{digest[:12]}.yaml"
    assert (stat.S_IMODE(path.stat().st_mode), stat.S_IMODE(path.parent.stat().st_mode)) == (0o600, 0o700)

    path.write_bytes(b"format: 2\n")
    assert home.kept("mira", "ankle", digest) is None
    assert home.keep_program("mira", "ankle", digest, data).read_bytes() == data


@pytest.mark.parametrize("program", ["../../else", "a/b", "x" * 300, "발목", ".", "a\x00b"])
def test_a_copy_stays_in_its_folder_whatever_the_program_is_called(home: Home, program: str) -> None:
    data = b"x"
    path = home.keep_program("mira", program, sha256(data).hexdigest(), data)

    assert path.parent == home.person("mira").folder / "programs"
    assert home.kept("mira", program, sha256(data).hexdigest()) == path
