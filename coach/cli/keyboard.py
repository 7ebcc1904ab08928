"""Read the keys that are pressed in the terminal, without waiting for one."""

from __future__ import annotations

import contextlib
import sys
from collections.abc import Iterator
from typing import Any

from coach.cli.signals import told


@contextlib.contextmanager
def keys_pressed() -> Iterator[Any]:
    """Yield a function that returns the keys pressed since its last call; restore the terminal afterwards.

    If standard input is no terminal, the function always returns an empty string.
    """
    if not sys.stdin.isatty():
        yield lambda: ""
    elif sys.platform == "win32":
        import msvcrt

        yield lambda: "".join(_until_empty(msvcrt))
    else:
        import select
        import termios
        import tty

        handle = sys.stdin.fileno()
        before = termios.tcgetattr(handle)

        def give_back() -> None:
            with contextlib.suppress(termios.error):  # the terminal may be gone
                termios.tcsetattr(handle, termios.TCSADRAIN, before)

        def take() -> None:
            with contextlib.suppress(termios.error):  # in the background this stops the process again; see `signals`
                tty.setcbreak(handle)

        try:
            take()
            with told().screen(give_back, take):
                yield lambda: _read_ready(handle, select)
        finally:
            give_back()


def _until_empty(console: Any) -> Iterator[str]:  # noqa: ANN401  a module that only Windows has
    while console.kbhit():
        yield console.getwch()


def _read_ready(handle: int, select: Any) -> str:  # noqa: ANN401  a module imported where it is usable
    import os

    try:
        ready, _, _ = select.select([handle], [], [], 0)
        return os.read(handle, 64).decode("utf-8", "ignore") if ready else ""
    except OSError:  # the terminal is gone; the session goes on without its keys
        return ""
