"""Private files that are on the disk when the call returns: folders 0700, files 0600, fsynced, locked while in use."""

from __future__ import annotations

import os
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from coach.errors import RecordError


@contextmanager
def clear_errors(path: Path, doing: str) -> Iterator[None]:
    """Turn an OSError into a RecordError that says what to do. `doing` is "write" or "read"."""
    try:
        yield
    except OSError as error:
        reason = error.strerror or str(error)
        raise RecordError(
            f"Cannot {doing} {path} ({reason}): free some space or allow access there, "
            "or name another folder with --home."
        ) from error


def make_folder(folder: Path) -> None:
    """Make a folder that its owner alone may use, with those above it; make sure that the disk knows of it."""
    missing = [path for path in (folder, *folder.parents) if not path.exists()]
    for path in reversed(missing):
        path.mkdir(mode=0o700, exist_ok=True)
        sync_folder(path.parent)


def sync_folder(folder: Path) -> None:
    """Make sure that the disk knows the names in `folder`; a system that cannot do so is taken as it is."""
    if os.name == "nt":  # Windows opens no folder
        return
    handle = os.open(folder, os.O_RDONLY)
    try:
        os.fsync(handle)
    except OSError:  # some network folders refuse; the files in them are synced one by one all the same
        pass
    finally:
        os.close(handle)


def create(path: Path) -> int:
    """Create a file for its owner alone and open it to append. Raises FileExistsError if there is one."""
    return os.open(path, os.O_RDWR | os.O_CREAT | os.O_EXCL | os.O_APPEND | getattr(os, "O_BINARY", 0), 0o600)


def reopen(path: Path) -> int:
    """Open a file that is there, to read and to append."""
    return os.open(path, os.O_RDWR | os.O_APPEND | getattr(os, "O_BINARY", 0))


def write_whole(handle: int, data: bytes) -> None:
    """Append all of `data` and wait until it is on the disk; if that fails, nothing of it stays."""
    size = os.fstat(handle).st_size
    try:
        rest = memoryview(data)
        while rest:
            rest = rest[os.write(handle, rest) :]
        os.fsync(handle)
    except OSError:
        os.ftruncate(handle, size)
        raise


def replace_file(path: Path, data: bytes) -> None:
    """Write a file for its owner alone so that either the old or the new one is there, never a part."""
    beside = path.with_name(path.name + ".new")
    beside.unlink(missing_ok=True)
    handle = create(beside)
    try:
        try:
            write_whole(handle, data)
        finally:
            os.close(handle)
        beside.replace(path)
    except OSError:
        beside.unlink(missing_ok=True)
        raise
    sync_folder(path.parent)


@contextmanager
def locked_folder(folder: Path) -> Iterator[bool]:
    """Take a folder for this process; give False if another has it. Where folders cannot be locked: True."""
    if os.name == "nt":  # Windows opens no folder
        yield True
        return
    with clear_errors(folder, "read"):
        handle = os.open(folder, os.O_RDONLY)
    try:
        yield lock(handle)
    finally:
        os.close(handle)


def lock(handle: int) -> bool:
    """Take the file for this process until it is closed; False if another has it. Where there are no locks: True."""
    try:
        import fcntl
    except ImportError:
        return True
    try:
        fcntl.flock(handle, fcntl.LOCK_EX | fcntl.LOCK_NB)
    except BlockingIOError:
        return False
    except OSError:  # a file system without locks
        return True
    return True
