"""Prepare what is slow to make once for a run of the tests, shared by all its processes."""

from __future__ import annotations

import os
import shutil
from collections.abc import Callable
from pathlib import Path
from typing import IO

import pytest


def once(factory: pytest.TempPathFactory, name: str, make: Callable[[Path], object]) -> Path:
    """Return the folder `name`, filled by `make`; other processes wait meanwhile."""
    base = factory.getbasetemp()
    shared = base.parent if os.environ.get("PYTEST_XDIST_WORKER") and os.name == "posix" else base
    folder, made = shared / name, shared / f"{name}.made"
    with (shared / f"{name}.lock").open("w") as lock:
        _wait_for(lock)
        if not made.exists():
            shutil.rmtree(folder, ignore_errors=True)
            folder.mkdir()
            make(folder)
            made.touch()
    return folder


def _wait_for(lock: IO[str]) -> None:
    """Hold the lock until its file is closed; on a system without file locks each process makes its own folder."""
    if os.name == "posix":
        import fcntl

        fcntl.flock(lock, fcntl.LOCK_EX)
