"""The generator's true facts are the facts in the real files."""

from __future__ import annotations

import json
from dataclasses import dataclass, replace
from datetime import UTC, date, datetime
from pathlib import Path

import pytest
from budget import draws

from coach.logbook import SessionRecord
from coach.logbook.fields import fact
from coach.logbook.pain import edge
from coach.logbook.store import Home
from coach.logbook.writing import SessionStore
from coach.program_files import read, shipped
from coach.testing.histories import SimulatedCourse, TrueHistory, TrueSession, write_history
from coach.testing.visits import TrueSet

BUSY = SimulatedCourse(days=draws(32, 60), adherence=0.7, pain=(4, 2), flare=(20, 8, 2), halts=0.4, trouble=0.5)


def written(
    tmp_path: Path, program: str, course: SimulatedCourse, seed: int = 1
) -> tuple[TrueHistory, tuple[SessionRecord, ...]]:
    home = Home(tmp_path)
    true = write_history(home, "ada", read(shipped()[program]), course, seed=seed)
    history = home.history("ada")
    assert history.problems == ()
    return true, history.records


def both(
    tmp_path: Path, program: str, course: SimulatedCourse, seed: int = 1
) -> list[tuple[TrueSession, SessionRecord]]:
    true, records = written(tmp_path, program, course, seed)
    assert [one.session for one in true.sessions] == [record.session for record in records]
    return list(zip(true.sessions, records, strict=True))


Pairs = list[tuple[TrueSession, SessionRecord]]
SEEDS = range(1, draws(1, 2) + 1)


@dataclass(frozen=True)
class Weeks:
    """The true facts of one person, and their files."""

    program: str
    ladder: bool
    pairs: Pairs


@pytest.fixture(
    scope="module",
    params=[(program, ladder, seed) for program in shipped() for ladder in (False, True) for seed in SEEDS],
)
def weeks(request: pytest.FixtureRequest, tmp_path_factory: pytest.TempPathFactory) -> Weeks:
    program, ladder, seed = request.param
    course = replace(BUSY, ladder=ladder)
    return Weeks(program, ladder, both(tmp_path_factory.mktemp("weeks"), program, course, seed))


def test_every_set_is_in_the_files_as_it_was_made(weeks: Weeks) -> None:
    for true, record in weeks.pairs:
        made = [_made(one) for one in true.visit.sets]
        assert made == [_held(record, index) for index in range(len(record.sets))]
        assert [edge(one.pain) for one in record.sets] == [
            edge(true.visit.written(one.pain)) for one in true.visit.sets
        ]
        if not weeks.ladder:
            assert [one.effort for one in record.sets] == [one.effort for one in true.visit.sets]
        assert record.why == true.visit.why


def test_halts_easing_and_hearing_are_in_the_files_as_they_were_made(weeks: Weeks) -> None:
    for true, record in weeks.pairs:
        assert [(halt.exercise, halt.why) for halt in record.halts] == true.visit.halts
        assert [(step.exercise, step.because) for step in record.steps] == true.visit.eased
        assert sum(ear.used for ear in record.heard) == true.visit.words
        assert sum(ear.heard - ear.used for ear in record.heard) == true.visit.unclear
        assert sum(what == "mic_lost" for _, what in record.devices) == true.visit.lost
        unanswered = [one for one in record.questions if not one.answered and not one.because]
        assert len(unanswered) == true.visit.unanswered
        assert record.next_in_days == days_by_rule(weeks.program, sore=true.visit.sore)


def days_by_rule(program: str, *, sore: bool) -> int:
    schedule = read(shipped()[program]).schedule
    return schedule.after_sore_days if sore else schedule.every_days


def _made(one: TrueSet) -> tuple[object, ...]:
    return (
        one.exercise, one.level, one.side, one.unit, one.planned, one.counted, one.stated, one.why,
        round(one.tension_planned_s, 3), round(one.tension_s, 3),
    )  # fmt: skip


def _held(record: SessionRecord, index: int) -> tuple[object, ...]:
    one = record.sets[index]
    return (
        one.exercise, one.level, one.side, one.unit, one.planned_high, one.counted, one.stated, one.why,
        one.tension_planned_s, one.tension_s,
    )  # fmt: skip


def test_a_file_is_byte_for_byte_what_the_store_writes(tmp_path: Path) -> None:
    moments: list[datetime] = []
    home = Home(tmp_path / "again", now=lambda: moments[-1])
    true, records = written(tmp_path / "made", "kneecap_steady", BUSY)
    moments.append(datetime(2027, 1, 1, tzinfo=UTC))
    home.add_person("ada")

    for record in records[:5]:
        made = (tmp_path / "made/people/ada/sessions" / f"{record.session}.jsonl").read_text("utf-8")
        moments.append(next(one.began for one in true.sessions if one.session == record.session))
        with home.begin("ada") as store:
            _write_again(store, made, moments)
        assert store.path.name == f"{record.session}.jsonl"
        assert store.path.read_text("utf-8") == made


def _write_again(store: SessionStore, made: str, moments: list[datetime]) -> None:
    for text in made.splitlines():
        held = json.loads(text)
        moments.append(datetime.fromisoformat(held.pop("t")))
        kind, at = held.pop("line"), held.pop("at")
        store.append(at, fact(kind, {name: value for name, value in held.items() if name not in ("v", "n", "chain")}))


def test_a_person_who_always_comes_has_a_session_on_every_due_day(tmp_path: Path) -> None:
    true, _ = written(
        tmp_path, "kneecap_steady", SimulatedCourse(days=30, adherence=1.0, pain=(0, 0), halts=0, trouble=0)
    )

    assert true.due == tuple(range(0, 30, 2))
    assert tuple(one.day for one in true.sessions) == true.due


def test_a_person_who_never_returns_has_one_session_and_all_due_days(tmp_path: Path) -> None:
    true, _ = written(
        tmp_path, "ankle_steady", SimulatedCourse(days=10, adherence=0.0, pain=(0, 0), halts=0, trouble=0)
    )

    assert true.due == tuple(range(10))
    assert [one.day for one in true.sessions] == [0]


def test_a_sore_day_puts_off_the_next_as_the_program_says(tmp_path: Path) -> None:
    true, _ = written(
        tmp_path, "kneecap_steady", SimulatedCourse(days=12, adherence=1.0, pain=(4, 4), halts=0, trouble=0)
    )

    assert true.due == (0, 3, 6, 9)


def test_a_flare_hurts_more_and_its_mornings_after_are_worse(tmp_path: Path) -> None:
    course = SimulatedCourse(days=30, adherence=1.0, pain=(1, 1), flare=(10, 10, 3), halts=0, trouble=0)
    true, _ = written(tmp_path, "ankle_steady", course)

    calm = [one.visit.highest for one in true.sessions if one.day < 10]
    sore = [one.visit.highest for one in true.sessions if 10 <= one.day < 20 and one.visit.sets]
    assert max(pain for pain in calm if pain is not None) < min(pain for pain in sore if pain is not None)
    assert {one.visit.worse for one in true.sessions if 11 <= one.day < 20} == {True}
    assert {one.visit.worse for one in true.sessions if 1 <= one.day < 10} == {False}


def test_the_same_seed_gives_the_same_files_and_another_person_or_seed_does_not(tmp_path: Path) -> None:
    program, files = read(shipped()["ankle_steady"]), []
    for name, person, seed in (("a", "ada", 1), ("b", "ada", 1), ("c", "bo", 1), ("d", "ada", 2)):
        write_history(Home(tmp_path / name), person, program, BUSY, seed=seed, begins=date(2027, 1, 11))
        folder = tmp_path / name / "people" / person / "sessions"
        files.append({path.name: path.read_bytes() for path in folder.iterdir()})

    assert files[0] == files[1]
    assert files[0] != files[2]
    assert files[0] != files[3]


def test_a_clinicians_decision_is_kept_and_raises_the_level_from_that_day(tmp_path: Path) -> None:
    course = SimulatedCourse(days=40, adherence=1.0, pain=(0, 0), halts=0, trouble=0, fewer=0, decides=True)
    true, _ = written(tmp_path, "kneecap_steady", course)

    held = Home(tmp_path).decisions("ada")
    assert held.problems == ()
    assert true.decisions == held.decisions
    assert true.decisions
    first = true.decisions[0]
    levels = {
        one.level: one_session.day
        for one_session in true.sessions
        for one in one_session.visit.sets
        if one.exercise == first.exercise
    }
    assert list(levels)[:2] == [first.from_level, first.to_level]
    assert levels[first.from_level] < (first.day - true.begins).days <= levels[first.to_level]
