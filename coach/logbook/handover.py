"""Everything that is kept of a person as one ZIP file, for them to take with them."""

from __future__ import annotations

import io
import os
import stat
import zipfile
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from pathlib import Path

from coach.errors import RecordError
from coach.logbook import files
from coach.logbook.store import Person

README = "README.txt"
"""Name of the file in the archive that says what the others are."""

_NO_DATE = (1980, 1, 1, 0, 0, 0)
"""The same for each entry, so that the same data give the same archive."""
_HALF = ".new"
"""How a file ends that is being written at this moment; so does a name that begins with a dot."""


@dataclass(frozen=True, slots=True)
class Archive:
    """A ZIP file in memory."""

    data: bytes
    names: tuple[str, ...]
    """The files in it, below the person's folder, in order; without README."""
    left_out: tuple[str, ...]
    """What lies in the folder and is no file of its own: links, above all."""


def pack_up(person: Person, readme: Callable[[Sequence[str], Sequence[str]], str]) -> Archive:
    """Return all that is kept of `person`, the same bytes for the same data. Nothing outside their folder is read.

    `readme` is given the names of the files and of what was left out, and returns the text that explains them. Raises
    RecordError.
    """
    refuse_link(person.folder)
    held: dict[str, bytes] = {}
    left_out: list[str] = []
    with files.clear_errors(person.folder, "read"):
        for path in _below(person.folder):
            name = path.relative_to(person.folder).as_posix()
            if not stat.S_ISREG(path.lstat().st_mode):
                left_out.append(name)
            elif not (path.name.startswith(".") or path.name.endswith(_HALF)):
                held[name] = _read(path)
    body = io.BytesIO()
    with zipfile.ZipFile(body, "w") as archive:
        _add(archive, README, readme(tuple(held), tuple(left_out)).encode("utf-8"))
        for name, data in held.items():
            _add(archive, name, data)
    return Archive(body.getvalue(), tuple(held), tuple(left_out))


def refuse_link(folder: Path) -> None:
    """Raise RecordError if the folder of a person is only a link to one that lies elsewhere."""
    if folder.is_symlink():
        raise RecordError(f"{folder} is a link to another folder; put the folder itself there, then try again.")


def _below(folder: Path) -> list[Path]:
    """Return what lies in a folder and its own folders, in order; a link to a folder is not followed."""
    found: list[Path] = []
    for where, folders, names in os.walk(folder):
        links = [name for name in folders if (Path(where) / name).is_symlink()]
        found += [Path(where) / name for name in (*names, *links)]
    return sorted(found, key=lambda path: path.relative_to(folder).as_posix())


def _read(path: Path) -> bytes:
    handle = os.open(path, os.O_RDONLY | getattr(os, "O_NOFOLLOW", 0) | getattr(os, "O_BINARY", 0))
    with os.fdopen(handle, "rb") as file:
        return file.read()


def _add(archive: zipfile.ZipFile, name: str, data: bytes) -> None:
    entry = zipfile.ZipInfo(name, _NO_DATE)
    entry.create_system = 3  # as on Unix, wherever it is made: the rights below are then read as such
    entry.external_attr = (stat.S_IFREG | 0o600) << 16
    entry.compress_type = zipfile.ZIP_DEFLATED
    archive.writestr(entry, data)
