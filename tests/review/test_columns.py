"""The tables hold what the records hold, and what cannot be counted is listed by file and line."""

from __future__ import annotations

import json
import os
import shutil
from collections.abc import Iterator
from datetime import UTC, date, datetime, timedelta
from hashlib import sha256
from pathlib import Path
from random import Random
from typing import Any

import pytest

from coach.cli.session_setup import prepare
from coach.errors import CoachError
from coach.history import past
from coach.logbook import VERSION, SessionRecord, joined
from coach.logbook.pain import edge, is_pain
from coach.logbook.store import Home
from coach.program_files import read, shipped
from coach.review import columns, steps_up
from coach.review.columns import TABLES, Clinic, ask, open_clinic, write_columns
from coach.review.logbooks import EPOCH
from coach.testing import RandomPerson, StoredRun, begin_in
from coach.testing.histories import SimulatedCourse, write_history

Rows = list[tuple[Any, ...]]

COURSES = {
    "ana": ("ankle_steady", SimulatedCourse(days=28, halts=0.5, trouble=0.5, pain=(2, 4))),
    "bo": ("older_adult_balance", SimulatedCourse(days=28, halts=0.4, trouble=0.4, ladder=True)),
    "cy": ("trunk_endurance", SimulatedCourse(days=28, halts=0.3, flare=(7, 7, 3))),
}


@pytest.fixture(scope="module")
def made(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Return a home with three people, four weeks each, with halts, bands, unanswered questions and a flare."""
    root = tmp_path_factory.mktemp("clinic")
    for seed, (person, (program, course)) in enumerate(COURSES.items()):
        write_history(Home(root), person, read(shipped()[program]), course, seed=seed)
    return root


@pytest.fixture
def home(made: Path, tmp_path: Path) -> Path:
    """Return a copy of it that a test may spoil."""
    return Path(shutil.copytree(made, tmp_path / "home"))


def rows(clinic: Clinic, query: str) -> Rows:
    return clinic.engine.execute(query).fetchall()


def records(root: Path) -> Iterator[tuple[str, SessionRecord]]:
    for person in COURSES:
        for record in Home(root).history(person).records:
            yield person, record


def files(root: Path, person: str) -> list[Path]:
    return sorted(Home(root).person(person).sessions.glob("*.jsonl"))


def left_out(clinic: Clinic) -> Rows:
    return rows(clinic, "SELECT file, line, text FROM left_out ORDER BY ALL")


def test_sets_are_those_of_the_records(made: Path) -> None:
    clinic = open_clinic(made)

    expected = [
        (person, record.session, one.set_id, one.exercise, one.level, one.set, one.side, one.kind, one.unit,
         one.planned_low, one.planned_high, one.counted, one.stated, one.tension_planned_s, one.tension_s, one.why)
        for person, record in records(made)
        for one in record.sets
    ]  # fmt: skip
    assert rows(clinic, "SELECT * FROM sets ORDER BY ALL") == sorted(expected)
    assert len({one[-1] for one in expected}) > 2
    assert any(one[12] not in (None, one[11]) for one in expected)


def test_sessions_and_plans_are_those_of_the_records(made: Path) -> None:
    clinic = open_clinic(made)

    told = rows(clinic, "SELECT person, session, program, digest, began, why, next_in_days, sets_planned FROM sessions")
    assert sorted(told) == sorted(
        (person, it.session, it.program, it.digest, it.began, it.why, it.next_in_days, it.sets_planned)
        for person, it in records(made)
    )
    planned = rows(clinic, "SELECT person, session, place, exercise, name, level, sets, target FROM planned")
    assert sorted(planned) == sorted(
        (person, it.session, place, one.exercise, one.name, one.level, one.sets, one.target)
        for person, it in records(made)
        for place, one in enumerate(it.plan, start=1)
    )


def test_answers_halts_and_easings_are_those_of_the_records(made: Path) -> None:
    clinic = open_clinic(made)

    value = "coalesce(number::VARCHAR, yes::VARCHAR, word)"
    told = rows(clinic, f"SELECT person, session, question, set_id, answered, {value} FROM answers")
    assert sorted(told, key=str) == sorted(
        ((person, it.session, one.question, one.set_id, one.answered,
          None if one.value is None else str(one.value).lower() if isinstance(one.value, bool) else str(one.value))
        for person, it in records(made)
        for one in it.questions), key=str)  # fmt: skip
    halts = [(who, it.session, one.exercise, one.set_id, one.why) for who, it in records(made) for one in it.halts]
    assert sorted(rows(clinic, "SELECT person, session, exercise, set_id, why FROM halts")) == sorted(halts)
    assert {halt[-1] for halt in halts} >= {"pain", "break"}
    assert sorted(rows(clinic, "SELECT person, session, exercise, what, before, after, because FROM eased")) == sorted(
        (person, it.session, one.exercise, one.what, str(one.before), str(one.after), one.because)
        for person, it in records(made)
        for one in it.steps
    )


def test_a_pain_keeps_its_band_and_no_answer_is_no_pain(made: Path) -> None:
    clinic = open_clinic(made)

    told = rows(
        clinic, "SELECT person, session, pain_low, pain_high FROM answers WHERE question IN ('pain', 'halt_pain')"
    )
    pains = [
        (person, it.session, one.value) for person, it in records(made) for one in it.questions if is_pain(one.question)
    ]

    def low(value: object) -> int | None:
        if isinstance(value, str) and value != "none":
            return int(value.partition("-")[0])
        return edge(value)  # type: ignore[arg-type]

    assert sorted(told, key=str) == sorted(((who, session, low(it), edge(it)) for who, session, it in pains), key=str)
    assert {type(value) for _, _, value in pains} >= {int, str}


def test_a_day_is_the_local_day_of_the_first_line(made: Path) -> None:
    days = {day for (day,) in rows(open_clinic(made), "SELECT DISTINCT day_number FROM sessions")}

    assert days <= {date(2027, 1, 11).toordinal() - EPOCH + day for day in range(28)}
    assert date.fromordinal(EPOCH) == date(1970, 1, 1)


def test_columns_give_the_same_tables(made: Path, tmp_path: Path) -> None:
    clinic = open_clinic(made)
    write_columns(clinic, tmp_path / "columns")

    again = open_clinic(tmp_path / "columns")

    for table in TABLES:
        query = f"SELECT * FROM {table} ORDER BY ALL"
        assert rows(again, query) == rows(clinic, query)
    assert {path.stat().st_mode & 0o777 for path in (tmp_path / "columns").iterdir()} == {0o600}


def test_nothing_is_left_out_of_a_sound_home(made: Path) -> None:
    assert left_out(open_clinic(made)) == []


def test_an_edited_line_is_left_out_and_the_others_are_not(home: Path) -> None:
    path = files(home, "ana")[2]
    lines = path.read_bytes().split(b"\n")
    at = next(n for n, line in enumerate(lines) if b'"line":"set_ended"' in line)
    lines[at] = lines[at].replace(b'"why":"done"', b'"why":"enough"')
    path.write_bytes(b"\n".join(lines))
    before = rows(open_clinic(home), "SELECT 1")

    clinic = open_clinic(home)

    assert left_out(clinic) == [
        (
            f"people/ana/sessions/{path.name}",
            at + 1,
            "does not match its checksum: it, or a line before it, was changed",
        )
    ]
    assert rows(clinic, f"SELECT count(*), count(why) FROM sets WHERE session = '{path.stem}' AND set_id = 1") == [
        (1, 0)
    ]
    assert before == [(1,)]


def test_a_torn_tail_is_left_out_and_the_lines_before_it_are_not(home: Path) -> None:
    path = files(home, "bo")[0]
    path.write_bytes(path.read_bytes()[:-40])

    clinic = open_clinic(home)

    ((file, _, text),) = left_out(clinic)
    assert (file, text) == (f"people/bo/sessions/{path.name}", "is torn off before its end")
    assert rows(clinic, f"SELECT why FROM sessions WHERE session = '{path.stem}'") == [(None,)]


def test_an_empty_file_and_one_that_is_no_logbook_are_left_out_whole(home: Path) -> None:
    folder = files(home, "cy")[0].parent
    (folder / "empty.jsonl").write_bytes(b"")
    (folder / "foreign.jsonl").write_bytes(b'{"hello": 1}\n\xff\xfe\n[]\n')

    told = left_out(open_clinic(home))

    assert ("people/cy/sessions/empty.jsonl", 0, "holds no session") in told
    assert ("people/cy/sessions/foreign.jsonl", 0, "holds no session") in told
    assert [line for file, line, _ in told if "foreign" in file] == [0, 1, 2, 3]


def sealed(session: str, *bodies: dict[str, Any]) -> bytes:
    """Return a file whose chain is whole, whatever its lines hold."""
    previous, out = session, b""
    for body in bodies:
        text = json.dumps(body, separators=(",", ":"))
        chain = sha256((previous + text).encode()).hexdigest()
        out += f'{text[:-1]},"chain":"{chain}"}}\n'.encode()
        previous = chain
    return out


def frame(n: int, line: str, v: int = 1, **fields: Any) -> dict[str, Any]:
    return {"v": v, "n": n, "t": "2027-01-30T09:00:00.000Z", "at": n, "line": line, **fields}


def test_a_file_of_a_newer_version_is_left_out_line_by_line(home: Path) -> None:
    path = files(home, "cy")[0].parent / "newer.jsonl"
    path.write_bytes(
        sealed("newer", frame(1, "ready", v=VERSION + 1, ear="keys"), frame(2, "ready", v=VERSION + 1, ear="keys"))
    )

    told = [(line, text) for file, line, text in left_out(open_clinic(home)) if "newer" in file]

    assert [line for line, _ in told] == [0, 1, 2]
    assert "was written by a newer version" in told[1][1]


@pytest.mark.parametrize(
    ("line", "why"),
    [
        (frame(1, "dance", steps=3), 'the kind "dance" is not known'),
        (frame(1, "set_ended", set_id="one", exercise="x"), "\"set_id\" is 'one', not int"),
        (frame(1, "session_ended", next_in_days=1), 'it lacks "why"'),
    ],
)
def test_a_line_that_cannot_be_what_its_seal_says_is_left_out(home: Path, line: dict[str, Any], why: str) -> None:
    path = files(home, "cy")[0].parent / "odd.jsonl"
    path.write_bytes(sealed("odd", line, frame(2, "ready", ear="keys")))

    told = [one for one in left_out(open_clinic(home)) if "odd" in one[0]]

    assert [(file, number) for file, number, _ in told] == [("people/cy/sessions/odd.jsonl", 1)]
    assert why in told[0][2]


def test_a_file_about_another_person_is_left_out(home: Path) -> None:
    moved = files(home, "ana")[0]
    target = files(home, "bo")[0].parent / f"{moved.stem}.jsonl"
    shutil.copy(moved, target.with_name("20270101t000000z-1.jsonl"))
    shutil.move(moved, target if not target.exists() else target.with_name("x.jsonl"))

    told = left_out(open_clinic(home))

    assert any("is about another person" in text for _, _, text in told)
    assert not rows(
        open_clinic(home), f"SELECT * FROM sets WHERE person = 'bo' AND session = '{moved.stem}' AND set_id > 0"
    )


def test_people_with_one_id_in_two_homes_stay_apart(home: Path, tmp_path: Path) -> None:
    both = tmp_path / "both"
    both.mkdir()
    shutil.copytree(home, both / "north")
    shutil.move(home, both / "south")

    clinic = open_clinic(both)

    assert rows(clinic, "SELECT person FROM people ORDER BY 1") == [
        (f"{place}/{person}",) for place in ("north", "south") for person in ("ana", "bo", "cy")
    ]
    counts: dict[str, int] = dict(rows(clinic, "SELECT person, count(*) FROM sessions GROUP BY 1"))
    assert counts["north/ana"] == counts["south/ana"] == len(files(both / "north", "ana"))


def test_permuting_files_changes_nothing(made: Path, home: Path) -> None:
    for path in files(home, "ana"):
        path.touch()

    for table in TABLES:
        query = f"SELECT * FROM {table} ORDER BY ALL"
        assert rows(open_clinic(home), query) == rows(open_clinic(made), query)


def test_a_folder_that_is_not_a_clinic_is_reported_in_one_sentence(tmp_path: Path) -> None:
    with pytest.raises(CoachError, match="is not a clinic; name a home"):
        open_clinic(tmp_path)
    with pytest.raises(CoachError, match="is not a clinic"):
        open_clinic(tmp_path / "none")


def test_columns_that_cannot_be_written_are_reported_in_one_sentence(made: Path, tmp_path: Path) -> None:
    (tmp_path / "file").write_bytes(b"")
    taken = tmp_path / "folder"
    (taken / "sets.parquet").mkdir(parents=True)

    for folder in (tmp_path / "file" / "below", taken):
        with pytest.raises(CoachError, match=r"name a f(older where you may write|ile in it)"):
            write_columns(open_clinic(made), folder)


def test_torn_columns_are_reported_in_one_sentence(made: Path, tmp_path: Path) -> None:
    write_columns(open_clinic(made), tmp_path)
    (tmp_path / "sets.parquet").write_bytes(b"PAR1")

    with pytest.raises(CoachError, match=r"sets.parquet cannot be read; write the columns anew"):
        open_clinic(tmp_path)


@pytest.mark.parametrize("at", [1, len(TABLES) - 1])
def test_columns_from_two_runs_are_reported_in_one_sentence(
    at: int, made: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    clinic = open_clinic(made)
    write_columns(clinic, tmp_path)
    replace = Path.replace
    done: list[Path] = []

    def killed(path: Path, target: Path) -> Path:
        if len(done) == at:
            raise KeyboardInterrupt
        done.append(path)
        return replace(path, target)

    with monkeypatch.context() as patched:
        patched.setattr(Path, "replace", killed)
        with pytest.raises(KeyboardInterrupt):
            write_columns(clinic, tmp_path)

    with pytest.raises(CoachError, match=r"do not belong together.*write the columns anew"):
        open_clinic(tmp_path)
    write_columns(clinic, tmp_path)
    assert rows(open_clinic(tmp_path), "SELECT count(*) FROM sets") == rows(clinic, "SELECT count(*) FROM sets")
    assert not list(tmp_path.glob("*.new"))


def test_what_does_not_fit_into_memory_goes_into_a_private_folder_that_is_deleted_with_the_engine(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(tmp_path)
    engine = columns._engine()
    (row,) = engine.execute("SELECT current_setting('temp_directory')").fetchall()
    aside = Path(row[0])

    assert aside.stat().st_mode & 0o777 == 0o700
    assert not aside.is_relative_to(tmp_path)

    engine.close()
    del engine
    assert not aside.exists()


def test_a_folder_whose_name_looks_like_a_pattern_is_read(home: Path, tmp_path: Path) -> None:
    odd = tmp_path / "ward [3]*"
    shutil.copytree(home, odd)

    clinic = open_clinic(odd)

    assert rows(clinic, "SELECT count(*) FROM sets") == rows(open_clinic(home), "SELECT count(*) FROM sets")
    assert left_out(clinic) == []


def test_a_file_whose_name_is_not_text_is_left_out(home: Path) -> None:
    path = files(home, "cy")[0]
    path.rename(path.with_name(os.fsdecode(b"\xff.jsonl")))

    assert [text for _, _, text in left_out(open_clinic(home))] == ["has a name that is not text"]


def test_reading_changes_no_file(made: Path) -> None:
    before = {path: path.read_bytes() for path in made.rglob("*") if path.is_file()}

    open_clinic(made)

    assert {path: path.read_bytes() for path in made.rglob("*") if path.is_file()} == before


def test_a_session_that_broke_off_and_was_taken_up_is_one_in_every_table(tmp_path: Path) -> None:
    now = [datetime(2027, 1, 11, 9, 30, tzinfo=UTC)]
    home = Home(tmp_path, lambda: now[0])
    for seed, person in enumerate(COURSES):
        home.add_person(person)
        for day in range(4):
            now[0] = datetime(2027, 1, 11 + day, 9, 30, tzinfo=UTC)
            for part in range(3):
                prepared = prepare("ankle_steady", home, person)
                today = prepared.today if part == 0 else prepared.left
                if today is None:
                    break
                store = begin_in(home, person, today)
                run = StoredRun(today, store.append)
                who = RandomPerson(Random(10 * seed + day), odd=0.0, silent=0.02)
                while not run.over and (part == 2 or run.session.sets_begun < 2 + seed):
                    who.move(run)
                store.close()
                home.close_broken(person)
                now[0] += timedelta(minutes=20)

    whole = [(person, it.record) for person in COURSES for it in joined(home.history(person).sessions)]
    clinic = open_clinic(tmp_path)

    assert any(it.parts > 1 for _, it in whole)
    assert len(whole) < len(list(records(tmp_path)))
    told = rows(clinic, "SELECT person, session, why, next_in_days, sets_planned, doubtful FROM sessions")
    assert sorted(told) == sorted(
        (who, it.session, it.why, it.next_in_days, it.sets_planned, False) for who, it in whole
    )
    sets = rows(clinic, "SELECT person, session, set_id, exercise, set_number, side, counted, why FROM sets")
    assert sorted(sets, key=str) == sorted(
        ((who, it.session, one.set_id, one.exercise, one.set, one.side, one.counted, one.why)
        for who, it in whole for one in it.sets), key=str)  # fmt: skip
    answers = rows(clinic, "SELECT person, session, question, set_id FROM answers")
    assert sorted(answers) == sorted(
        (who, it.session, one.question, one.set_id) for who, it in whole for one in it.questions
    )
    planned = rows(clinic, "SELECT person, session, exercise, sets FROM planned")
    assert sorted(planned) == sorted((who, it.session, one.exercise, one.sets) for who, it in whole for one in it.plan)
    by_tables: dict[str, list[dict[str, Any]]] = {}
    day = now[0].date().toordinal() - EPOCH
    clinic.engine.execute(f"CREATE OR REPLACE TEMPORARY VIEW today AS SELECT {day} AS day_number")
    for row in ask(clinic.engine, "past"):
        by_tables.setdefault(row["person"], []).append(row)
    for person in COURSES:
        expected = past(home.history(person).records, "ankle_steady")
        found = tuple(steps_up.past(by_tables[person]))
        assert [(one.session, one.day, one.why, one.exercises) for one in found] == [
            (one.session, one.day, one.why, one.exercises) for one in expected
        ]
