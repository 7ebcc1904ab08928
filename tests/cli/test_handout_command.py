"""`coach handout` prints the sheet, or writes it whole."""

from __future__ import annotations

from pathlib import Path

import pytest

from coach.cli import main
from coach.logbook.store import Home


def test_it_is_printed_within_the_width_of_the_terminal(
    capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    monkeypatch.setenv("COLUMNS", "60")
    monkeypatch.setenv("NO_COLOR", "1")

    assert main(["handout", "ankle_steady", "--home", str(tmp_path)]) == 0

    out = capsys.readouterr().out
    assert max(map(len, out.splitlines())) <= 60
    assert "\x1b" not in out
    assert "1. Heel raise with slow lowering" in out


def test_html_is_one_file(capsys: pytest.CaptureFixture[str], tmp_path: Path) -> None:
    path = tmp_path / "wall.html"

    assert main(["handout", "desk_neck_back_ko", "--html", str(path), "--home", str(tmp_path)]) == 0

    assert capsys.readouterr().out == f"{path}\n"
    assert path.read_text("utf-8").startswith('<!doctype html>\n<html lang="ko">')
    assert [each.name for each in tmp_path.iterdir()] == ["wall.html"]


def test_an_exercise_that_is_left_out_says_so_on_the_persons_sheet(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    Home(tmp_path).add_person("ana", "Ana")
    words = ["decide", "ana", "toe_reach", "withdraw", "--by", "Kim Rivers", "--program", "ankle_steady"]
    assert main([*words, "--home", str(tmp_path)]) == 0

    assert main(["handout", "ankle_steady", "--person", "ana", "--home", str(tmp_path)]) == 0

    out = capsys.readouterr().out
    assert "Not now" in out
    assert "Reaching with the other foot is left out" in " ".join(out.split())


@pytest.mark.parametrize(
    ("words", "sentence"),
    [
        (["nothing_here"], "no such file"),
        (["ankle_steady", "--person", "ana"], 'Nobody called "ana"'),
        (["ankle_steady", "--html", "no/such/folder/x.html"], "Cannot write no/such/folder/x.html"),
    ],
)
def test_what_cannot_be_done_is_one_sentence(
    words: list[str], sentence: str, capsys: pytest.CaptureFixture[str], tmp_path: Path
) -> None:
    assert main(["handout", "--home", str(tmp_path), *words]) == 2

    out, err = capsys.readouterr()
    assert (out, err.count("\n")) == ("", 1)
    assert sentence in err
