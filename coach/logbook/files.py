"""Private files that are on the disk when the call returns: folders 0700, files 0600, fsynced, locked while in use.

What is read of a person is opened here alone. It is there and can be read, or it is absent, or it is unreadable;
whether it is damaged says who knows what should be in it.
"""

from __future__ import annotations

import os
import re
import secrets
import stat
from collections.abc import Callable, Iterator
from contextlib import contextmanager, suppress
from pathlib import Path

from coach.errors import RecordError

MIB = 1024 * 1024
LARGEST = 16 * MIB
"""Bytes of a file of a person at most, where the reader knows no other bound: an hour's session has less than 1 MiB."""

HALF = ".new"
"""How a file ends that is being written at this moment; its name begins with a dot."""
_BEGUN = re.compile(r"\.[0-9a-f]{16}" + re.escape(HALF))

LARGEST_TAUGHT = 512 * MIB
"""Bytes of what a person taught at most, on the disk and unpacked: every word with fifty takes stays below."""

_AT_ONCE = getattr(os, "O_NONBLOCK", 0) | getattr(os, "O_NOCTTY", 0) | getattr(os, "O_BINARY", 0)
"""A pipe that took a file's place never makes us wait; a terminal never becomes ours."""

_KINDS = (
    (stat.S_ISDIR, "it is a folder"),
    (stat.S_ISREG, "it is a file and no folder"),
    (stat.S_ISFIFO, "it is a pipe"),
    (stat.S_ISSOCK, "it is a socket"),
    (stat.S_ISLNK, "it is a link"),
)


class AbsentError(RecordError):
    """There is nothing of that name."""

    def __init__(self, path: Path) -> None:
        super().__init__(f"There is no {path}; check the path, or name another folder with --home.")


class UnreadableError(RecordError):
    """Something is there and cannot be read: that is neither absent nor damaged, and tells nothing of what it holds."""

    def __init__(self, path: Path, why: str, at: Path | None = None) -> None:
        """`path` was to be read; `at` is what stands in the way, if that is a folder above it."""
        super().__init__(f"Cannot read {at or path} ({why}): allow access to it, or put back what belongs there.")
        self.path = at or path
        """What must be put right."""
        self.why = why
        """In a few words, as they may stand in brackets."""


def open_file(path: Path, *, adding: bool = False, links: bool = True) -> int:
    """Open a regular file, or with `links` one that a link leads to, to read or also to append; it never waits.

    Raises AbsentError if there is nothing of that name, UnreadableError for all else.
    """
    how = (os.O_RDWR | os.O_APPEND if adding else os.O_RDONLY) | (0 if links else getattr(os, "O_NOFOLLOW", 0))
    with _told(path):
        # Before it is opened: a device may start something by that alone.
        _refuse_unless(stat.S_ISREG, path, path.stat(follow_symlinks=links))
        handle = os.open(path, how | _AT_ONCE)
    try:
        _refuse_unless(stat.S_ISREG, path, os.fstat(handle))  # what we have in hand, whatever took its place
    except UnreadableError:
        os.close(handle)
        raise
    return handle


def read_file(path: Path, most: int = LARGEST, *, links: bool = True) -> bytes:
    """Return what a file holds, `most` bytes at most; `links` and errors as in `open_file`."""
    with os.fdopen(open_file(path, links=links), "rb") as file, _told(path):
        size = os.fstat(file.fileno()).st_size
        data = file.read(size + 1) if size <= most else b""
        if len(data) > size:  # it has grown, or its system does not tell how long it is
            data += file.read(most + 1 - len(data))
    if max(size, len(data)) > most:
        raise UnreadableError(path, f"it is larger than {most // MIB} MiB")
    return data


def read_end(path: Path, most: int) -> bytes:
    """Return the last bytes of a file, `most` at most, however large it is; errors as in `open_file`."""
    with os.fdopen(open_file(path), "rb") as file, _told(path):
        file.seek(-min(most, os.fstat(file.fileno()).st_size), os.SEEK_END)
        return file.read(most)


def check_folder(folder: Path) -> None:
    """Raise AbsentError or UnreadableError if what lies in a folder cannot be got at."""
    with _told(folder):
        _refuse_unless(stat.S_ISDIR, folder, folder.stat())
        _look_into(folder)


def list_folder(folder: Path) -> list[Path]:
    """Return what lies in a folder, in order. Raises AbsentError, UnreadableError."""
    check_folder(folder)
    with _told(folder):
        return sorted(folder.iterdir())


@contextmanager
def _told(path: Path) -> Iterator[None]:
    """Tell an absent file from one that cannot be read, and say what stands in the way."""
    try:
        yield
    except FileNotFoundError as error:
        there = next(part for part in (path, *path.parents) if os.path.lexists(part))
        if os.path.exists(there):  # noqa: PTH110  which never raises
            raise AbsentError(path) from error
        raise UnreadableError(path, "it is a link that leads nowhere", there) from error
    except OSError as error:
        above = [part for part in path.parents if _is_shut(part)]
        raise UnreadableError(path, error.strerror or str(error), above[-1] if above else path) from error


def _is_shut(folder: Path) -> bool:
    """Tell whether something that is no folder, or that nobody may look into, stands where a folder should."""
    try:
        _look_into(folder)
    except FileNotFoundError:
        return False
    except OSError:
        return True
    return False


def _look_into(folder: Path) -> None:
    """Raise OSError if it is no folder, or one that may not be searched."""
    os.stat(f"{folder}{os.sep}{os.curdir}")  # noqa: PTH116  a Path would take the dot away


def _refuse_unless(fits: Callable[[int], bool], path: Path, status: os.stat_result) -> None:
    if not fits(status.st_mode):
        why = next((words for is_one, words in _KINDS if is_one(status.st_mode)), "it is a device")
        raise UnreadableError(path, why)


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
    with replacing(path) as beside:
        handle = open_file(beside, adding=True)
        try:
            write_whole(handle, data)
        finally:
            os.close(handle)


@contextmanager
def replacing(path: Path) -> Iterator[Path]:
    """Give an empty file beside `path`, for its owner alone, by a name that nobody has: it takes the place of `path`.

    After an exception it goes away, and what was there stays. What a process that died has left there goes, too.
    """
    _sweep(path.parent)
    beside = path.with_name(f".{secrets.token_hex(8)}{HALF}")
    handle = create(beside)
    lock(handle)  # as long as it is held, somebody works on it
    try:
        yield beside
        if os.name == "nt":  # Windows moves no open file
            os.close(handle)
            handle = -1
        beside.replace(path)
    except BaseException:  # an interrupt, too
        with suppress(OSError):
            beside.unlink(missing_ok=True)
        raise
    finally:
        if handle >= 0:
            os.close(handle)
    sync_folder(path.parent)


def _sweep(folder: Path) -> None:
    """Delete the files that `replacing` began in a folder and that nobody works on any more."""
    with suppress(OSError):
        left = [Path(entry.path) for entry in os.scandir(folder) if _BEGUN.fullmatch(entry.name)]
        for path in left:
            with suppress(AbsentError, UnreadableError, OSError):
                handle = open_file(path, links=False)
                try:
                    if lock(handle):
                        path.unlink(missing_ok=True)
                finally:
                    os.close(handle)


@contextmanager
def locked_folder(folder: Path) -> Iterator[bool]:
    """Take a folder for this process; give False if another has it. Where folders cannot be locked: True."""
    if os.name == "nt":  # Windows opens no folder
        yield True
        return
    with _told(folder):
        _refuse_unless(stat.S_ISDIR, folder, folder.stat())
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
