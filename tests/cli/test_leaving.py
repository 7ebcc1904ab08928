"""`coach export` and `coach forget`: a person takes all their data along, or has it deleted for good."""

from __future__ import annotations

import io
import zipfile
from collections.abc import Callable
from pathlib import Path

import pytest

from coach.cli import main
from coach.logbook.forgetting import RECORD, forget
from coach.logbook.store import Home
from coach.program_files import read, shipped
from coach.testing.histories import SimulatedCourse, write_history

Run = Callable[..., tuple[int, str, str]]


@pytest.fixture
def home(tmp_path: Path) -> Home:
    home = Home(tmp_path / "home")
    for person, program in (("mira", "ankle_steady"), ("haneul", "desk_neck_back_ko")):
        path = shipped()[program]
        write_history(home, person, read(path), SimulatedCourse(days=5), seed=3, source=path.read_bytes())
    return home


@pytest.fixture
def run(home: Home, capsys: pytest.CaptureFixture[str]) -> Run:
    def run(*words: str) -> tuple[int, str, str]:
        status = main([*words, "--home", str(home.root)])
        return status, *capsys.readouterr()

    return run


def test_export_writes_one_private_file_with_a_readme_that_names_every_kind(
    home: Home, run: Run, tmp_path: Path
) -> None:
    out = tmp_path / "mira.zip"

    status, said, err = run("export", "mira", str(out))

    assert (status, err) == (0, "")
    assert str(out) in said
    assert out.stat().st_mode & 0o777 == 0o600
    with zipfile.ZipFile(out) as archive:
        names = archive.namelist()
        readme = archive.read("README.txt").decode()
    assert len(names) == 1 + len([path for path in home.person("mira").folder.rglob("*") if path.is_file()])
    for kind in ("person.json", "sessions/*.jsonl", "programs/*.yaml"):
        assert f"\n{kind}\n    " in readme
    assert "This is everything that the coach keeps about mira." in readme
    assert "did not write itself" not in readme


def test_the_readme_is_in_the_language_of_the_sessions(run: Run, tmp_path: Path) -> None:
    out = tmp_path / "out.zip"

    run("export", "haneul", str(out))

    assert "보관하는 모든 것" in zipfile.ZipFile(io.BytesIO(out.read_bytes())).read("README.txt").decode()


def test_an_export_that_cannot_be_written_leaves_what_was_there(run: Run, tmp_path: Path, home: Home) -> None:
    (tmp_path / "folder").mkdir()
    before = sorted(tmp_path.rglob("*"))

    for out in (tmp_path / "folder", tmp_path / "nowhere" / "a.zip", home.root / "a.zip"):
        status, said, err = run("export", "mira", str(out))
        assert (status, said) == (2, "")
        assert err.count("\n") == 1
    assert run("export", "nobody", str(tmp_path / "a.zip"))[0] == 2
    assert sorted(tmp_path.rglob("*")) == before


def test_forget_asks_for_the_id_and_deletes_nothing_for_another_answer(
    home: Home, run: Run, monkeypatch: pytest.MonkeyPatch
) -> None:
    before = sorted(home.root.rglob("*"))
    for typed in ("", "yes", "haneul"):
        monkeypatch.setattr("sys.stdin", io.StringIO(typed and typed + "\n"))
        status, out, err = run("forget", "mira")
        assert (status, "coach export mira OUT.zip" in out) == (2, True)
        assert 'Nothing was deleted: to forget mira, type "mira"' in err
    assert run("forget", "mira", "--yes", "haneul")[0] == 2
    assert sorted(home.root.rglob("*")) == before

    monkeypatch.setattr("sys.stdin", io.StringIO("mira\n"))
    assert run("forget", "mira")[0] == 0
    assert home.people() == ("haneul",)
    assert "mira" not in (home.root / RECORD).read_text("utf-8")


def test_forget_finishes_an_interrupted_deletion_of_the_same_id(
    home: Home, run: Run, monkeypatch: pytest.MonkeyPatch
) -> None:
    with monkeypatch.context() as broken:
        broken.setattr("coach.logbook.forgetting.finish", lambda *_: None)  # killed right after the renaming
        forget(home, "mira")
    assert home.people() == ("haneul",)

    status, out, _ = run("forget", "mira")

    assert (status, "is deleted" in out) == (0, True)
    assert [path.name for path in (home.root / "people").iterdir()] == ["haneul"]
    assert run("forget", "mira")[0] == 2  # nobody has that id now


def test_forget_is_refused_while_a_session_runs(home: Home, run: Run) -> None:
    with home.begin("mira"):
        status, _, err = run("forget", "mira", "--yes", "mira")

    assert status == 2
    assert "A session of theirs is running; end it first" in err


def test_a_session_of_the_person_in_another_folder_is_reported(home: Home, run: Run) -> None:
    source = next(home.person("mira").sessions.glob("*.jsonl"))
    strayed = home.person("haneul").sessions / source.name.replace("-1.", "-9.")
    strayed.write_bytes(source.read_bytes())

    assert f"! {strayed}" in run("forget", "mira", "--yes", "mira")[1].replace("\n", "")
