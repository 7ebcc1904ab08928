"""Make calls into a sound library that may never return, as when its server hangs."""

from __future__ import annotations

import atexit
import sys
from collections.abc import Callable

from coach.errors import DeviceError

ANSWERS = 10.0
"""Seconds allowed to list the devices, or to open one; a wireless one takes two or three."""

Within = Callable[[float, Callable[[], None]], Callable[[], bool]]
"""Runs work with a time limit; see `engine.within`."""


def at_once(_seconds: float, work: Callable[[], None]) -> Callable[[], bool]:
    """Do `work` at once, however long it takes. `engine.within` has a time limit."""
    work()
    return lambda: False


def answered(within: Within, work: Callable[[], None]) -> None:
    """Do `work`; raise what it raises, and DeviceError if it does not return in time.

    There is a limit on Linux only: hanging sound servers were met there alone, and elsewhere a sound library may need
    all calls in one thread.
    """
    problems: list[Exception] = []

    def keep() -> None:
        try:
            work()
        except Exception as error:  # noqa: BLE001  raised below, in the thread that waits
            problems.append(error)

    if (within if sys.platform == "linux" else at_once)(ANSWERS, keep)():
        leave_behind()
        raise DeviceError("The sound system of this computer does not answer; restart the computer, then try again.")
    if problems:
        raise problems[0]


def leave_behind() -> None:
    """Keep the end of this process from waiting for a library that hangs."""
    atexit.unregister(getattr(sys.modules.get("sounddevice"), "_exit_handler", leave_behind))
