"""People and sessions on the disk: private, whole after a crash, honest about what is broken."""

from __future__ import annotations

import errno
import os
import re
import stat
from collections.abc import Callable
from datetime import datetime
from itertools import permutations
from pathlib import Path
from typing import Any

import pytest
from broken import BROKEN, broken, opened_up, without_privilege
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from coach.errors import RecordError, UnknownPersonError
from coach.logbook import closing, files, read_lines, store
from coach.logbook.fields import fact
from coach.logbook.files import UnreadableError
from coach.logbook.reading import read_history
from coach.logbook.store import Home, Person
from coach.logbook.writing import SessionStore
from coach.loglines.kinds import Note

Told = list[tuple[str, int, dict[str, Any]]]


@pytest.fixture
def home(tmp_path: Path, ticking: Callable[[], datetime]) -> Home:
    home = Home(tmp_path / "home", ticking)
    home.add_person("mira", "Mira")
    return home


def fill(store: SessionStore, told: Told) -> SessionStore:
    for kind, at, fields in told:
        own = {"session": store.session} if kind == "session_begun" else {}
        store.append(at, fact(kind, fields | own))
    return store


def test_a_session_reads_back_from_the_disk(home: Home, told: Told) -> None:
    with home.begin("mira") as store:
        fill(store, told)

    history = home.history("mira")
    assert history.problems == ()
    assert [record.session for record in history.records] == [store.session]
    assert history.records[0].began == "2027-01-11T09:30:02.000Z"


def test_a_line_is_on_the_disk_when_append_returns(home: Home, told: Told) -> None:
    store = home.begin("mira")
    for count, row in enumerate(told, start=1):
        fill(store, [row])
        assert store.path.read_bytes().count(b"\n") == count
    store.close()


def test_each_line_is_forced_to_the_disk(home: Home, told: Told, monkeypatch: pytest.MonkeyPatch) -> None:
    store = home.begin("mira")
    synced: list[int] = []
    monkeypatch.setattr(os, "fsync", synced.append)

    fill(store, told)

    assert len(synced) == len(told)
    store.close()


@pytest.mark.skipif(os.name == "nt", reason="Windows has no such permissions")
def test_folders_and_files_are_for_their_owner_alone(home: Home, told: Told) -> None:
    old = os.umask(0)
    try:
        home.add_person("bo")
        with home.begin("bo") as store:
            fill(store, told)
    finally:
        os.umask(old)

    person = home.person("bo").folder
    everything = [person, *person.rglob("*")]
    assert len(everything) == 4
    modes = {path.relative_to(person): stat.S_IMODE(path.stat().st_mode) for path in everything}
    assert modes == {path.relative_to(person): 0o700 if path.is_dir() else 0o600 for path in everything}


@pytest.mark.parametrize("wrong", ["", "Mira", "../x", "a b", "a" * 41, "ä", "a.b", "a\n"])
def test_an_id_that_could_be_a_path_is_refused(home: Home, wrong: str) -> None:
    with pytest.raises(RecordError, match="cannot be the id"):
        home.add_person(wrong)


@pytest.mark.parametrize("wrong", ["con", "nul", "aux", "prn", "com1", "lpt9", "-x", "--home", "-"])
def test_an_id_that_means_a_device_or_an_option_is_for_nobody_new_and_who_has_it_stays(home: Home, wrong: str) -> None:
    with pytest.raises(RecordError, match="cannot be the id of a new person") as found:
        home.add_person(wrong)
    assert "\n" not in str(found.value)
    assert home.people() == ("mira",)
    if os.name == "nt":
        return

    (home.root / "people" / wrong).mkdir()
    assert home.add_person(wrong, "Here before").name == "Here before"
    assert home.history(wrong).records == ()


@pytest.mark.parametrize("right", ["con1", "conny", "com", "com10", "a-", "_", "nul-1", "lpt"])
def test_an_id_that_only_looks_like_one_is_taken(home: Home, right: str) -> None:
    assert home.add_person(right).id == right


def test_the_error_for_an_unknown_person_lists_who_is_here_and_what_to_do(home: Home) -> None:
    with pytest.raises(UnknownPersonError, match=r"There are: mira.*coach enrol bo"):
        home.person("bo")


def test_the_error_for_an_unknown_person_in_an_empty_home_says_what_to_do(tmp_path: Path) -> None:
    with pytest.raises(UnknownPersonError, match="coach enrol bo"):
        Home(tmp_path / "none").person("bo")
    assert not (tmp_path / "none").exists()


def test_adding_somebody_twice_keeps_their_name_and_sessions(home: Home, told: Told) -> None:
    with home.begin("mira") as store:
        fill(store, told)

    assert home.add_person("mira").name == "Mira"
    assert len(home.history("mira").records) == 1


def test_two_sessions_in_one_second_have_two_files(tmp_path: Path) -> None:
    from datetime import UTC

    home = Home(tmp_path, lambda: datetime(2027, 1, 11, 9, 30, tzinfo=UTC))
    home.add_person("mira")

    first, second = home.begin("mira"), home.begin("mira")

    assert (first.session, second.session) == ("20270111t093000z-1", "20270111t093000z-2")
    first.close()
    second.close()


def full_disk(after: int) -> Callable[[int, Any], int]:
    """Return an os.write that takes `after` bytes and then finds the disk full."""
    real, room = os.write, after

    def write(handle: int, data: Any) -> int:
        nonlocal room
        if room <= 0:
            raise OSError(errno.ENOSPC, "No space left on device")
        taken = real(handle, bytes(data)[:room])
        room -= taken
        return taken

    return write


def test_a_full_disk_at_the_first_line_leaves_no_file(home: Home, told: Told, monkeypatch: pytest.MonkeyPatch) -> None:
    store = home.begin("mira")
    monkeypatch.setattr(os, "write", full_disk(after=20))

    with pytest.raises(RecordError, match=r"No space left.*free some space.*--home"):
        fill(store, told)

    store.close()
    assert list(home.person("mira").sessions.iterdir()) == []


def test_a_full_disk_later_leaves_whole_lines_only(home: Home, told: Told, monkeypatch: pytest.MonkeyPatch) -> None:
    store = fill(home.begin("mira"), told[:5])
    before = store.path.read_bytes()
    monkeypatch.setattr(os, "write", full_disk(after=30))

    with pytest.raises(RecordError, match="No space left"):
        store.append(told[5][1], fact(told[5][0], told[5][2]))

    assert store.path.read_bytes() == before
    monkeypatch.undo()
    store.append(told[5][1], fact(told[5][0], told[5][2]))
    store.close()
    assert read_lines(store.path.read_text("utf-8"), store.session).problems == ()


def test_a_home_that_cannot_be_made_is_one_clear_sentence(tmp_path: Path) -> None:
    (tmp_path / "file").write_text("not a folder")

    with pytest.raises(RecordError, match="--home"):
        Home(tmp_path / "file" / "home").add_person("mira")


def test_a_session_that_died_is_closed_as_interrupted(home: Home, told: Told) -> None:
    cut = next(i for i, row in enumerate(told) if row[0] == "halted")
    fill(home.begin("mira"), told[:cut]).close()

    closed = home.close_broken("mira")

    (record,) = home.history("mira").records
    assert closed == (record.session,)
    assert home.history("mira").problems == ()
    assert record.why == "interrupted"
    assert [one.why for one in record.sets] == ["done", "interrupted"]
    assert record.sets[1].counted is None


def test_closing_a_second_time_changes_nothing(home: Home, told: Told) -> None:
    store = fill(home.begin("mira"), told[:5])
    store.close()
    home.close_broken("mira")
    before = store.path.read_bytes()

    assert home.close_broken("mira") == ()
    assert store.path.read_bytes() == before


def test_a_whole_session_is_left_alone(home: Home, told: Told) -> None:
    with home.begin("mira") as store:
        fill(store, told)
    before = store.path.read_bytes()

    assert home.close_broken("mira") == ()
    assert store.path.read_bytes() == before


def test_most_of_a_whole_session_is_not_read_to_leave_it_alone(
    home: Home, told: Told, monkeypatch: pytest.MonkeyPatch
) -> None:
    with home.begin("mira") as store:
        fill(store, told)
    monkeypatch.setattr(files, "read_file", None)
    monkeypatch.setattr(Home, "person", lambda *_: Person("mira", "", store.path.parent.parent))

    assert home.close_broken("mira") == ()


@pytest.mark.parametrize("remark", ["brief", "x" * 3000, "session_ended " * 300])
def test_a_whole_session_with_remarks_after_its_end_is_left_alone(home: Home, told: Told, remark: str) -> None:
    with home.begin("mira") as store:
        fill(store, told)
    for _ in range(3):
        home.note("mira", store.session, remark, "a clinician")
    before = store.path.read_bytes()

    assert home.close_broken("mira") == ()
    assert store.path.read_bytes() == before


def test_only_sessions_whose_end_the_history_does_not_know_are_looked_at(
    home: Home, told: Told, monkeypatch: pytest.MonkeyPatch
) -> None:
    with home.begin("mira") as whole:
        fill(whole, told)
    died = fill(home.begin("mira"), told[:5])
    died.close()
    (died.path.parent / "folder.jsonl").mkdir()
    looked_at: list[str] = []

    def closed(path: Path, now: Callable[[], datetime]) -> bool:
        looked_at.append(path.stem)
        return closing.closed(path, now)

    monkeypatch.setattr(store, "closed", closed)

    assert home.close_broken("mira", home.history("mira")) == (died.session,)
    assert looked_at == [died.session, "folder"]


@pytest.mark.parametrize("known", [True, False])
def test_a_remark_that_speaks_of_an_end_is_none(home: Home, told: Told, known: bool) -> None:
    store = fill(
        home.begin("mira"), [*told[:5], ("note", 0, {"text": '{"line":"session_ended"}', "by": "a clinician"})]
    )
    store.close()

    assert home.close_broken("mira", home.history("mira") if known else None) == (store.session,)


def test_a_session_that_still_runs_is_left_alone(home: Home, told: Told) -> None:
    pytest.importorskip("fcntl")
    store = fill(home.begin("mira"), told[:5])

    assert home.close_broken("mira") == ()

    fill(store, told[5:])
    store.close()
    assert home.history("mira").problems == ()


def test_a_session_killed_before_its_first_line_leaves_nothing(home: Home) -> None:
    path = home.begin("mira").path
    path.write_bytes(b"")
    died = path.with_name("20270101t000000z-1.jsonl")
    died.write_bytes(b"")

    assert home.close_broken("mira") == ()
    assert not died.exists()


@given(data=st.data())
@settings(max_examples=40, suppress_health_check=[HealthCheck.function_scoped_fixture])
def test_a_session_killed_at_any_byte_ends_in_a_whole_record(home: Home, told: Told, data: st.DataObject) -> None:
    with home.begin("mira") as store:
        fill(store, told)
    whole = store.path.read_bytes()
    cut = data.draw(st.integers(0, len(whole)))
    store.path.write_bytes(whole[:cut])
    good = whole[: whole[:cut].rfind(b"\n") + 1]

    home.close_broken("mira")

    torn = store.path.with_name(store.path.name + ".torn")
    if good:
        raw = store.path.read_bytes()
        reading = read_lines(raw.decode(), store.session)
        assert raw.startswith(good)
        assert reading.lines[-1].kind == "session_ended"
        assert reading.problems == ()
    else:
        assert not store.path.exists()
    if cut > len(good):
        assert torn.read_bytes() == whole[len(good) : cut]
    for path in store.path.parent.iterdir():
        path.unlink()


def test_an_edited_file_is_named_with_its_line(home: Home, told: Told) -> None:
    with home.begin("mira") as store:
        fill(store, told)
    store.path.write_bytes(store.path.read_bytes().replace(b'"value":3,', b'"value":1,'))

    (problem,) = home.history("mira").problems

    assert str(problem).startswith(f"{store.path.name}:9 does not match its checksum")


def test_a_file_of_rubbish_is_named_and_hides_no_other(home: Home, told: Told) -> None:
    with home.begin("mira") as store:
        fill(store, told)
    store.path.with_name("20200101t000000z-1.jsonl").write_bytes(bytes(range(256)) + b"\n")

    history = home.history("mira")

    assert [record.session for record in history.records] == [store.session]
    assert {problem.path.name for problem in history.problems} == {"20200101t000000z-1.jsonl"}


@pytest.mark.parametrize("how", BROKEN)
def test_a_session_that_cannot_be_read_is_named_left_out_and_left_alone(home: Home, told: Told, how: str) -> None:
    with home.begin("mira") as store:
        fill(store, told)
    lost = store.path.with_name("20270112t101500z-1.jsonl")
    broken(lost, how)

    with without_privilege():
        closed = home.close_broken("mira")
        history = home.history("mira")

    assert closed == ()
    assert os.path.lexists(lost)
    assert [record.session for record in history.records] == [store.session]
    assert [(one.path, one.line) for one in history.problems] == [(lost, 0)]
    assert "cannot be read (" in str(history.problems[0])
    assert [(one.session, one.began) for one in history.unread] == [
        ("20270112t101500z-1", "2027-01-12T10:15:00.000+00:00")
    ]


def test_an_undecipherable_file_may_be_a_session_and_an_empty_one_is_not(home: Home) -> None:
    sessions = home.person("mira").sessions
    (sessions / "20270112t101500z-1.jsonl").write_bytes(b"\0" * 4096)
    (sessions / "20270113t101500z-1.jsonl").write_bytes(b"")

    assert [one.session for one in home.history("mira").unread] == ["20270112t101500z-1"]


@pytest.mark.parametrize("place", ["sessions", "decisions.jsonl", ".", ".."])
@pytest.mark.parametrize("how", ["shut", "dangling", "pipe"])
def test_other_unreadable_files_of_a_person_are_reported_and_not_taken_for_absent(
    home: Home, place: str, how: str
) -> None:
    path = home.person("mira").folder / place
    path = path.resolve()
    broken(path, how)

    with without_privilege(), pytest.raises(UnreadableError, match=re.escape(str(path))):
        home.decisions("mira") if place == "decisions.jsonl" else home.history("mira")
    opened_up(home.root)


@pytest.mark.parametrize("how", BROKEN)
def test_a_name_that_cannot_be_read_is_missed_and_nothing_else(home: Home, told: Told, how: str) -> None:
    with home.begin("mira") as store:
        fill(store, told)
    broken(home.person("mira").folder / "person.json", how)

    with without_privilege():
        assert home.person("mira").name == ""
        history = home.history("mira")
    assert len(history.records) == 1
    assert [one.path.name for one in history.problems] == ["person.json"]


def test_a_session_of_somebody_else_is_named_and_not_theirs(home: Home, told: Told) -> None:
    home.add_person("ben")
    of_ben = [(kind, at, fields | {"person": "ben"} if "person" in fields else fields) for kind, at, fields in told]
    with home.begin("mira") as own, home.begin("ben") as other:
        fill(own, told)
        fill(other, of_ben)
    other.path.rename(own.path.with_name(other.path.name))

    history = home.history("mira")

    assert [record.session for record in history.records] == [own.session]
    assert [str(problem) for problem in history.problems] == [
        f"{other.path.name}:1 is a session of another person: ben."
    ]


def test_the_order_of_the_files_changes_nothing(home: Home, told: Told) -> None:
    for cut in (None, 14, 3):
        with home.begin("mira") as store:
            fill(store, told[:cut])
    paths = sorted(store.path.parent.glob("*.jsonl"))

    histories = [read_history(order) for order in permutations(paths)]

    assert len(histories[0].records) == 3
    assert all(history == histories[0] for history in histories)


def test_a_record_that_is_closed_takes_no_more_lines(home: Home, told: Told) -> None:
    with home.begin("mira") as store:
        fill(store, told)

    with pytest.raises(RecordError, match="closed"):
        store.append(0, Note("late", "coach"))


def test_two_sessions_at_the_same_time_are_one_too_many(tmp_path: Path) -> None:
    home, same = Home(tmp_path), Home(tmp_path)
    home.add_person("mira")
    with home.one_session(), pytest.raises(RecordError, match="Another session runs here"), same.one_session():
        pytest.fail("a second one began")

    with same.one_session():
        pass
