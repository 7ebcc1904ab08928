"""Write a file for the user, whole or not at all, readable by its owner only.

It replaces only a regular file; a device, a pipe, a link or a folder of that name is left alone.
"""

from __future__ import annotations

import stat
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from pathlib import Path

from coach.errors import OutputError
from coach.logbook.files import replace_file, replacing


def write(path: Path, data: bytes) -> None:
    """Write a file, replacing an older one. Raises OutputError; then the older file stays."""
    with _said(path):
        replace_file(path, data)


@contextmanager
def output(path: Path) -> Iterator[Path]:
    """Give an empty file to fill; on success it becomes the file at `path`. Raises OutputError, also for an OSError.

    After an exception the new file is deleted and an older one stays.
    """
    with _said(path), replacing(path) as beside:
        yield beside
        check(path)  # it may have appeared while we wrote


def check(path: Path) -> None:
    """Raise OutputError if `path` names something other than a regular file."""
    with suppress(FileNotFoundError):
        mode = path.lstat().st_mode
        if stat.S_ISDIR(mode):
            raise OutputError(f"{path} is a folder; name a file in it.")
        if not stat.S_ISREG(mode):
            raise OutputError(f"{path} is a link, a device or a pipe; name a regular file.")


@contextmanager
def _said(path: Path) -> Iterator[None]:
    try:
        check(path)
        yield
    except OSError as error:
        reason = error.strerror or str(error)
        raise OutputError(f"Cannot write {path} ({reason}): name a file in a folder where you may write.") from error
