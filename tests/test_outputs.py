"""What is written for somebody takes the place of a regular file alone, whole or not at all."""

from __future__ import annotations

import os
import re
import stat
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest
from broken import broken, without_privilege
from sound_files import write_sound

from coach.errors import CoachError, OutputError
from coach.outputs import output, write
from coach.review.columns import TABLES, open_clinic, write_columns

HELD = b"what somebody else keeps here"


def as_wav(path: Path) -> None:
    write_sound(path, np.zeros(160, np.float32))


def as_text(path: Path) -> None:
    write(path, b"x")


@pytest.mark.parametrize("made", [as_wav, as_text])
@pytest.mark.parametrize("how", ["dangling", "folder", "pipe", "socket", "device"])
def test_something_other_than_a_regular_file_is_left_alone(
    how: str, made: Callable[[Path], None], tmp_path: Path
) -> None:
    path = tmp_path / "x"
    broken(path, how)
    before = path.lstat()

    with pytest.raises(CoachError, match=re.escape(str(path))) as found:
        made(path)

    after = path.lstat()
    assert (before.st_mode, before.st_ino, before.st_rdev) == (after.st_mode, after.st_ino, after.st_rdev)
    assert [each.name for each in tmp_path.iterdir()] == ["x"]
    assert "\n" not in str(found.value)


@pytest.mark.parametrize("made", [as_wav, as_text])
@pytest.mark.parametrize(
    "path", [Path("/dev/full"), Path("/dev/null"), Path("/dev/stdout")], ids=lambda path: path.name
)
def test_a_system_device_is_left_alone(
    path: Path, made: Callable[[Path], None], monkeypatch: pytest.MonkeyPatch
) -> None:
    if not path.exists():
        pytest.skip(f"there is no {path} here")
    before = path.lstat().st_mode

    def never(_: Path, to: Path) -> None:
        raise AssertionError(f"{to} would have been replaced")

    monkeypatch.setattr(Path, "replace", never)
    with pytest.raises(OutputError, match="name a regular file"):
        made(path)
    assert path.lstat().st_mode == before


@pytest.mark.parametrize("made", [as_wav, as_text])
def test_nothing_beside_is_touched_and_an_older_file_is_replaced_by_a_private_one(
    made: Callable[[Path], None], tmp_path: Path
) -> None:
    path = tmp_path / "x.csv"
    theirs = [tmp_path / name for name in ("x.csv.new", "x.new", f".x.csv.{os.getpid()}.part", ".x.csv.new")]
    for each in (path, *theirs):
        each.write_bytes(HELD)
        each.chmod(0o644)

    made(path)

    assert path.read_bytes() != HELD
    assert stat.S_IMODE(path.stat().st_mode) == 0o600 or os.name == "nt"
    assert {each.read_bytes() for each in theirs} == {HELD}
    assert len(list(tmp_path.iterdir())) == 1 + len(theirs)


def test_columns_leave_other_files_in_their_folder_alone(tmp_path: Path) -> None:
    (tmp_path / "home" / "people").mkdir(parents=True)
    out = tmp_path / "out"
    out.mkdir()
    theirs = [out / f"{table}.new" for table in TABLES] + [out / f"tmp_{table}.new" for table in TABLES]
    for each in theirs:
        each.write_bytes(HELD)

    write_columns(open_clinic(tmp_path / "home"), out)

    assert {each.read_bytes() for each in theirs} == {HELD}
    assert {each.name for each in out.iterdir()} == {f"{table}.parquet" for table in TABLES} | {t.name for t in theirs}
    (out / "sets.parquet").unlink()
    broken(out / "sets.parquet", "pipe")
    with pytest.raises(CoachError, match="name a regular file"):
        write_columns(open_clinic(tmp_path / "home"), out)


def test_a_file_that_appears_during_the_writing_is_left_alone(tmp_path: Path) -> None:
    path = tmp_path / "x"

    def slowly() -> None:
        with output(path) as beside:
            beside.write_bytes(b"x")
            broken(path, "pipe")

    with pytest.raises(OutputError, match="name a regular file"):
        slowly()

    assert [each.name for each in tmp_path.iterdir()] == ["x"]
    assert stat.S_ISFIFO(path.lstat().st_mode)


def test_an_unwritable_folder_is_told_in_one_sentence_and_nothing_is_left(tmp_path: Path) -> None:
    shut = tmp_path / "shut"
    shut.mkdir()
    shut.chmod(0o500)

    with without_privilege(), pytest.raises(OutputError, match="name a file in a folder where you may write"):
        write(shut / "x", b"x")
    with pytest.raises(OutputError, match="name a file in a folder where you may write"):
        write(tmp_path / "no" / "x", b"x")
    assert list(shut.iterdir()) == []
