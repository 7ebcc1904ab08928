"""Locate the programs and voices shipped with the package."""

from __future__ import annotations

from pathlib import Path

_HERE = Path(__file__).resolve().parent


def folder(name: str) -> Path:
    """Return the folder `name` ("programs" or "voices"): inside an installed package, else beside it in a checkout."""
    installed = _HERE / "data" / name
    return installed if installed.is_dir() else _HERE.parent / name
