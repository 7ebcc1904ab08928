"""Write what was made for somebody, whole or not at all, into a file that its owner alone can read.

A file takes the place of a regular file alone: a device, a pipe, a link or a folder of that name stays as it is.
"""

from __future__ import annotations

import stat
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from pathlib import Path

from coach.errors import OutputError
from coach.logbook.files import replace_file, replacing


def write(path: Path, data: bytes) -> None:
    """Write a file, over an older one too. Raises OutputError; then the older one stays."""
    with _said(path):
        replace_file(path, data)


@contextmanager
def output(path: Path) -> Iterator[Path]:
    """Give an empty file to be filled, which then is the file of that name. Raises OutputError, also for an OSError.

    After an exception it goes away, and an older file stays.
    """
    with _said(path), replacing(path) as beside:
        yield beside
        check(path)  # it may have come while we wrote


def check(path: Path) -> None:
    """Raise OutputError if something of that name is there that no file may take the place of."""
    with suppress(FileNotFoundError):
        mode = path.lstat().st_mode
        if stat.S_ISDIR(mode):
            raise OutputError(f"{path} is a folder; name a file in it.")
        if not stat.S_ISREG(mode):
            raise OutputError(f"{path} is no file but a link, a device or a pipe; name a file of your own.")


@contextmanager
def _said(path: Path) -> Iterator[None]:
    try:
        check(path)
        yield
    except OSError as error:
        reason = error.strerror or str(error)
        raise OutputError(f"Cannot write {path} ({reason}): name a file in a folder where you may write.") from error
