"""Private files, on the disk when the call returns: folders 0700, files 0600, fsynced, locked while in use.

Only this module opens a person's files. A file can be read, is absent (AbsentError) or unreadable (UnreadableError).
Its reader decides whether its content is damaged.
"""

from __future__ import annotations

import io
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
"""Most bytes of a person's file, unless its reader sets a limit: an hour's session has less than 1 MiB."""

HALF = ".new"
"""Ending of a file that is being written; its name begins with a dot."""
_BEGUN = re.compile(r"\.[0-9a-f]{16}" + re.escape(HALF))

LARGEST_TAUGHT = 512 * MIB
"""Most bytes of a person's taught words, packed or unpacked: all words with fifty takes each stay below."""

_AT_ONCE = getattr(os, "O_NONBLOCK", 0) | getattr(os, "O_NOCTTY", 0) | getattr(os, "O_BINARY", 0)
"""Opening never waits for a pipe, and never makes a terminal the process's own."""

_KINDS = (
    (stat.S_ISDIR, "it is a folder"),
    (stat.S_ISREG, "it is a file, not a folder"),
    (stat.S_ISFIFO, "it is a pipe"),
    (stat.S_ISSOCK, "it is a socket"),
    (stat.S_ISLNK, "it is a link"),
)


class AbsentError(RecordError):
    """Nothing has that name."""

    def __init__(self, path: Path) -> None:
        super().__init__(f"There is no {path}; check the path, or name another folder with --home.")


class UnreadableError(RecordError):
    """Something has that name but cannot be read, so its content is unknown."""

    def __init__(self, path: Path, why: str, at: Path | None = None) -> None:
        """`path` cannot be read because of `why`; `at` is the folder above it that is at fault, if one is."""
        super().__init__(f"Cannot read {at or path} ({why}): allow access to it, or put back what belongs there.")
        self.path = at or path
        """The file or folder to repair."""
        self.why = why
        """The reason in a few words, fit for brackets."""


def open_file(path: Path, *, adding: bool = False, links: bool = True) -> int:
    """Open a regular file to read, and with `adding` to append; never wait. `links` lets it follow a link.

    Raises AbsentError if nothing has that name, UnreadableError for any other failure.
    """
    how = (os.O_RDWR | os.O_APPEND if adding else os.O_RDONLY) | (0 if links else getattr(os, "O_NOFOLLOW", 0))
    with _told(path):
        # Check before opening: merely opening a device may start something.
        _refuse_unless(stat.S_ISREG, path, path.stat(follow_symlinks=links))
        handle = os.open(path, how | _AT_ONCE)
    try:
        _refuse_unless(stat.S_ISREG, path, os.fstat(handle))  # the opened file may be another
    except UnreadableError:
        os.close(handle)
        raise
    return handle


def read_file(path: Path, most: int = LARGEST, *, links: bool = True) -> bytes:
    """Return the content of a file of at most `most` bytes; `links` and errors as in `open_file`."""
    with os.fdopen(open_file(path, links=links), "rb", buffering=0) as file, _told(path):
        size = os.fstat(file.fileno()).st_size
        data = (file.read(size + 1) or b"") if size <= most else b""
        if data and len(data) != size:  # it has grown, its file system does not tell its size, or gives it in parts
            with io.BufferedReader(file) as rest:
                data += rest.read(most + 1 - len(data))
    if max(size, len(data)) > most:
        raise UnreadableError(path, f"it is larger than {most // MIB} MiB")
    return data


def read_end(path: Path, most: int) -> bytes:
    """Return at most the last `most` bytes of a file of any size; errors as in `open_file`."""
    with os.fdopen(open_file(path), "rb") as file, _told(path):
        file.seek(-min(most, os.fstat(file.fileno()).st_size), os.SEEK_END)
        return file.read(most)


def check_folder(folder: Path) -> None:
    """Raise AbsentError or UnreadableError if the files in a folder are out of reach."""
    with _told(folder):
        _refuse_unless(stat.S_ISDIR, folder, folder.stat())
        _look_into(folder)


def list_folder(folder: Path) -> list[Path]:
    """Return the paths in a folder, sorted. Raises AbsentError, UnreadableError."""
    check_folder(folder)
    with _told(folder):
        return sorted(folder.iterdir(), key=lambda path: path.name)  # whole paths compare ten times as slowly


@contextmanager
def _told(path: Path) -> Iterator[None]:
    """Turn an OSError into AbsentError or UnreadableError that names the file or folder at fault."""
    try:
        yield
    except FileNotFoundError as error:
        there = next(part for part in (path, *path.parents) if os.path.lexists(part))
        if os.path.exists(there):  # noqa: PTH110  which never raises
            raise AbsentError(path) from error
        raise UnreadableError(path, "it is a link to nothing", there) from error
    except OSError as error:
        above = [part for part in path.parents if _is_shut(part)]
        raise UnreadableError(path, error.strerror or str(error), above[-1] if above else path) from error


def _is_shut(folder: Path) -> bool:
    """Tell whether `folder` exists but is not a folder, or may not be searched."""
    try:
        _look_into(folder)
    except FileNotFoundError:
        return False
    except OSError:
        return True
    return False


def _look_into(folder: Path) -> None:
    """Raise OSError if `folder` is not a folder or may not be searched."""
    os.stat(f"{folder}{os.sep}{os.curdir}")  # noqa: PTH116  a Path would drop the dot


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
    """Make a folder for its owner alone, with its parents, and sync them to the disk."""
    missing = [path for path in (folder, *folder.parents) if not path.exists()]
    for path in reversed(missing):
        path.mkdir(mode=0o700, exist_ok=True)
        sync_folder(path.parent)


def sync_folder(folder: Path) -> None:
    """Sync the names in `folder` to the disk, if the system can."""
    if os.name == "nt":  # Windows cannot open a folder
        return
    handle = os.open(folder, os.O_RDONLY)
    try:
        os.fsync(handle)
    except OSError:  # some network folders refuse; their files are synced one by one anyway
        pass
    finally:
        os.close(handle)


def create(path: Path) -> int:
    """Create a file for its owner alone and open it to append. Raises FileExistsError if it exists."""
    return os.open(path, os.O_RDWR | os.O_CREAT | os.O_EXCL | os.O_APPEND | getattr(os, "O_BINARY", 0), 0o600)


def write_whole(handle: int, data: bytes) -> None:
    """Append all of `data` and sync it to the disk; if that fails, remove it and raise OSError."""
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
    """Write a file for its owner alone; at any moment it holds all of the old data or all of the new."""
    with replacing(path) as beside:
        handle = open_file(beside, adding=True)
        try:
            write_whole(handle, data)
        finally:
            os.close(handle)


@contextmanager
def replacing(path: Path) -> Iterator[Path]:
    """Yield the path of a new empty file beside `path`, for its owner alone; at the end it replaces `path`.

    After an exception it is deleted, and `path` stays as it was. Files that a dead process left behind are deleted too.
    """
    _sweep(path.parent)
    beside = path.with_name(f".{secrets.token_hex(8)}{HALF}")
    handle = create(beside)
    lock(handle)  # tells _sweep that it is in use
    try:
        yield beside
        if os.name == "nt":  # Windows cannot move an open file
            os.close(handle)
            handle = -1
        beside.replace(path)
    except BaseException:  # also an interrupt
        with suppress(OSError):
            beside.unlink(missing_ok=True)
        raise
    finally:
        if handle >= 0:
            os.close(handle)
    sync_folder(path.parent)


def _sweep(folder: Path) -> None:
    """Delete unfinished files of `replacing` in a folder that no process holds."""
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
    """Lock a folder for this process; yield False if another has locked it, True if folders cannot be locked here."""
    if os.name == "nt":  # Windows cannot open a folder
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
    """Lock a file until it is closed; return False if another process has locked it, True if there are no locks."""
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
