"""Files of a speech model that do not load."""

from __future__ import annotations

from pathlib import Path

from coach.ears.models import NEEDED


def model_in(folder: Path, *, without: str = "") -> Path:
    """Make the files of a model in `folder`, all or all but one; return the folder."""
    for name in NEEDED:
        if name != without:
            (folder / name).parent.mkdir(parents=True, exist_ok=True)
            (folder / name).write_bytes(b"x" * 10)
    return folder
