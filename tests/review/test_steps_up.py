"""The tables give the same past as the records, and the same step-ups as the plan."""

from __future__ import annotations

import json
import shutil
from dataclasses import replace
from datetime import UTC, date, datetime, time, timedelta
from pathlib import Path
from random import Random

import pytest
from broken import broken
from clinics import COURSES, TODAY, make_clinic

from coach.cli.session_setup import prepare
from coach.history import past as past_of_records
from coach.logbook.fields import fact
from coach.logbook.store import Home
from coach.loglines.changes import Decided
from coach.program_files import read, shipped
from coach.review.clinic import look
from coach.review.columns import Clinic, ask, open_clinic, write_columns
from coach.review.logbooks import EPOCH
from coach.review.steps_up import ProgramAsks, asked_of_programs, past
from coach.review.urgency import Need
from coach.session.proposals import proposals
from coach.testing import RandomPerson, live_in
from coach.testing.histories import SimulatedCourse, write_history


@pytest.fixture(scope="module")
def root(tmp_path_factory: pytest.TempPathFactory) -> Path:
    root = tmp_path_factory.mktemp("clinic")
    make_clinic(root)
    return root


def opened(folder: Path, today: int = 0) -> Clinic:
    clinic = open_clinic(folder)
    day = TODAY.toordinal() - EPOCH + today
    clinic.engine.execute(f"CREATE OR REPLACE TEMPORARY VIEW today AS SELECT {day} AS day_number")
    return clinic


def steps_up(clinic: Clinic, today: date) -> dict[str, int | None]:
    def waiting(asked: ProgramAsks) -> int | None:
        return None if asked.steps_up is None else len(asked.steps_up)

    return {person: waiting(asked) for person, asked in asked_of_programs(clinic, today).items()}


@pytest.mark.parametrize("person", COURSES)
def test_the_past_is_that_of_the_records(root: Path, person: str) -> None:
    records = Home(root).history(person).records
    expected = past_of_records(records, COURSES[person][0])

    rows = [row for row in ask(opened(root).engine, "past") if row["person"] == person]

    assert list(past(rows)) == [replace(one, digest="") for one in expected]
    assert len(expected) > 10


def test_a_session_with_a_changed_line_is_no_evidence_in_either(tmp_path: Path) -> None:
    make_clinic(tmp_path)
    path = next(iter(sorted((tmp_path / "people" / "ana" / "sessions").glob("*.jsonl"))))
    path.write_text(path.read_text().replace('"question":"effort","value":', '"question":"effort","value":1', 1))
    home = Home(tmp_path)

    expected = past_of_records(home.history("ana", sound=True).records, COURSES["ana"][0])
    rows = [row for row in ask(opened(tmp_path).engine, "past") if row["person"] == "ana"]

    assert [one.pain_unanswered for one in expected[0].exercises] == [True] * len(expected[0].exercises)
    assert not any(one.pain_unanswered for one in expected[-1].exercises)
    assert list(past(rows)) == [replace(one, digest="") for one in expected]


def test_no_step_up_waits_past_a_session_or_decisions_that_cannot_be_read(root: Path, tmp_path: Path) -> None:
    waiting = steps_up(opened(root), TODAY)
    person = next(person for person, n in waiting.items() if n)
    lost = tmp_path / "lost"
    shutil.copytree(root, lost)
    sessions = Home(lost).person(person).sessions
    broken(sessions / f"{max(sessions.iterdir()).name[:8]}t235959z-1.jsonl", "pipe")
    clinic = opened(lost)
    review = look(clinic, TODAY)

    assert steps_up(clinic, TODAY)[person] == 0
    assert Need.UNREAD in next(one for one in review.people if one.person == person).needs
    assert [one.text[:14] for one in review.left_out] == ["cannot be read"]

    kept = tmp_path / "kept"
    shutil.copytree(root, kept)
    broken(Home(kept).person(person).decisions, "dangling")
    assert steps_up(opened(kept), TODAY)[person] is None


def test_unsteadiness_outside_of_any_exercise_counts_in_the_tables_for_each_as_in_the_records(tmp_path: Path) -> None:
    lived, home = Home(tmp_path / "lived"), Home(tmp_path / "home")
    for one in (lived, home):
        one.add_person("ana")
    live_in(lived, "ana", prepare("ankle_steady").today, RandomPerson(Random(0), odd=0.0, silent=0.0))
    lines = [json.loads(line) for line in next(lived.person("ana").sessions.iterdir()).read_text().splitlines()]
    at = next(number for number, line in enumerate(lines) if line["line"] == "set_begun")
    halt = {"at": lines[at]["at"], "line": "halt_why", "why": "unsteady", "pain": 2, "state": "halted", "ear": "keys"}
    with home.begin("ana") as store:
        for line in (*lines[:at], halt, *lines[at:]):
            fields = {key: value for key, value in line.items() if key not in ("v", "n", "t", "at", "line", "chain")}
            own = {"session": store.session} if line["line"] == "session_begun" else {}
            store.append(line["at"], fact(line["line"], fields | own))

    expected = past_of_records(home.history("ana").records, "ankle_steady")
    found = list(past(ask(opened(home.root).engine, "past")))

    assert {one.unsteady for one in expected[0].exercises} == {True}
    assert len(expected[0].exercises) > 1
    assert found == [replace(one, digest="") for one in expected]


@pytest.mark.parametrize("back", range(0, 40, 5))
def test_step_ups_that_wait_are_those_that_the_plan_proposes(root: Path, back: int) -> None:
    """Look at everybody on each day in between; sessions after that day count as dated in the future."""
    today = TODAY - timedelta(days=back)

    waiting = steps_up(opened(root, -back), today)

    for person, (name, _, _) in COURSES.items():
        history = past_of_records(Home(root).history(person).records, name)
        due = [one for one in proposals(read(shipped()[name]), history, (), today) if one.due]
        assert waiting[person] == len(due)


def test_a_step_up_that_waits_is_a_need(root: Path) -> None:
    review = look(open_clinic(root), TODAY)

    assert review.of(Need.STEP_UP)


def test_from_columns_step_ups_are_not_known(root: Path, tmp_path: Path) -> None:
    write_columns(open_clinic(root), tmp_path)

    assert look(open_clinic(tmp_path), TODAY).of(Need.STEP_UP) == ()


def test_a_step_up_that_was_decided_waits_no_more_though_its_program_is_a_kept_copy(tmp_path: Path) -> None:
    home = Home(tmp_path, now=lambda: datetime.combine(TODAY, time(8), UTC))
    path = shipped()["ankle_steady"]
    well = SimulatedCourse(days=28, adherence=1.0, halts=0.0, trouble=0.0, fewer=0.0, pain=(1, 0))
    begins = TODAY - timedelta(days=28)
    write_history(home, "ana", read(path), well, seed=3, begins=begins, source=path.read_bytes())
    before = steps_up(opened(tmp_path), TODAY)["ana"]
    program = read(path)
    home.decide("ana", Decided(program.id, program.digest, "heel_lowering", "stay", "both_hands", "both_hands", "Kim"))

    assert before
    assert steps_up(opened(tmp_path), TODAY)["ana"] == before - 1
