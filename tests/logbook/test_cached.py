"""Records that were put together before: they save time, and nothing that is done to them changes what is read."""

from __future__ import annotations

import json
import os
import re
import shutil
import stat
import zipfile
from collections.abc import Callable
from dataclasses import fields
from datetime import UTC, date, datetime
from io import BytesIO
from pathlib import Path
from random import Random
from typing import Any

import pytest
from broken import BROKEN, broken
from in_the_room import SMALL

from coach.errors import RecordError
from coach.history import past
from coach.logbook import SessionRecord, cached, files, packed, reading, seal
from coach.logbook.cached import NAME
from coach.logbook.forgetting import forget
from coach.logbook.handover import pack_up
from coach.logbook.reading import History, read_history
from coach.logbook.store import Home
from coach.logbook.tallied import Tally
from coach.logbook.writing import ENDING
from coach.program.load import load
from coach.review.figures import Review
from coach.review.measures import review
from coach.review.table import rows
from coach.testing import SimulatedCourse, write_history

SESSIONS, NEWEST = 9, 4


@pytest.fixture(scope="module")
def lived(tmp_path_factory: pytest.TempPathFactory) -> Path:
    home = Home(tmp_path_factory.mktemp("lived"))
    busy = SimulatedCourse(days=14, adherence=1.0, halts=0.5, trouble=0.5, pain=(4, 2))
    write_history(home, "mira", load(SMALL, "small.yaml"), busy, seed=2, begins=date(2027, 1, 1))
    for path in sessions(home.root)[SESSIONS:]:
        path.unlink()
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(cached, "NEWEST", NEWEST)
        home.history("mira")
    return home.root


@pytest.fixture(autouse=True)
def few_are_new(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(cached, "NEWEST", NEWEST)


@pytest.fixture
def root(lived: Path, tmp_path: Path) -> Path:
    """A home with rows in it."""
    return shutil.copytree(lived, tmp_path / "home")


@pytest.fixture
def put_together(monkeypatch: pytest.MonkeyPatch) -> list[str]:
    """Gather the ids of the sessions that are put together from their files."""
    found: list[str] = []
    real = reading.hold_anew

    def hold_anew(path: Path, data: bytes) -> reading.Held:
        found.append(path.name.removesuffix(ENDING))
        return real(path, data)

    monkeypatch.setattr(cached, "hold_anew", hold_anew)
    return found


@pytest.fixture
def unpacked(monkeypatch: pytest.MonkeyPatch) -> list[str]:
    """Gather the ids of the sessions whose whole record is taken from its row."""
    found: list[str] = []
    real = packed.unpack

    def unpack(known: type[Any], text: str) -> object:
        made = real(known, text)
        found.extend([made.session] if known is SessionRecord else [])
        return made

    monkeypatch.setattr(cached, "unpack", unpack)
    return found


def rows_of(root: Path) -> Path:
    return root / "people" / "mira" / NAME


def sessions(root: Path) -> list[Path]:
    return sorted((root / "people" / "mira" / "sessions").glob(f"*{ENDING}"))


def read(root: Path, *, sound: bool = False) -> History:
    return Home(root).history("mira", sound=sound)


def truth(root: Path, *, sound: bool = False) -> History:
    return read_history(sessions(root), sound=sound)


def told(history: History) -> object:
    """Return all that a history tells, the sums and the whole records too."""
    return history, [one.tally for one in history.sessions], history.records


def forged(root: Path, number: int, change: Callable[[str], str], *, seal: bool = True) -> None:
    """Change the row of the session of that number, counted as its files are, and seal it anew."""
    path = sessions(root)[number]
    key = cached._key(path.read_bytes(), path.name.removesuffix(ENDING))
    lines = rows_of(root).read_text("utf-8").split("\n")
    at = next(at for at, line in enumerate(lines) if line.startswith(key))
    _, sealed, packed = lines[at].split(" ", 2)
    other = change(packed)
    assert other != packed
    sealed = cached._seal(key, other.encode()).decode() if seal else sealed
    lines[at] = f"{key} {sealed} {other}"
    rows_of(root).write_text("\n".join(lines), "utf-8")


def painless(row: str) -> str:
    """Return a row whose person felt nothing."""
    for change in (painless_brief, painless_tally, painless_record):
        row = change(row)
    return row


def painless_brief(row: str) -> str:
    brief, *others = map(json.loads, row.split("\t"))
    assert brief[-1]
    for one in brief[-1]:
        one[5] = 0
    return as_row(brief, *others)


def painless_tally(row: str) -> str:
    brief, tally, record = map(json.loads, row.split("\t"))
    at = [field.name for field in fields(Tally)].index("after")
    assert tally[at] is not None
    tally[at] = [0, 0]
    return as_row(brief, tally, record)


def painless_record(row: str) -> str:
    brief, tally, record = map(json.loads, row.split("\t"))
    assert record[16]
    for one in record[16]:
        one[14] = 0
    return as_row(brief, tally, record)


def as_row(*parts: object) -> str:
    return "\t".join(json.dumps(part, ensure_ascii=False, separators=(",", ":")) for part in parts)


def test_rows_equal_their_files_and_save_assembling_them(root: Path, put_together: list[str]) -> None:
    assert told(read(root)) == told(truth(root))
    assert len(put_together) == NEWEST
    put_together.clear()
    assert told(read(root, sound=True)) == told(truth(root, sound=True))
    assert len(put_together) == NEWEST


def test_no_record_is_unpacked_until_somebody_asks_for_it_and_none_twice(root: Path, unpacked: list[str]) -> None:
    found = read(root)
    assert past(found.sessions, "small") == past(truth(root).records, "small")
    assert unpacked == []

    first = found.sessions[0]
    assert first.record == truth(root).records[0]
    assert first.record is found.records[0]
    assert unpacked == [session.stem for session in sessions(root)[: SESSIONS - NEWEST]]


def test_a_review_takes_its_sums_from_the_rows_and_unpacks_no_record(root: Path, unpacked: list[str]) -> None:
    now = datetime(2027, 3, 1, tzinfo=UTC).astimezone()

    def reviewed(history: History) -> Review:
        named = tuple((path.name, one) for path, one in zip(history.paths, history.sessions, strict=True))
        return review("mira", named, programs={}, now=now)

    found = reviewed(read(root))
    assert unpacked == []
    assert found == reviewed(truth(root))
    assert rows(found) == rows(reviewed(truth(root)))
    assert unpacked == [session.stem for session in sessions(root)[: SESSIONS - NEWEST]]


def test_the_plan_looks_into_the_records_of_a_session_that_was_taken_up_alone(root: Path, unpacked: list[str]) -> None:
    first, then = sessions(root)[:2]
    bodies = re.sub(r',"chain":"[^"]*"}', "}", then.read_text("utf-8")).splitlines()
    bodies[0] = f'{bodies[0][:-1]},"continues":"{first.stem}"}}'
    chain, sealed = then.stem, ""
    for body in bodies:
        text, chain = seal(body, chain)
        sealed += text + "\n"
    then.write_text(sealed, "utf-8")
    assert past(read(root).sessions, "small") == past(truth(root).records, "small")
    unpacked.clear()

    found = past(read(root).sessions, "small")
    assert found == past(truth(root).records, "small")
    assert len(found) == len(past(truth(root).records[2:], "small")) + 1
    assert unpacked == [first.stem, then.stem]


@pytest.mark.parametrize("meanwhile", ["changed", "gone"])
def test_a_record_that_no_row_and_no_file_holds_any_more_is_reported(root: Path, meanwhile: str) -> None:
    forged(root, 0, lambda row: row.partition("\t")[0] + "\tnull\tnull")
    history = read(root)
    path = sessions(root)[0]
    if meanwhile == "gone":
        path.unlink()
    else:
        path.write_bytes(path.read_bytes() + b"\n")

    with pytest.raises(RecordError, match=re.escape(path.name)):
        _ = history.sessions[0].record
    with pytest.raises(RecordError, match=re.escape(path.name)):
        _ = history.sessions[0].tally


def test_a_session_with_a_problem_is_read_again_each_time(root: Path, put_together: list[str]) -> None:
    path = sessions(root)[0]
    path.write_bytes(path.read_bytes() + b"torn")
    read(root)
    put_together.clear()

    assert told(read(root)) == told(truth(root))
    assert put_together.count(path.stem) == 1
    assert len(put_together) == NEWEST + 1


def test_without_the_rows_all_is_read_and_they_come_back(root: Path, put_together: list[str]) -> None:
    rows_of(root).unlink()

    assert told(read(root)) == told(truth(root))
    assert len(put_together) == SESSIONS
    put_together.clear()
    assert told(read(root)) == told(truth(root))
    assert len(put_together) == NEWEST


def test_one_process_puts_nothing_together_twice(root: Path, put_together: list[str]) -> None:
    rows_of(root).unlink()
    home = Home(root)

    assert told(home.history("mira")) == told(home.history("mira"))
    assert len(put_together) == SESSIONS


def test_a_new_session_adds_its_row_alone(root: Path, put_together: list[str]) -> None:
    before = rows_of(root).read_bytes()
    path = sessions(root)[-1]
    other = path.with_name("20270301t090000z-1" + ENDING)
    other.write_bytes(path.read_bytes())

    assert told(read(root)) == told(truth(root))
    assert rows_of(root).read_bytes().startswith(before)
    assert len(put_together) == NEWEST


@pytest.mark.parametrize("number", [0, SESSIONS - 1])
def test_a_changed_session_is_read_again(root: Path, number: int) -> None:
    path = sessions(root)[number]
    status = path.stat()
    text = path.read_text("utf-8")
    path.write_text(text.replace('"attempts":1', '"attempts":2', 1), "utf-8")
    os.utime(path, ns=(status.st_atime_ns, status.st_mtime_ns))
    assert path.read_text("utf-8") != text
    assert path.stat().st_size == status.st_size

    found = read(root)
    assert told(found) == told(truth(root))
    assert found.records[number].doubtful


def test_the_same_bytes_under_another_name_are_another_session(root: Path) -> None:
    path = sessions(root)[0]
    path.rename(path.with_name("20261231t090000z-1" + ENDING))

    found = read(root)
    assert told(found) == told(truth(root))
    assert found.records[0].doubtful


@pytest.mark.parametrize("number", [0, SESSIONS - 1])
@pytest.mark.parametrize("change", [painless, painless_brief, painless_tally, painless_record])
def test_a_row_that_was_changed_by_hand_counts_for_nothing(
    root: Path, number: int, change: Callable[[str], str]
) -> None:
    forged(root, number, change, seal=False)

    assert told(read(root)) == told(truth(root))


@pytest.mark.parametrize("number", range(SESSIONS - NEWEST, SESSIONS))
@pytest.mark.parametrize("change", [painless, painless_brief, painless_tally, painless_record])
def test_a_forged_row_of_a_new_session_does_away_with_all(
    root: Path, number: int, change: Callable[[str], str], put_together: list[str]
) -> None:
    forged(root, number, change)
    forged(root, 0, painless)

    assert told(read(root)) == told(truth(root))
    assert len(put_together) == SESSIONS
    assert told(read(root)) == told(truth(root))


@pytest.mark.parametrize(
    "change",
    [
        lambda held: held.replace("16000", "0"),
        lambda held: held.replace("16000", "-16000"),
        lambda _: "[" * 10_000,
        lambda _: "null",
        lambda held: held.replace("16000", "1e999"),
        lambda held: held.replace("16000", "NaN"),
        lambda held: held.replace("16000", "true"),
        lambda _: "[[],null]",
        lambda held: held.partition("\t")[0],
        lambda held: held.rpartition("\t")[0] + "\tnull",
        lambda held: held.rpartition("\t")[0] + "\t" + "[" * 10_000,
        lambda held: held.partition("\t")[0] + "\tnull\t" + held.rpartition("\t")[2],
        lambda held: held.partition("\t")[0] + "\t" + held.rpartition("\t")[2],
        lambda held: held.partition("\t")[0] + held,
        lambda held: held + "\t",
        lambda held: "null\t" + held.partition("\t")[2],
    ],
)
def test_a_row_that_no_file_could_make_counts_for_nothing(root: Path, change: Callable[[str], str]) -> None:
    forged(root, 0, change)

    assert told(read(root)) == told(truth(root))


def test_a_row_of_another_version_of_the_logbook_counts_for_nothing(
    root: Path, put_together: list[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(cached, "_source", lambda: b"another")

    assert told(read(root)) == told(truth(root))
    assert len(put_together) == SESSIONS
    size = rows_of(root).stat().st_size
    monkeypatch.undo()
    assert told(read(root)) == told(truth(root))
    assert rows_of(root).stat().st_size <= size + 1


HOSTILE = {
    "empty": b"",
    "lines": b"\n" * 100_000,
    "zeros": b"\0" * 100_000,
    "pickle": b"\x80\x04cos\nsystem\n(S'touch /tmp/x'\ntR.",
    "database": b"SQLite format 3\0" + bytes(4096),
    "no text": bytes(range(256)) * 100,
    "keys alone": b"\n".join(b"%064x" % n for n in range(1000)),
    "keys and seals": b"\n".join(b"%064x %064x " % (n, n) for n in range(1000)),
}


@pytest.mark.parametrize("name", HOSTILE)
def test_a_file_of_rows_that_is_none_costs_time_alone(root: Path, name: str, put_together: list[str]) -> None:
    rows_of(root).write_bytes(HOSTILE[name])

    assert told(read(root)) == told(truth(root))
    put_together.clear()
    assert told(read(root)) == told(truth(root))
    assert len(put_together) == NEWEST


def test_a_file_of_rows_that_is_cut_off_or_spoilt_anywhere_costs_time_alone(root: Path) -> None:
    chance = Random(5)
    whole = rows_of(root).read_bytes()
    wanted = told(truth(root))
    for _ in range(16):
        at = chance.randrange(len(whole))
        rows_of(root).write_bytes(chance.choice((
            whole[:at], whole[at:], whole[:at] + bytes([whole[at] ^ 1]) + whole[at + 1 :], whole[:at] + whole
        )))  # fmt: skip
        assert told(read(root)) == wanted
        assert told(read(root)) == wanted


@pytest.mark.parametrize("name", BROKEN)
def test_anything_in_place_of_the_rows_costs_only_time(root: Path, name: str) -> None:
    broken(rows_of(root), name)

    assert told(read(root)) == told(truth(root))
    assert told(read(root)) == told(truth(root))


@pytest.mark.parametrize("link", [os.symlink, os.link])
def test_nothing_is_written_through_a_link(root: Path, tmp_path: Path, link: Callable[[Path, Path], None]) -> None:
    precious = tmp_path / "precious"
    precious.write_bytes(rows_of(root).read_bytes()[:-2000])
    before = precious.read_bytes()
    rows_of(root).unlink()
    link(precious, rows_of(root))

    assert told(read(root)) == told(truth(root))
    assert precious.read_bytes() == before
    assert not rows_of(root).is_symlink()


def test_rows_are_for_their_owner_alone(root: Path) -> None:
    before = os.umask(0)
    try:
        rows_of(root).unlink()
        read(root)
        assert stat.S_IMODE(rows_of(root).stat().st_mode) == 0o600
        rows_of(root).write_bytes(rows_of(root).read_bytes()[:-2000])
        rows_of(root).chmod(0o666)
        read(root)
    finally:
        os.umask(before)
    assert stat.S_IMODE(rows_of(root).stat().st_mode) == 0o600


def test_a_folder_that_cannot_be_written_is_read_all_the_same(root: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    rows_of(root).unlink()

    def refuse(path: Path) -> int:
        raise PermissionError(path)

    monkeypatch.setattr(files, "create", refuse)

    assert told(read(root)) == told(truth(root))
    assert not rows_of(root).exists()


def test_two_processes_at_once_leave_rows_that_are_good(root: Path, put_together: list[str]) -> None:
    rows_of(root).unlink()
    one, other = Home(root), Home(root)

    def meanwhile(done: int, of: int) -> None:
        if done == of // 2:
            other.history("mira")

    one.tell = meanwhile
    assert told(one.history("mira")) == told(truth(root))
    put_together.clear()
    assert told(read(root)) == told(truth(root))
    assert len(put_together) == NEWEST


def test_an_interrupted_reading_keeps_what_it_has(root: Path, put_together: list[str]) -> None:
    rows_of(root).unlink()

    def leave(done: int, _: int) -> None:
        if done == 5:
            raise KeyboardInterrupt

    with pytest.raises(KeyboardInterrupt):
        Home(root, tell=leave).history("mira")
    put_together.clear()
    assert told(read(root)) == told(truth(root))
    assert len(put_together) == SESSIONS - 5


def test_the_progress_of_reading_is_reported(root: Path) -> None:
    told: list[tuple[int, int]] = []

    Home(root, tell=lambda done, of: told.append((done, of))).history("mira")

    assert told == [(n, SESSIONS) for n in range(1, SESSIONS + 1)]


def test_a_session_that_cannot_be_read_is_not_taken_from_a_row(root: Path) -> None:
    broken(sessions(root)[0], "folder")

    found = read(root)
    assert len(found.records) == SESSIONS - 1
    assert len(found.unread) == 1


def test_rows_do_not_grow_without_end(root: Path) -> None:
    size = rows_of(root).stat().st_size
    for n in range(8):
        for path in sessions(root):
            path.write_bytes(path.read_bytes() + b"%d\n" % n)
        read(root)

    assert rows_of(root).stat().st_size < 3 * size


def test_few_sessions_need_no_rows(root: Path) -> None:
    rows_of(root).unlink()
    for path in sessions(root)[NEWEST:]:
        path.unlink()

    assert told(read(root)) == told(truth(root))
    assert not rows_of(root).exists()


def test_rows_are_left_out_of_what_is_handed_over_and_forgotten_with_the_person(root: Path) -> None:
    home = Home(root)
    archive = pack_up(home.person("mira"), lambda names, left_out: f"{names} {left_out}")

    with zipfile.ZipFile(BytesIO(archive.data)) as made:
        assert not [name for name in made.namelist() if NAME in name]
        assert NAME not in made.read("README.txt").decode()
    forget(home, "mira")
    assert [path for path in root.rglob("*") if NAME in path.name] == []


def test_a_name_that_no_text_holds_is_read_and_has_no_row(root: Path) -> None:
    path = sessions(root)[0]
    other = Path(os.fsdecode(os.fsencode(path.parent) + b"/\xff" + ENDING.encode()))
    try:
        other.write_bytes(path.read_bytes())
    except OSError:
        pytest.skip("the file system takes no such name")

    assert told(read(root)) == told(truth(root))
    assert told(read(root)) == told(truth(root))
