"""A clinic on the terminal: the most urgent people first, in words; the page and the columns on request."""

from __future__ import annotations

from pathlib import Path

import pytest
from clinics import TODAY, make_clinic

from coach.cli.clinic_view import show_clinic
from coach.errors import CoachError
from coach.review.columns import TABLES


@pytest.fixture(scope="module")
def clinic(tmp_path_factory: pytest.TempPathFactory) -> Path:
    root = tmp_path_factory.mktemp("clinic")
    make_clinic(root)
    (root / "people" / "ana" / "sessions" / "empty.jsonl").touch()
    return root


@pytest.fixture(autouse=True)
def narrow(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("COLUMNS", "80")
    monkeypatch.setenv("NO_COLOR", "1")


def test_the_most_urgent_come_first_and_the_others_last(clinic: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert show_clinic(clinic, TODAY) == 0

    out = capsys.readouterr().out
    assert out.startswith("The clinic on 2027-03-01\n6 people, ")
    assert out.index("eli") < out.index("dot") < out.index("cy") < out.index("fay")
    assert "Ended for safety" in out
    assert "Left out (1)\n  people/ana/sessions/empty.jsonl holds no session." in out


def test_no_line_is_wider_than_the_terminal_and_none_has_colour(
    clinic: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    show_clinic(clinic, TODAY)

    out = capsys.readouterr().out
    assert [line for line in out.splitlines() if len(line) > 80] == []
    assert "\x1b" not in out


def test_page_and_columns_are_written_and_named(
    clinic: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    show_clinic(clinic, TODAY, tmp_path / "clinic.html", tmp_path / "columns")

    assert "<h1>The clinic on 2027-03-01</h1>" in (tmp_path / "clinic.html").read_text("utf-8")
    assert {path.name for path in (tmp_path / "columns").iterdir()} == {f"{table}.parquet" for table in TABLES}
    assert capsys.readouterr().out.endswith(f"{tmp_path}/clinic.html\n{tmp_path}/columns\n")
    show_clinic(tmp_path / "columns", TODAY)
    assert "6 people, " in capsys.readouterr().out


def test_a_folder_that_is_no_clinic_gets_no_files(tmp_path: Path) -> None:
    with pytest.raises(CoachError, match="is not a clinic"):
        show_clinic(tmp_path / "none", TODAY, tmp_path / "clinic.html")

    assert list(tmp_path.iterdir()) == []
