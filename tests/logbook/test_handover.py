"""What is kept of a person leaves in one file, whole, in order, and nothing else with it."""

from __future__ import annotations

import io
import zipfile
from collections.abc import Sequence
from pathlib import Path

import pytest

from coach.errors import RecordError
from coach.logbook.handover import README, pack_up
from coach.logbook.store import Home, Person
from coach.loglines.kinds import Note


def readme(names: Sequence[str], left_out: Sequence[str]) -> str:
    return f"{len(names)} and {len(left_out)}"


@pytest.fixture
def person(tmp_path: Path) -> Person:
    home = Home(tmp_path / "home")
    home.add_person("mira", "Mira")
    home.keep_program("mira", "ankle", "5f" * 32, b"format: 1\n")
    with home.begin("mira") as store:
        store.append(0, Note("a cushion", "caregiver"))
    return home.person("mira")


def unpacked(data: bytes) -> dict[str, bytes]:
    with zipfile.ZipFile(io.BytesIO(data)) as archive:
        assert archive.testzip() is None
        return {name: archive.read(name) for name in archive.namelist()}


def test_every_file_of_the_person_is_in_it_to_the_letter_and_in_order(person: Person) -> None:
    (person.folder / "sessions" / "a.jsonl.torn").write_bytes(b'{"v":')
    there = {
        path.relative_to(person.folder).as_posix(): path.read_bytes()
        for path in person.folder.rglob("*")
        if path.is_file()
    }

    archive = pack_up(person, readme)

    assert unpacked(archive.data) == {README: b"4 and 0"} | there
    assert list(archive.names) == sorted(there)


def test_the_same_data_give_the_same_bytes_whenever_they_were_written(person: Person) -> None:
    first = pack_up(person, readme).data
    for path in person.folder.rglob("*"):
        path.touch()

    assert pack_up(person, readme).data == first


def test_what_is_unpacked_can_be_read_by_its_owner_only(person: Person) -> None:
    with zipfile.ZipFile(io.BytesIO(pack_up(person, readme).data)) as archive:
        assert {entry.external_attr >> 16 & 0o777 for entry in archive.infolist()} == {0o600}


def test_nothing_outside_the_folder_is_read_through_a_link(person: Person, tmp_path: Path) -> None:
    secret = tmp_path / "elsewhere"
    secret.mkdir()
    (secret / "secret.txt").write_text("secret", "utf-8")
    (person.folder / "sessions" / "linked.jsonl").symlink_to(secret / "secret.txt")
    (person.folder / "linked").symlink_to(secret)

    archive = pack_up(person, readme)

    assert archive.left_out == ("linked", "sessions/linked.jsonl")
    assert b"secret" not in b"".join(unpacked(archive.data).values())


def test_a_folder_that_is_a_link_is_refused(person: Person, tmp_path: Path) -> None:
    person.folder.rename(tmp_path / "elsewhere")
    person.folder.symlink_to(tmp_path / "elsewhere")

    with pytest.raises(RecordError, match="is a link to another folder"):
        pack_up(person, readme)


def test_unfinished_files_are_not_in_it(person: Person) -> None:
    before = pack_up(person, readme).data
    (person.folder / "person.json.new").write_bytes(b"{")
    (person.folder / ".enrolment-x").write_bytes(b"PK")

    assert pack_up(person, readme).data == before
