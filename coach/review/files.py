"""Write what was made for somebody, whole or not at all, into a file that its owner alone can read."""

from __future__ import annotations

from pathlib import Path

from coach.errors import CoachError
from coach.logbook.files import replace_file


def write(path: Path, data: bytes) -> None:
    """Write a file, over an older one too. Raises CoachError that says what to do; then the older one stays."""
    try:
        replace_file(path, data)
    except OSError as error:
        reason = error.strerror or str(error)
        raise CoachError(f"Cannot write {path} ({reason}): name a file in a folder where you may write.") from error
