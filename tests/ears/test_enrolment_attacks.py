"""A malicious file of taught words is recognised as damaged, at once and in little memory."""

from __future__ import annotations

import io
import pickle
import tracemalloc
import zipfile
from collections.abc import Callable
from pathlib import Path

import hostile
import numpy as np
import pytest

from coach.ears.enrolment import FILE, UnusableEnrolmentError, load_enrolment

Members = dict[str, bytes]


def members() -> Members:
    """Return the arrays of a valid file as bytes."""
    with zipfile.ZipFile(io.BytesIO(hostile._enrolled()[0])) as archive:
        return {name: archive.read(name) for name in archive.namelist()}


def packed(held: Members) -> bytes:
    made = io.BytesIO()
    with zipfile.ZipFile(made, "w", zipfile.ZIP_DEFLATED) as archive:
        for name, data in held.items():
            archive.writestr(name, data)
    return made.getvalue()


def header(shape: str, descr: str = "'<f4'", fortran: str = "False") -> bytes:
    """Return an array with this header and 64 bytes of data."""
    told = f"{{'descr': {descr}, 'fortran_order': {fortran}, 'shape': {shape}, }}".ljust(117) + "\n"
    return b"\x93NUMPY\x01\x00" + len(told).to_bytes(2, "little") + told.encode() + bytes(64)


class Harm:
    """A pickle that does something when it is read."""

    def __reduce__(self) -> tuple[Callable[..., object], tuple[object, ...]]:
        return Path.touch, (Path("harm-was-done"),)


def objects() -> bytes:
    out = io.BytesIO()
    np.save(out, np.array([Harm()], dtype=object), allow_pickle=True)
    return out.getvalue()


def put(**changed: bytes) -> Callable[[], bytes]:
    return lambda: packed(members() | {f"{name}.npy": data for name, data in changed.items()})


def bomb() -> bytes:
    """11 MB of zeros in 11 kB; the limit is 10 MB."""
    made = io.BytesIO(packed(members()))
    with zipfile.ZipFile(made, "a", zipfile.ZIP_DEFLATED) as archive, archive.open("room_frames.npy", "w") as entry:
        for _ in range(11):
            entry.write(bytes(1 << 20))
    return made.getvalue()


def says_less() -> bytes:
    """An array whose length in the directory is 1 byte."""
    data = bytearray(packed(members()))
    where = data.find(b"PK\x01\x02")
    data[where + 24 : where + 28] = (1).to_bytes(4, "little")
    return bytes(data)


def traversal() -> bytes:
    return packed(members() | {"../../outside.npy": header("(16,)"), "/outside.npy": header("(16,)")})


ATTACKS: dict[str, Callable[[], bytes]] = {
    "a pickle in place of the archive": lambda: pickle.dumps(Harm()),
    "a pickle in place of an array": put(words=pickle.dumps(Harm())),
    "an array of objects": put(words=objects()),
    "objects inside a record": put(words=header("(1,)", "[('a', '|O')]")),
    "2**62 rows": put(frames_0=header("(4611686018427387904, 96)")),
    "a terabyte": put(frames_0=header("(2863311530, 96)")),
    "40 GB, which a system may promise": put(frames_0=header("(104857600, 96)")),
    "texts without letters, without end": put(words=header("(1099511627776,)", "'<U0'")),
    "a negative shape": put(frames_0=header("(-1, 96)")),
    "a shape of words": put(frames_0=header("('9', 96)")),
    "columns first, turned": put(frames_0=header("(96, 9)", fortran="True")),
    "an order that is no truth": put(frames_0=header("(9, 96)", fortran="7")),
    "rows inside a row": put(frames_0=header("(1,)", "('<f4', (9, 96))")),
    "a header that is a sum": put(frames_0=header("(3 + 6, 96)")),
    "a header without end": put(frames_0=b"\x93NUMPY\x02\x00\xff\xff\xff\xff" + b"(" * 100_000),
    "brackets in brackets": put(frames_0=header("(" * 90)),
    "no array": put(frames_0=b"frames"),
    "an array alone": lambda: header("(4,)"),
    "a bomb": bomb,
    "a size that is a lie": says_less,
    "nothing": lambda: b"",
}


@pytest.mark.parametrize("attack", ATTACKS)
def test_a_malicious_enrolment_is_damaged_at_once_and_does_nothing(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, attack: str
) -> None:
    monkeypatch.chdir(tmp_path)
    monkeypatch.setattr("coach.ears.enrolment.LARGEST_TAUGHT", 10 * 2**20)
    folder = tmp_path / "mira" / "takes"
    folder.mkdir(parents=True)
    (folder / FILE).write_bytes(ATTACKS[attack]())
    tracemalloc.start()

    try:
        with pytest.raises(UnusableEnrolmentError, match=r"is damaged; teach the words again: coach enrol mira"):
            load_enrolment(folder)
        # The memory that a header requests counts, even if the system only reserves it.
        assert tracemalloc.get_traced_memory()[1] < 100 * 2**20
    finally:
        tracemalloc.stop()

    assert [path.name for path in tmp_path.iterdir()] == ["mira"]


def test_names_in_the_archive_write_no_file(tmp_path: Path) -> None:
    """The archive is never unpacked."""
    folder = tmp_path / "mira" / "takes"
    folder.mkdir(parents=True)
    (folder / FILE).write_bytes(traversal())

    load_enrolment(folder)

    assert [path.name for path in tmp_path.rglob("*") if path.is_file()] == [FILE]
