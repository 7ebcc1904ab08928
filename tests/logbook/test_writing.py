"""A record that the disk does not take: kept in memory, tried again, the chain whole, at the end in another place."""

from __future__ import annotations

import errno
import os
import shutil
import stat
import subprocess
import tempfile
from collections.abc import Callable, Iterator
from datetime import datetime
from pathlib import Path
from typing import Any

import pytest

from coach.errors import RecordError
from coach.logbook import read_lines
from coach.logbook.fields import fact
from coach.logbook.store import Home
from coach.logbook.writing import SessionStore

Told = list[tuple[str, int, dict[str, Any]]]


@pytest.fixture(autouse=True)
def elsewhere(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """Return the folder that stands in for the system's temporary ones."""
    folder = tmp_path / "elsewhere"
    folder.mkdir()
    monkeypatch.setattr(tempfile, "tempdir", str(folder))
    return folder


@pytest.fixture
def home(tmp_path: Path, ticking: Callable[[], datetime]) -> Home:
    home = Home(tmp_path / "home", ticking)
    home.add_person("mira", "Mira")
    return home


def take(store: SessionStore, told: Told) -> None:
    for kind, at, fields in told:
        own = {"session": store.session} if kind == "session_begun" else {}
        store.take(at, fact(kind, fields | own))


def whole(path: Path, session: str, told: Told) -> None:
    """Assert that a file holds these lines and nothing amiss."""
    reading = read_lines(path.read_text("utf-8"), session)
    assert [line.kind for line in reading.lines] == [kind for kind, _, _ in told]
    assert reading.problems == ()
    assert reading.torn == ""


class Refusing:
    """Calls of the system that refuse, after so many bytes were written, until they are let again."""

    def __init__(self, monkeypatch: pytest.MonkeyPatch, error: int, room: int = 0, *, at: str = "write") -> None:
        self.error, self.room, self.on = error, room, True
        self.write, self.fsync = os.write, os.fsync
        monkeypatch.setattr(os, "write", self._write if at == "write" else self.write)
        monkeypatch.setattr(os, "fsync", self._fsync if at == "fsync" else self.fsync)

    def _write(self, handle: int, data: Any) -> int:
        if not self.on:
            return self.write(handle, data)
        if self.room <= 0:
            raise OSError(self.error, os.strerror(self.error))
        taken = self.write(handle, bytes(data)[: self.room])
        self.room -= taken
        return taken

    def _fsync(self, handle: int) -> None:
        if self.on:
            raise OSError(self.error, os.strerror(self.error))
        self.fsync(handle)


@pytest.mark.parametrize("at", ["write", "fsync"])
@pytest.mark.parametrize("error", [errno.ENOSPC, errno.EROFS, errno.EIO, errno.EACCES, errno.EDQUOT])
def test_what_a_disk_refuses_is_written_in_order_when_it_can_be(
    home: Home, told: Told, monkeypatch: pytest.MonkeyPatch, error: int, at: str
) -> None:
    store = home.begin("mira")
    take(store, told[:3])
    store.flush()
    disk = Refusing(monkeypatch, error, room=40, at=at)

    take(store, told[3:9])
    for _ in range(3):
        with pytest.raises(RecordError, match="free some space or allow access"):
            store.flush()
        whole(store.path, store.session, told[: store.path.read_bytes().count(b"\n")])
    disk.on = False
    take(store, told[9:])
    store.flush()
    store.close()

    whole(store.path, store.session, told)
    assert (store.kept_at, store.lost) == (None, "")


def test_room_for_one_line_is_used_for_one_line(home: Home, told: Told, monkeypatch: pytest.MonkeyPatch) -> None:
    store = home.begin("mira")
    take(store, told[:1])
    store.flush()
    take(store, told[1:5])
    before = store.path.stat().st_size
    again = home.begin("mira")
    take(again, told[:2])
    first = len(again.text.splitlines()[1]) + 1
    again.close()
    refusing = Refusing(monkeypatch, errno.ENOSPC, room=10**6)

    def write(handle: int, data: Any) -> int:  # the disk has room for one line; what is cut off again is room
        if os.fstat(handle).st_size + len(data) > before + first:
            raise OSError(errno.ENOSPC, "full")
        return refusing.write(handle, data)

    monkeypatch.setattr(os, "write", write)
    with pytest.raises(RecordError):
        store.flush()

    whole(store.path, store.session, told[:2])


def test_a_record_that_cannot_be_written_at_the_end_is_kept_whole_and_private_elsewhere(
    home: Home, told: Told, tmp_path: Path
) -> None:
    store = home.begin("mira")
    take(store, told[:5])
    store.flush()
    shutil.rmtree(tmp_path / "home")

    take(store, told[5:])
    with pytest.raises(RecordError):
        store.flush()
    store.close()

    assert store.kept_at is not None
    assert store.kept_at.is_relative_to(tmp_path / "elsewhere")
    whole(store.kept_at, store.session, told)
    assert not (tmp_path / "home").exists(), "what was taken away is not made anew"
    assert stat.S_IMODE(store.kept_at.stat().st_mode) == 0o600
    assert stat.S_IMODE(store.kept_at.parent.stat().st_mode) == 0o700


def test_a_record_that_can_be_kept_nowhere_says_why_and_is_still_in_memory(
    home: Home, told: Told, monkeypatch: pytest.MonkeyPatch
) -> None:
    store = home.begin("mira")
    take(store, told)
    Refusing(monkeypatch, errno.ENOSPC)

    store.close()

    assert store.kept_at is None
    assert "No space left" in store.lost
    assert len(read_lines(store.text, store.session).lines) == len(told)


@pytest.mark.parametrize("meanwhile", ["nothing", "the file", "half a line"])
def test_a_home_that_comes_back_gets_all_that_it_missed(home: Home, told: Told, tmp_path: Path, meanwhile: str) -> None:
    store = home.begin("mira")
    take(store, told[:5])
    store.flush()
    shutil.copytree(tmp_path / "home", tmp_path / "copy")  # as a disk that is pulled out and put in again
    shutil.rmtree(tmp_path / "home")
    take(store, told[5:9])
    with pytest.raises(RecordError):
        store.flush()

    (tmp_path / "copy").rename(tmp_path / "home")
    if meanwhile == "the file":
        store.path.unlink()
    elif meanwhile == "half a line":
        store.path.write_bytes(store.path.read_bytes()[:-20])
    store.flush()
    take(store, told[9:])
    store.close()

    whole(store.path, store.session, told)
    assert store.kept_at is None


def test_another_file_in_its_place_is_left_as_it_is(home: Home, told: Told) -> None:
    store = home.begin("mira")
    take(store, told[:5])
    store.flush()
    store.path.unlink()
    store.path.write_text("something else\n")

    take(store, told[5:])
    store.close()

    assert store.path.read_text() == "something else\n"
    assert store.kept_at is not None
    whole(store.kept_at, store.session, told)


def test_a_disk_that_does_not_come_back_holds_up_no_end(home: Home, told: Told) -> None:
    store = home.begin("mira")
    take(store, told)

    store.close(reachable=False)

    assert store.kept_at is not None
    whole(store.kept_at, store.session, told)


@pytest.fixture
def small_disk(tmp_path: Path) -> Iterator[Path]:
    """Mount a disk of 64 kB; without the right to do so the test is skipped."""
    mount, umount = shutil.which("mount"), shutil.which("umount")
    folder = tmp_path / "disk"
    folder.mkdir()
    if mount is None or umount is None or getattr(os, "geteuid", lambda: 1)():
        pytest.skip("only root mounts a disk")
    if subprocess.run([mount, "-t", "tmpfs", "-o", "size=64k", "tmpfs", folder], check=False).returncode:
        pytest.skip("no disk can be mounted here")
    yield folder
    subprocess.run([umount, "-l", folder], check=True)


def test_a_real_disk_that_is_full_and_gets_room_again(small_disk: Path, told: Told) -> None:
    home = Home(small_disk)
    home.add_person("mira")
    store = home.begin("mira")
    take(store, told[:3])
    store.flush()
    (small_disk / "filler").write_bytes(b"x" * 4096)
    refused = ""
    notes = [("note", 0, {"text": "x" * 400, "by": "coach"})] * 200

    for at, one in enumerate(notes):
        take(store, [one])
        try:
            store.flush()
        except RecordError as error:
            refused = str(error)
            whole(store.path, store.session, told[:3] + notes[: store.path.read_bytes().count(b"\n") - 3])
            if at > 150:
                break
    assert "No space left" in refused
    (small_disk / "filler").unlink()
    written = store.path.read_bytes().count(b"\n")
    with pytest.raises(RecordError):
        store.flush()  # room for some of it
    assert store.path.read_bytes().count(b"\n") > written
    store.close()

    assert store.kept_at is not None
    whole(store.kept_at, store.session, told[:3] + notes[: at + 1])


def test_a_real_disk_that_becomes_read_only_and_writable_again(small_disk: Path, told: Told) -> None:
    home = Home(small_disk)
    home.add_person("mira")
    store = home.begin("mira")
    take(store, told[:3])
    store.flush()
    store.path.with_name("other").write_bytes(b"")

    os.close(store._handle)  # type: ignore[arg-type]  # as a disk that was put in again has it
    store._handle = os.open(os.devnull, os.O_RDWR)
    mount = shutil.which("mount")
    assert mount
    subprocess.run([mount, "-o", "remount,ro", small_disk], check=True)
    take(store, told[3:])
    with pytest.raises(RecordError, match="Read-only"):
        store.flush()
    subprocess.run([mount, "-o", "remount,rw", small_disk], check=True)
    store.close()

    whole(store.path, store.session, told)


def test_what_a_broken_write_left_that_could_not_be_cut_off_is_cut_off_before_the_next(
    home: Home, told: Told, monkeypatch: pytest.MonkeyPatch
) -> None:
    store = home.begin("mira")
    take(store, told[:3])
    store.flush()
    with monkeypatch.context() as broken:
        disk = Refusing(broken, errno.EIO, room=40)

        def refuse(_handle: int, _size: int) -> None:
            raise OSError(errno.EIO, "broken")

        broken.setattr(os, "ftruncate", refuse)
        take(store, told[3:])
        with pytest.raises(RecordError):
            store.flush()
        assert disk.room <= 0
        assert not store.path.read_bytes().endswith(b"\n")

    store.close()

    whole(store.path, store.session, told)


def test_a_line_that_is_refused_when_it_is_appended_takes_nothing_with_it(
    home: Home, told: Told, monkeypatch: pytest.MonkeyPatch
) -> None:
    store = home.begin("mira")
    take(store, told[:1])
    store.flush()
    take(store, told[1:2])
    with monkeypatch.context() as broken:
        real = os.write
        calls: list[Any] = []

        def write(handle: int, data: Any) -> int:  # the line that waits gets through, the one behind it does not
            calls.append(data)
            if len(calls) != 2:
                raise OSError(errno.ENOSPC, "No space left on device")
            return real(handle, data)

        broken.setattr(os, "write", write)
        with pytest.raises(RecordError):
            store.append(told[2][1], fact(told[2][0], told[2][2]))

    for kind, at, fields in told[2:]:
        store.append(at, fact(kind, fields))
    store.close()

    whole(store.path, store.session, told)
