"""Ways in which a person's file can be unreadable, each made at a path."""

from __future__ import annotations

import ctypes
import os
import socket
import sys
from collections.abc import Callable, Iterator
from contextlib import contextmanager, suppress
from pathlib import Path

import pytest

Make = Callable[[Path], None]

_OVERRIDES = 1 << 1 | 1 << 2
"""CAP_DAC_OVERRIDE and CAP_DAC_READ_SEARCH: they let root read any file."""
_VERSION = 0x20080522
"""Version of the structures of capset(2): two words of 32 bits each."""

HUGE = 20 * 1024**3
"""Bytes of a sparse file: more than the memory of any machine here."""


def shut(path: Path) -> None:
    """Take all permissions from a file or a folder, or make a file without any."""
    if not path.exists():
        path.write_bytes(b"{}\n")
    path.chmod(0)


def dangling(path: Path) -> None:
    """A link that leads nowhere."""
    path.symlink_to(path.with_name("gone-elsewhere"))


def folder(path: Path) -> None:
    """A folder with something in it."""
    path.mkdir()
    (path / "x").write_bytes(b"x")


def pipe(path: Path) -> None:
    """A pipe without a writer: to open it for reading waits for ever."""
    os.mkfifo(path)


def plug(path: Path) -> None:
    """A socket, made under a short name, since a socket's path is limited."""
    here = Path.cwd()
    with socket.socket(socket.AF_UNIX) as made:
        os.chdir(path.parent)
        try:
            made.bind(path.name)
        finally:
            os.chdir(here)


def device(path: Path) -> None:
    """A device that gives zeros without end; if none can be made, a link to /dev/zero."""
    try:
        os.mknod(path, 0o20644, os.makedev(1, 5))
        path.open("rb").close()
    except OSError:
        path.unlink(missing_ok=True)
        path.symlink_to("/dev/zero")


def huge(path: Path) -> None:
    """A sparse file larger than any memory."""
    with path.open("wb") as file:
        try:
            file.truncate(HUGE)
        except OSError as error:
            pytest.skip(f"no file with a hole can be made here ({error})")


BROKEN: dict[str, Make] = {
    "shut": shut, "dangling": dangling, "folder": folder, "pipe": pipe, "socket": plug, "device": device, "huge": huge,
}  # fmt: skip
"""Each way to be unreadable, by name."""


def broken(path: Path, how: str) -> None:
    """Replace what is there by something unreadable."""
    if os.name == "nt":
        pytest.skip("Windows has no such files")
    if path.is_dir() and not path.is_symlink() and how != "shut":
        path.rename(path.with_name(f".was-{path.name}"))
    elif how != "shut":
        path.unlink(missing_ok=True)
    BROKEN[how](path)


@contextmanager
def without_privilege() -> Iterator[None]:
    """Let this thread read only what its user may: root gives up its capabilities inside."""
    if getattr(os, "geteuid", lambda: 1)():
        yield
        return
    if sys.platform != "linux":
        pytest.skip("root may read everything here")
    libc = ctypes.CDLL(None, use_errno=True)
    head, held = (ctypes.c_uint32 * 2)(_VERSION, 0), (ctypes.c_uint32 * 6)()
    if libc.capget(head, held):
        pytest.skip("root cannot give up its privilege here")
    before = held[0]
    held[0] = before & ~_OVERRIDES
    libc.capset(head, held)
    try:
        yield
    finally:
        held[0] = before
        libc.capset(head, held)


def opened_up(root: Path) -> None:
    """Let the temporary files be deleted again."""
    for path in (root, *root.rglob("*")):
        if path.is_dir() and not path.is_symlink():
            with suppress(OSError):
                path.chmod(0o700)
