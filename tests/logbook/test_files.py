"""What of a person is opened: it is there, or absent, or unreadable, and nobody ever waits."""

from __future__ import annotations

import os
import re
import tracemalloc
from collections.abc import Iterator
from pathlib import Path

import pytest
from broken import BROKEN, HUGE, broken, without_privilege

from coach.logbook.files import (
    LARGEST,
    AbsentError,
    UnreadableError,
    check_folder,
    list_folder,
    open_file,
    read_end,
    read_file,
)


@pytest.fixture(autouse=True)
def _as_anybody() -> Iterator[None]:
    with without_privilege():
        yield


@pytest.mark.parametrize("how", BROKEN)
def test_an_unreadable_file_is_neither_absent_nor_waited_for(how: str, tmp_path: Path) -> None:
    path = tmp_path / "x.jsonl"
    broken(path, how)

    for use in (read_file, open_file, lambda path: open_file(path, adding=True)):
        if how == "huge" and use is not read_file:
            continue
        with pytest.raises(UnreadableError, match=re.escape(str(path))) as found:
            use(path)
        assert "\n" not in str(found.value)


@pytest.mark.parametrize("how", sorted({"dangling", "pipe", "socket", "device", "huge", "shut"}))
def test_a_file_in_place_of_a_folder_is_unreadable(how: str, tmp_path: Path) -> None:
    path = tmp_path / "sessions"
    broken(path, how)

    for use in (list_folder, check_folder):
        with pytest.raises(UnreadableError, match=re.escape(str(path))):
            use(path)


def test_a_file_that_is_not_there_is_absent_and_so_is_one_in_a_folder_that_is_not_there(tmp_path: Path) -> None:
    for path in (tmp_path / "x", tmp_path / "no" / "x"):
        for use in (read_file, list_folder, check_folder):
            with pytest.raises(AbsentError, match=re.escape(str(path))):
                use(path)


def test_the_error_names_the_folder_at_fault(tmp_path: Path) -> None:
    folder = tmp_path / "p01"
    (folder / "sessions").mkdir(parents=True)
    folder.chmod(0)

    with pytest.raises(UnreadableError, match=f"Cannot read {re.escape(str(folder))} "):
        list_folder(folder / "sessions")
    folder.chmod(0o700)


def test_a_file_behind_a_dead_link_is_not_absent(tmp_path: Path) -> None:
    (tmp_path / "p01").symlink_to(tmp_path / "a disk that was pulled out")

    with pytest.raises(UnreadableError, match="a link to nothing"):
        read_file(tmp_path / "p01" / "person.json")


def test_a_folder_that_may_be_listed_and_not_looked_into_cannot_be_read(tmp_path: Path) -> None:
    folder = tmp_path / "sessions"
    folder.mkdir()
    (folder / "x").write_bytes(b"x")
    folder.chmod(0o600)

    with pytest.raises(UnreadableError):
        list_folder(folder)
    folder.chmod(0o700)


def test_a_link_to_a_file_and_to_a_folder_is_followed(tmp_path: Path) -> None:
    (tmp_path / "there").mkdir()
    (tmp_path / "there" / "x").write_bytes(b"held")
    (tmp_path / "linked").symlink_to(tmp_path / "there")
    (tmp_path / "y").symlink_to(tmp_path / "there" / "x")

    assert [path.name for path in list_folder(tmp_path / "linked")] == ["x"]
    assert read_file(tmp_path / "linked" / "x") == read_file(tmp_path / "y") == b"held"


def test_a_file_may_have_its_limit_and_no_byte_more(tmp_path: Path) -> None:
    path = tmp_path / "x"
    path.write_bytes(b"12345678")

    assert read_file(path, 8) == b"12345678"
    with pytest.raises(UnreadableError, match="larger than"):
        read_file(path, 7)


@pytest.mark.skipif(not Path("/proc/self/environ").exists(), reason="no file here hides how long it is")
def test_a_file_that_hides_how_long_it_is_is_bounded_all_the_same() -> None:
    path = Path("/proc/self/maps")
    assert path.stat().st_size == 0

    assert read_file(path).count(b"\n") > 10
    with pytest.raises(UnreadableError, match="larger than"):
        read_file(path, 100)


def test_a_device_is_not_even_opened(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    path = tmp_path / "x"
    broken(path, "device")
    opened: list[object] = []
    monkeypatch.setattr(os, "open", lambda *given: opened.append(given))

    with pytest.raises(UnreadableError, match="it is a device"):
        read_file(path)
    assert opened == []


def test_a_file_replaced_between_check_and_opening_is_refused(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    path = tmp_path / "x"
    path.write_bytes(b"x")
    really = os.open

    def late(name: Path, how: int) -> int:
        broken(path, "pipe")
        return really(name, how)

    monkeypatch.setattr(os, "open", late)
    with pytest.raises(UnreadableError, match="it is a pipe"):
        read_file(path)


def test_a_huge_file_costs_no_memory(tmp_path: Path) -> None:
    path = tmp_path / "x"
    broken(path, "huge")
    assert path.stat().st_size == HUGE

    tracemalloc.start()
    with pytest.raises(UnreadableError, match="larger than 16 MiB"):
        read_file(path)
    _, most = tracemalloc.get_traced_memory()
    tracemalloc.stop()
    assert most < 100_000


@pytest.mark.parametrize("size", [0, 1, 9, 10, 11, 1000])
def test_the_end_of_a_file_is_read_alone(tmp_path: Path, size: int) -> None:
    path = tmp_path / "file"
    path.write_bytes(bytes(range(250)) * 4)
    os.truncate(path, size)

    assert read_end(path, 10) == path.read_bytes()[-10:]


def test_the_end_of_a_file_that_is_too_large_to_read_is_read(tmp_path: Path) -> None:
    path = tmp_path / "file"
    path.touch()
    os.truncate(path, LARGEST * 4)

    assert read_end(path, 10) == bytes(10)
