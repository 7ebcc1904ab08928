"""`coach log` keeps planned, counted and stated apart, and hides nothing that is broken."""

from __future__ import annotations

import json
from collections.abc import Callable
from datetime import datetime
from pathlib import Path
from typing import Any

import pytest

from coach.cli import main
from coach.logbook.fields import fact
from coach.logbook.store import Home

Told = list[tuple[str, int, dict[str, Any]]]


@pytest.fixture
def home(tmp_path: Path, told: Told, ticking: Callable[[], datetime], monkeypatch: pytest.MonkeyPatch) -> Home:
    """Return a home with a whole session and one that died before it was closed."""
    monkeypatch.setenv("COLUMNS", "80")
    monkeypatch.setenv("NO_COLOR", "1")
    home = Home(tmp_path, ticking)
    home.add_person("mira", "Mira")
    home.add_person("bo")
    for cut in (None, 14):
        with home.begin("mira") as store:
            for kind, at, fields in told[:cut]:
                own = {"session": store.session} if kind == "session_begun" else {}
                store.append(at, fact(kind, fields | own))
    return home


def shown(capsys: pytest.CaptureFixture[str], home: Home, *words: str) -> str:
    assert main(["log", "--home", str(home.root), *words]) == 0
    return capsys.readouterr().out


def refused(capsys: pytest.CaptureFixture[str], home: Home, *words: str) -> str:
    assert main(["log", "--home", str(home.root), *words]) == 2
    out, err = capsys.readouterr()
    assert out == ""
    assert err.count("\n") == 1
    return err


def test_everybody_is_listed_with_their_last_session(capsys: pytest.CaptureFixture[str], home: Home) -> None:
    out = shown(capsys, home)

    assert [line.split()[:2] for line in out.splitlines()[1:]] == [["bo", "0"], ["mira", "(Mira)"]]
    assert "no end in the file" in out


def test_an_empty_home_says_so(capsys: pytest.CaptureFixture[str], tmp_path: Path) -> None:
    assert shown(capsys, Home(tmp_path / "none")) == "Nobody has been added yet.\n"
    assert not (tmp_path / "none").exists()


def test_a_person_has_one_row_per_session(capsys: pytest.CaptureFixture[str], home: Home) -> None:
    rows = [line for line in shown(capsys, home, "mira").splitlines() if line.startswith("2027")]

    assert [row.split()[4:7] for row in rows] == [["1/3", "5", "1"], ["1/3", "3", "0"]]


def test_a_session_shows_planned_counted_and_stated_in_columns_of_their_own(
    capsys: pytest.CaptureFixture[str], home: Home
) -> None:
    first = home.history("mira").records[0].session

    lines = shown(capsys, home, "mira", "--session", first).splitlines()

    header = next(line for line in lines if "Planned" in line)
    row = next(line for line in lines if line.startswith("1 left"))
    ends = {name: header.index(name) + len(name) for name in ("Planned", "Counted", "Stated")}
    assert {name: row[:end].split()[-1] for name, end in ends.items()} == {
        "Planned": "10-12", "Counted": "12", "Stated": "10",
    }  # fmt: skip


def test_what_needs_a_look_comes_before_the_sets(capsys: pytest.CaptureFixture[str], home: Home) -> None:
    out = shown(capsys, home, "mira", "--session", home.history("mira").records[0].session)

    look = out[out.index("Needs a look") : out.index("Planned")]
    assert "Ended: it felt unsteady" in look
    assert "Highest pain stated: 5" in look
    assert '"stop" (taught words)' in look
    assert "10 stated of 12 counted" in look


def test_an_answer_names_the_set_it_is_about(capsys: pytest.CaptureFixture[str], home: Home) -> None:
    page = shown(capsys, home, "mira", "--session", home.history("mira").records[0].session)

    text = " ".join(page.split())
    assert "2:20 Pain (Heel raise with slow lowering, set 1, left side): 3 (taught words, read back)" in text
    assert "0:09 new injury: no (taught words, times asked: 2)" in text
    assert "Effort (Heel raise with slow lowering, set 1, left side): no answer (times asked: 3)" in text


def test_the_last_session_can_be_asked_for_by_that_word(capsys: pytest.CaptureFixture[str], home: Home) -> None:
    assert home.history("mira").records[-1].session in shown(capsys, home, "mira", "--session", "last")


def test_no_line_is_wider_than_80_columns_and_none_has_colour(capsys: pytest.CaptureFixture[str], home: Home) -> None:
    out = shown(capsys, home) + shown(capsys, home, "mira") + shown(capsys, home, "mira", "--session", "last")

    assert [line for line in out.splitlines() if len(line) > 80] == []
    assert "\x1b" not in out


def test_an_edited_line_is_named_by_file_and_line(capsys: pytest.CaptureFixture[str], home: Home) -> None:
    path = min(home.person("mira").sessions.glob("*.jsonl"))
    path.write_bytes(path.read_bytes().replace(b'"value":3,', b'"value":1,'))

    assert f"! {path.name}:9 does not match its checksum" in shown(capsys, home, "mira")
    page = shown(capsys, home, "mira", "--session", path.stem)
    assert f"- {path.name}:9 does not match" in page


def test_json_holds_the_same_numbers(capsys: pytest.CaptureFixture[str], home: Home) -> None:
    document = json.loads(shown(capsys, home, "mira", "--json"))

    first, second = document["sessions"]
    assert [(one["planned_high"], one["counted"], one["stated"]) for one in first["sets"]] == [
        (12, 12, 10),
        (12, 5, None),
    ]
    assert (first["sets_planned"], first["sets_in_full"], first["highest_pain"], first["why"]) == (3, 1, 5, "unsteady")
    assert second["why"] == ""
    assert document["problems"] == []


def test_json_of_everybody_and_of_one_session(capsys: pytest.CaptureFixture[str], home: Home) -> None:
    everybody = json.loads(shown(capsys, home, "--json"))
    one = json.loads(shown(capsys, home, "mira", "--session", "last", "--json"))

    assert [(person["person"], person["sessions"]) for person in everybody["people"]] == [("bo", 0), ("mira", 2)]
    assert one["session"] == everybody["people"][1]["last"]["session"]


def test_an_unknown_person_is_one_sentence(capsys: pytest.CaptureFixture[str], home: Home) -> None:
    assert "There are: bo, mira" in refused(capsys, home, "ana")


def test_an_unknown_session_names_those_there_are(capsys: pytest.CaptureFixture[str], home: Home) -> None:
    assert home.history("mira").records[0].session in refused(capsys, home, "mira", "--session", "nothing")


def test_a_session_without_a_person_says_what_to_type(capsys: pytest.CaptureFixture[str], home: Home) -> None:
    assert "coach log PERSON --session x" in refused(capsys, home, "--session", "x")


def test_a_person_without_sessions_sees_how_to_begin(capsys: pytest.CaptureFixture[str], home: Home) -> None:
    assert shown(capsys, home, "bo") == "bo has no session yet.\n"
    assert "coach start --person bo" in refused(capsys, home, "bo", "--session", "last")


def test_a_name_that_would_steer_the_terminal_is_shown_harmless(capsys: pytest.CaptureFixture[str], home: Home) -> None:
    home.add_person("bo", "Bo\x1b[31m\nx")

    assert "\x1b" not in shown(capsys, home)


def test_reading_changes_no_file(capsys: pytest.CaptureFixture[str], home: Home) -> None:
    def everything() -> dict[Path, bytes]:
        return {path: path.read_bytes() for path in home.root.rglob("*") if path.is_file()}

    before = everything()
    shown(capsys, home, "mira")
    shown(capsys, home, "mira", "--session", "last")

    assert everything() == before


def test_of_many_sessions_the_newest_are_shown_and_the_others_on_request(
    capsys: pytest.CaptureFixture[str], home: Home, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("coach.cli.log.MOST_SHOWN", 1)
    path = next(home.person("mira").sessions.iterdir())
    path.with_name("20270301t090000z-1.jsonl").write_bytes(path.read_bytes())

    few, every = shown(capsys, home, "mira"), shown(capsys, home, "mira", "--all")

    assert "not shown: 2" in few
    assert "coach log mira --all" in few
    assert "not shown" not in every
    assert len(every.splitlines()) > len(few.splitlines()) - 2
