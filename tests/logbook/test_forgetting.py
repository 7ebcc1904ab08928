"""Somebody who is forgotten is gone, wherever it was killed, and all that stays is that it happened."""

from __future__ import annotations

import json
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from itertools import count
from pathlib import Path

import pytest
from broken import broken, without_privilege

from coach.errors import RecordError, UnknownPersonError
from coach.logbook.forgetting import RECORD, finish, forget, left_over, naming
from coach.logbook.store import Home
from coach.logbook.writing import SessionStore
from coach.loglines.kinds import Note


class KilledError(BaseException):
    """Stands in for the end of the process: nothing in the package catches it."""


class _Hook:
    """Counts what is done to the disk, and kills at one of them."""

    left = -1

    def __call__(self, event: str, _: object) -> None:
        if self.left >= 0 and event in {"os.remove", "os.rename", "os.rmdir", "os.truncate", "shutil.rmtree", "open"}:
            self.left -= 1
            if self.left < 0:
                raise KilledError


_hook = _Hook()
sys.addaudithook(_hook)


@contextmanager
def killed_after(steps: int) -> Iterator[None]:
    _hook.left = steps
    try:
        yield
    finally:
        _hook.left = -1


def lived_in(root: Path) -> Home:
    home = Home(root)
    for person in ("mira", "otto"):
        home.add_person(person, person.title())
        home.keep_program(person, "ankle", "5f" * 32, f"title: for {person}\n".encode())
        with home.begin(person) as store:
            store.append(0, Note(f"of {person}", "caregiver"))
    takes = home.person("mira").takes
    takes.mkdir()
    (takes / "enrolment.npz").write_bytes(b"numbers of mira")
    (home.person("mira").sessions / "old.jsonl.torn").write_bytes(b'{"v":1')
    home.clips.mkdir()
    (home.clips / f"{'a' * 64}.wav").write_bytes(b"sound of mira's exercise")
    return home


def told_of(home: Home, person: str) -> list[Path]:
    """Return what in the home still tells of the person, in a name or inside."""
    return [
        path
        for path in home.root.rglob("*")
        if person in path.relative_to(home.root).as_posix() or (path.is_file() and person.encode() in path.read_bytes())
    ]


def test_nothing_in_the_home_tells_of_who_was_forgotten(tmp_path: Path) -> None:
    home = lived_in(tmp_path)
    others = {path: path.read_bytes() for path in told_of(home, "otto") if path.is_file()}

    forget(home, "mira")

    assert told_of(home, "mira") == []
    assert {path: path.read_bytes() for path in others} == others
    assert home.people() == ("otto",)


def test_that_it_happened_is_kept_as_a_day_and_a_number(tmp_path: Path) -> None:
    home = lived_in(tmp_path)

    forget(home, "mira")
    forget(home, "otto")

    lines = [json.loads(line) for line in (tmp_path / RECORD).read_text("utf-8").splitlines()]
    assert [(line["day"], line["forgotten"]) for line in lines] == [(home.today().isoformat(), 1)] * 2
    assert all(set(line) == {"v", "day", "forgotten", "mark"} for line in lines)
    assert (tmp_path / RECORD).stat().st_mode & 0o777 == 0o600


@pytest.mark.parametrize("place", ["sessions", "takes", "programs", "sessions/old.jsonl.torn", "person.json"])
@pytest.mark.parametrize("how", ["shut", "pipe", "dangling"])
def test_unreadable_files_are_deleted_with_the_rest(place: str, how: str, tmp_path: Path) -> None:
    home = lived_in(tmp_path)
    broken(home.person("mira").folder / place, how)

    with without_privilege():
        forget(home, "mira")

    assert told_of(home, "mira") == []
    assert left_over(home) == {}


def test_who_looks_for_their_name_elsewhere_waits_at_no_pipe(tmp_path: Path) -> None:
    home = lived_in(tmp_path)
    for how in ("pipe", "device", "huge", "shut"):
        broken(home.person("otto").sessions / f"{how}.jsonl", how)

    with without_privilege():
        assert naming(home, "mira") == ()


def test_killed_anywhere_it_is_finished_the_next_time_and_counted_once(tmp_path: Path) -> None:
    for steps in count():
        home = lived_in(tmp_path / str(steps))
        try:
            with killed_after(steps):
                forget(home, "mira")
        except KilledError:
            assert not ("mira" in home.people() and left_over(home)), "half of a person is nobody"
            for leaving in left_over(home):
                finish(home, leaving)
            if "mira" in home.people():
                forget(home, "mira")
        else:
            break
        assert told_of(home, "mira") == []
        assert len((home.root / RECORD).read_text("utf-8").splitlines()) == 1
        assert home.people() == ("otto",)
    assert steps > 10


def test_it_is_refused_while_a_session_of_theirs_runs(tmp_path: Path) -> None:
    home = lived_in(tmp_path)
    with home.begin("mira") as running:
        running.append(0, Note("on the way", "caregiver"))
        before = {path: path.read_bytes() for path in tmp_path.rglob("*") if path.is_file()}

        with pytest.raises(RecordError, match="is running; end it first"):
            forget(home, "mira")

        assert {path: path.read_bytes() for path in tmp_path.rglob("*") if path.is_file()} == before
    forget(home, "mira")


def test_another_persons_running_session_is_no_obstacle(tmp_path: Path) -> None:
    home = lived_in(tmp_path)
    with home.begin("otto") as running:
        forget(home, "mira")
        running.append(0, Note("on the way", "caregiver"))

    assert len(home.history("otto").records) == 2


def test_a_session_that_begins_in_the_very_moment_stops_it(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    home = lived_in(tmp_path)
    rename = Path.rename
    begun: list[SessionStore] = []

    def late(path: Path, target: Path) -> Path:
        if not begun:
            begun.append(home.begin("mira"))
        return rename(path, target)

    monkeypatch.setattr(Path, "rename", late)
    with pytest.raises(RecordError, match="is running"):
        forget(home, "mira")

    begun[0].append(0, Note("on the way", "caregiver"))
    begun[0].close()
    assert len(home.history("mira").records) == 2
    assert left_over(home) == {}


def test_the_target_of_a_link_stays(tmp_path: Path) -> None:
    home = lived_in(tmp_path / "home")
    elsewhere = tmp_path / "elsewhere"
    elsewhere.mkdir()
    (elsewhere / "photo.txt").write_text("mine", "utf-8")
    (home.person("mira").folder / "linked").symlink_to(elsewhere)
    home.clips.joinpath("linked").symlink_to(elsewhere)

    forget(home, "mira")

    assert (elsewhere / "photo.txt").read_text("utf-8") == "mine"
    assert told_of(home, "mira") == []


def test_a_torn_line_in_the_list_of_the_forgotten_is_written_again(tmp_path: Path) -> None:
    home = lived_in(tmp_path)
    forget(home, "mira")
    with (tmp_path / RECORD).open("ab") as file:
        file.write(b'{"v": 1, "da')

    forget(home, "otto")

    assert len([json.loads(line) for line in (tmp_path / RECORD).read_text("utf-8").splitlines()]) == 2


def test_nobody_is_forgotten_who_is_not_here(tmp_path: Path) -> None:
    with pytest.raises(UnknownPersonError):
        forget(lived_in(tmp_path), "nobody")


def test_a_session_of_theirs_in_another_folder_is_named(tmp_path: Path) -> None:
    home = lived_in(tmp_path)
    strayed = home.person("otto").sessions / "strayed.jsonl"
    strayed.write_text('{"v":1,"n":1,"line":"session_begun","person":"mira"}\n', "utf-8")
    (home.person("otto").sessions / "deep.jsonl").write_text("[" * 100_000, "utf-8")

    assert naming(home, "mira") == (strayed,)
