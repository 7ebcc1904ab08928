"""Pack everything about a person into one ZIP file for them to take along."""

from __future__ import annotations

import io
import stat
import zipfile
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from pathlib import Path

from coach.errors import RecordError
from coach.logbook import files
from coach.logbook.store import Person

README = "README.txt"
"""Name of the file in the archive that explains the others."""

_NO_DATE = (1980, 1, 1, 0, 0, 0)
"""The date of every entry, so that the same data give the same archive."""


@dataclass(frozen=True, slots=True)
class Archive:
    """A ZIP file in memory."""

    data: bytes
    names: tuple[str, ...]
    """The files in it, relative to the person's folder, in order; without README."""
    left_out: tuple[str, ...]
    """What is in the folder but is a link, not a regular file, or unreadable."""


def pack_up(person: Person, readme: Callable[[Sequence[str], Sequence[str]], str]) -> Archive:
    """Return everything about `person`, the same bytes for the same data. Reads nothing outside their folder.

    `readme` gets the names of the files and of what was left out, and returns the text that explains them. Raises
    RecordError.
    """
    refuse_link(person.folder)
    held: dict[str, bytes] = {}
    left_out: list[str] = []
    for path in _below(person.folder):
        name = path.relative_to(person.folder).as_posix()
        if not (path.name.startswith(".") or path.name.endswith(files.HALF)):
            try:
                held[name] = files.read_file(path, files.LARGEST_TAUGHT, links=False)
            except (files.AbsentError, files.UnreadableError):
                left_out.append(name)
    body = io.BytesIO()
    with zipfile.ZipFile(body, "w") as archive:
        _add(archive, README, readme(tuple(held), tuple(left_out)).encode("utf-8"))
        for name, data in held.items():
            _add(archive, name, data)
    return Archive(body.getvalue(), tuple(held), tuple(left_out))


def refuse_link(folder: Path) -> None:
    """Raise RecordError if a person's folder is only a link to another folder."""
    if folder.is_symlink():
        raise RecordError(f"{folder} is a link to another folder; put the folder itself there, then try again.")


def _below(folder: Path) -> list[Path]:
    """Return the files in a folder and its subfolders. Links and unreadable subfolders are returned themselves."""
    found: list[Path] = []
    for path in files.list_folder(folder):
        if path.is_symlink() or not path.is_dir():
            found.append(path)
            continue
        try:
            found += _below(path)
        except files.UnreadableError:
            found.append(path)
    return sorted(found, key=lambda path: path.relative_to(folder).as_posix())


def _add(archive: zipfile.ZipFile, name: str, data: bytes) -> None:
    entry = zipfile.ZipInfo(name, _NO_DATE)
    entry.create_system = 3  # Unix on every system: the rights below are then read as such
    entry.external_attr = (stat.S_IFREG | 0o600) << 16
    entry.compress_type = zipfile.ZIP_DEFLATED
    archive.writestr(entry, data)
