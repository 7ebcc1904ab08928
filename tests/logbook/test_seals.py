"""What passes the quick look at the chain has nothing against its chain in the slow one, and the other way round."""

from __future__ import annotations

from collections.abc import Callable
from datetime import datetime
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from coach.logbook.fields import fact
from coach.logbook.lines import read_lines
from coach.logbook.seals import unbroken
from coach.logbook.store import Home
from coach.loglines.kinds import Note, Ready

Told = list[tuple[str, int, dict[str, Any]]]


@pytest.fixture(scope="module")
def file(told: Told, tmp_path_factory: pytest.TempPathFactory) -> tuple[bytes, str]:
    """Return a session's file as the store writes it, with a note that holds the signs of a chain, and its id."""
    home = Home(tmp_path_factory.mktemp("home"))
    home.add_person("mira")
    with home.begin("mira") as store:
        for kind, at, fields in told:
            own = {"session": store.session} if kind == "session_begun" else {}
            store.append(at, fact(kind, fields | own))
        store.append(5_000_000, Note('so: ,"chain":"' + "0" * 64 + '"}\n é', "caregiver"))
    return store.path.read_bytes(), store.session


def problems(data: bytes, session: str) -> bool:
    reading = read_lines(data.decode("utf-8", "surrogateescape"), session)
    return bool(reading.problems) or not reading.lines


def test_a_file_as_it_was_written_is_unbroken(file: tuple[bytes, str]) -> None:
    assert unbroken(*file)
    assert not problems(*file)


@pytest.mark.parametrize(
    "spoil",
    [
        lambda data: data[:0],
        lambda data: data[:-1],
        lambda data: data[:-50],
        lambda data: data + b"\n",
        lambda data: data + b"junk\n",
        lambda data: b"\n" + data,
        lambda data: data.replace(b'"v":2', b'"v":3', 1),
        lambda data: data.replace(b'"value":3', b'"value":2', 1),
        lambda data: b"\n".join(data.split(b"\n")[1:]),
        lambda data: b"\n".join(data.split(b"\n")[:3] + data.split(b"\n")[4:]),
        lambda data: data.replace(b"\n", b"\r\n"),
    ],
)
def test_every_change_of_a_file_is_detected(file: tuple[bytes, str], spoil: Callable[[bytes], bytes]) -> None:
    data, session = file

    assert not unbroken(spoil(data), session)


def test_a_file_under_another_name_is_broken(file: tuple[bytes, str]) -> None:
    assert not unbroken(file[0], "another")


def test_lines_cut_off_whole_leave_the_rest_unbroken(file: tuple[bytes, str]) -> None:
    data, session = file
    cut = b"".join(line + b"\n" for line in data.split(b"\n")[:5])

    assert unbroken(cut, session)
    assert not problems(cut, session)


@given(at=st.integers(0, 10**6), byte=st.integers(0, 255), how=st.sampled_from(["change", "insert", "remove"]))
@settings(max_examples=300)
def test_no_byte_can_be_changed_unseen(file: tuple[bytes, str], at: int, byte: int, how: str) -> None:
    data, session = file
    at %= len(data)
    new = {
        "change": data[:at] + bytes([byte]) + data[at + 1 :],
        "insert": data[:at] + bytes([byte]) + data[at:],
        "remove": data[:at] + data[at + 1 :],
    }[how]

    assert unbroken(new, session) == (new == data)


def test_a_clock_of_the_store_makes_no_difference(ticking: Callable[[], datetime], tmp_path: Path) -> None:
    home = Home(tmp_path, ticking)
    home.add_person("bo")
    with home.begin("bo") as store:
        store.append(1, Ready("keys"))

    assert unbroken(store.path.read_bytes(), store.session)
