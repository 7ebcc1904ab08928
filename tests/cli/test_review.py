"""`coach review` begins with the decisions, names what it leaves out, and fails in one sentence."""

from __future__ import annotations

import csv
import json
from collections.abc import Callable
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest

from coach.cli import main, parser
from coach.logbook.store import Home
from coach.loglines.safety import PlacedOnHold, SafetySign
from coach.program_files import read, shipped
from coach.review.fhir import VERSIONS
from coach.testing import SimulatedCourse, TrueHistory, write_history
from coach.voice.pack import load_pack

COURSE = SimulatedCourse(days=40, adherence=0.8, pain=(4, 2), halts=0.3, trouble=0.3)

Shown = Callable[..., str]


@pytest.fixture
def true(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> TrueHistory:
    """Return the true facts of Ada, whose records are in a home; it is the evening after her last day."""
    path = shipped()["ankle_steady"]
    known = write_history(Home(tmp_path), "ada", read(path), COURSE, seed=1, source=path.read_bytes())
    evening = datetime(2027, 1, 11, 20, tzinfo=UTC) + timedelta(days=COURSE.days)
    monkeypatch.setattr("coach.cli.review.wall_clock", lambda: evening)
    monkeypatch.setenv("COLUMNS", "200")
    return known


@pytest.fixture
def shown(tmp_path: Path, true: TrueHistory, capsys: pytest.CaptureFixture[str]) -> Shown:
    def run(*words: str, person: str = true.person) -> str:
        assert main(["review", person, "--home", str(tmp_path), *words]) == 0
        return capsys.readouterr().out

    return run


def refused(capsys: pytest.CaptureFixture[str], *words: str) -> str:
    assert main(["review", *words]) == 2
    out, err = capsys.readouterr()
    assert out == ""
    assert err.count("\n") == 1
    return err


def test_the_terminal_reads_from_what_needs_a_decision_down(shown: Shown) -> None:
    out = shown()

    screens = load_pack("en").screens
    keys = ("decide", "wrong", "going", "exercises", "changes", "heard", "reading")
    places = [out.index(screens[f"review_{key}"]) for key in keys]
    assert places == sorted(places)


def test_the_figures_on_the_terminal_are_those_that_are_true(shown: Shown, true: TrueHistory) -> None:
    out = shown()

    done = sum(bool(one.visit.sets) for one in true.sessions)
    assert f"Sessions done: {done} of {len(true.due)} due" in out
    counted = sum(each.counted for one in true.sessions for each in one.visit.sets if each.unit == "reps")
    assert any(line.split()[:3][0] == "reps" and str(counted) in line for line in out.splitlines() if line.split())


def test_since_leaves_out_earlier_sessions(shown: Shown, true: TrueHistory) -> None:
    since = true.begins + timedelta(days=20)
    later = sum(one.day >= 20 for one in true.sessions)

    assert f"From {since} to 2027-02-20. Sessions: {later}." in shown("--since", str(since))
    assert "No session since 2027-02-20" in shown("--since", "2027-02-20")


def test_a_review_without_a_session_says_so(shown: Shown, tmp_path: Path) -> None:
    Home(tmp_path).add_person("new")

    out = shown(person="new")
    assert "There is no session to review yet." in out
    assert "Nothing went wrong" not in out


@pytest.mark.parametrize(
    ("words", "told"),
    [
        (["ada", "--since", "31.1.2027"], '"31.1.2027" is not a day; write it as year-month-day'),
        (["nobody"], 'Nobody called "nobody"'),
        ([], "Say whose review: coach review PERSON"),
        (["ada", "--parquet", "x"], "--parquet goes with --clinic DIR"),
        (["ada", "--fhir-version", "R5"], "--fhir-version and --fhir-details go with --fhir FILE"),
        (["ada", "--fhir-details"], "--fhir-version and --fhir-details go with --fhir FILE"),
        (["--clinic", "x", "--fhir-details"], "--fhir-version and --fhir-details go with --fhir FILE"),
        (["ada", "--clinic", "x"], "PERSON does not go with --clinic"),
        (["ada", "--html", "/no/such/folder/x.html"], "Cannot write /no/such/folder/x.html"),
    ],
)
def test_what_cannot_be_done_is_refused_in_one_sentence(
    tmp_path: Path, true: TrueHistory, capsys: pytest.CaptureFixture[str], words: list[str], told: str
) -> None:
    assert true.sessions
    assert told in refused(capsys, *words, "--home", str(tmp_path))


def test_the_language_is_that_of_the_last_session(tmp_path: Path, true: TrueHistory, shown: Shown) -> None:
    path = shipped()["desk_neck_back_ko"]
    write_history(Home(tmp_path), "min", read(path), COURSE, seed=1, source=path.read_bytes())
    shown("--html", str(tmp_path / "min.html"), person="min")

    page = (tmp_path / "min.html").read_text("utf-8")
    assert '<html lang="ko">' in page
    assert load_pack("ko").screens["review_decide"] in page
    assert true.person == "ada"


# -- files ------------------------------------------------------------------------------------------------------------


def test_the_table_has_one_row_per_set_with_the_true_values(tmp_path: Path, shown: Shown, true: TrueHistory) -> None:
    out = shown("--csv", str(tmp_path / "sets.csv"))

    assert out.splitlines() == [str(tmp_path / "sets.csv"), str(tmp_path / "sets-columns.csv")]
    with (tmp_path / "sets.csv").open(encoding="utf-8", newline="") as file:
        rows = list(csv.DictReader(file))
    made = [(one, each) for one in true.sessions for each in one.visit.sets]
    assert len(rows) == len(made)
    for row, (one, each) in zip(rows, made, strict=True):
        assert (row["session"], row["exercise"], row["level"]) == (one.session, each.exercise, each.level)
        assert (row["prescribed_high"], row["counted"]) == (str(each.planned), str(each.counted))
        assert row["stated"] == ("" if each.stated is None else str(each.stated))
        assert row["pain"] == ("" if each.pain is None else str(each.pain))
        assert (row["pain_carries_on_to"], row["pain_eases_to"]) == ("3", "5")


def test_the_dictionary_has_a_meaning_for_each_column_in_its_order(tmp_path: Path, shown: Shown) -> None:
    shown("--csv", str(tmp_path / "sets.csv"))

    with (tmp_path / "sets.csv").open(encoding="utf-8", newline="") as file:
        names = next(csv.reader(file))
    with (tmp_path / "sets-columns.csv").open(encoding="utf-8", newline="") as file:
        meant = list(csv.DictReader(file))
    assert [row["column"] for row in meant] == names
    assert all(row["unit"] and row["meaning"] for row in meant)


def test_the_bundle_holds_the_sessions_that_count(tmp_path: Path, shown: Shown, true: TrueHistory) -> None:
    shown("--fhir", str(tmp_path / "ada.json"))

    bundle = json.loads((tmp_path / "ada.json").read_text("utf-8"))
    assert bundle["resourceType"] == "Bundle"
    assert all(one.session in json.dumps(bundle) for one in true.sessions)
    assert len(bundle["entry"]) <= 200


@pytest.mark.parametrize(("options", "when"), [([], "performedPeriod"), (["--fhir-version", "R5"], "occurrencePeriod")])
def test_the_bundle_is_a_summary_unless_all_details_are_asked_for(
    tmp_path: Path, shown: Shown, options: list[str], when: str
) -> None:
    shown("--fhir", str(tmp_path / "short.json"), *options)
    shown("--fhir", str(tmp_path / "long.json"), "--fhir-details", *options)

    short, long = (json.loads((tmp_path / name).read_text("utf-8"))["entry"] for name in ("short.json", "long.json"))
    assert len(long) > 5 * len(short)
    for entries in (short, long):
        assert all(when in one["resource"] for one in entries if one["resource"]["resourceType"] == "Procedure")


def test_a_person_on_hold_is_on_hold_in_the_bundle(tmp_path: Path, shown: Shown, true: TrueHistory) -> None:
    home, sign = Home(tmp_path), SafetySign("pain", times=1)
    home.decide(
        "ada", PlacedOnHold(true.sessions[-1].session, true.sessions[-1].began.isoformat(), "ankle_steady", sign)
    )

    shown("--fhir", str(tmp_path / "ada.json"))

    flags = [one["resource"] for one in json.loads((tmp_path / "ada.json").read_text("utf-8"))["entry"]
             if one["resource"]["resourceType"] == "Flag"]  # fmt: skip
    assert [one["status"] for one in flags] == ["active"]


def test_each_version_of_fhir_that_is_written_can_be_asked_for() -> None:
    for version in VERSIONS:
        assert parser("review").parse_args(["review", "ada", "--fhir-version", version]).fhir_version == version


# -- bad input --------------------------------------------------------------------------------------------------------


def broken(folder: Path) -> dict[str, tuple[str, str]]:
    """Spoil some of Ada's files; return the line of each and what must be reported."""
    paths = sorted(folder.glob("*.jsonl"))
    said: dict[str, tuple[str, str]] = {}
    lines = paths[0].read_bytes().splitlines(keepends=True)
    paths[0].write_bytes(b"".join(lines[:-1]) + lines[-1][:20])
    said[paths[0].name] = (str(len(lines)), "is torn off before its end")
    lines = paths[1].read_bytes().splitlines(keepends=True)
    at = next(n for n, line in enumerate(lines) if b'"set_ended"' in line)
    lines[at] = lines[at].replace(b'"counted":', b'"counted":9')
    paths[1].write_bytes(b"".join(lines))
    said[paths[1].name] = (str(at + 1), "does not match its checksum")
    paths[2].write_bytes(b"\x89PNG\r\n\x1a\n" + b"\x00" * 40 + b"\n")
    said[paths[2].name] = ("1", "is not a line of a logbook")
    paths[3].write_bytes(paths[3].read_bytes().replace(b'{"v":2,', b'{"v":9,'))
    said[paths[3].name] = ("1", "was written by a newer version (format 9")
    paths[4].write_bytes(b"")
    said[paths[4].name] = ("whole file", "holds no session")
    return said


def test_unusable_lines_are_listed_by_file_and_line_and_the_rest_still_counts(
    tmp_path: Path, shown: Shown, true: TrueHistory
) -> None:
    folder = tmp_path / "people" / "ada" / "sessions"
    said = broken(folder)
    before = {path.name: path.read_bytes() for path in folder.iterdir()}
    out = shown()

    rows = [line for line in out.splitlines() if ".jsonl" in line]
    for name, (line, text) in said.items():
        assert any(name in row and f" {line} " in row and text in row for row in rows), (name, line, text)
    assert f"Sessions: {len(true.sessions) - 3}." in out  # a torn tail and an edited line lose no session
    assert before == {path.name: path.read_bytes() for path in folder.iterdir()}
    assert "Left out or in doubt: " in shown("--html", str(tmp_path / "ada.html"))
    page = (tmp_path / "ada.html").read_text("utf-8")
    assert all(name in page for name in said)


def test_a_changed_line_is_not_among_the_figures(tmp_path: Path, shown: Shown, true: TrueHistory) -> None:
    broken(tmp_path / "people" / "ada" / "sessions")
    shown("--csv", str(tmp_path / "sets.csv"))

    with (tmp_path / "sets.csv").open(encoding="utf-8", newline="") as file:
        rows = [row for row in csv.DictReader(file) if row["session"] == true.sessions[1].session]
    assert len(rows) == len(true.sessions[1].visit.sets)
    assert rows[0]["counted"] == ""
    assert [row["counted"] for row in rows[1:]] == [str(each.counted) for each in true.sessions[1].visit.sets[1:]]


def test_a_session_of_another_person_among_the_files_is_left_out(
    tmp_path: Path, shown: Shown, true: TrueHistory
) -> None:
    write_history(Home(tmp_path), "bo", true.program, COURSE, seed=2)
    foreign = min((tmp_path / "people" / "bo" / "sessions").iterdir())
    (tmp_path / "people" / "ada" / "sessions" / foreign.name).write_bytes(foreign.read_bytes())

    out = shown()
    assert f"Sessions: {len(true.sessions)}." in out
    assert "is a session of another person: bo" in out


def test_without_the_kept_program_the_review_says_that_limits_are_not_known(
    tmp_path: Path, true: TrueHistory, shown: Shown
) -> None:
    text = shipped()["ankle_steady"].read_text("utf-8").replace("Steadier ankle", "Steady ankle")
    mine = tmp_path / "mine.yaml"
    mine.write_text(text, "utf-8")
    written = write_history(Home(tmp_path), "cy", read(mine), COURSE, seed=3)

    out = shown(person="cy")
    assert f"Sessions whose program version was not kept: {len(written.sessions)}." in out
    assert "pain above what ends" not in out
    assert true.person == "ada"


def test_a_broken_decisions_file_is_reported(tmp_path: Path, shown: Shown) -> None:
    (tmp_path / "people" / "ada" / "decisions.jsonl").write_text("not a decision\n", "utf-8")

    assert "decisions.jsonl" in shown()
