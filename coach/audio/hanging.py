"""Make calls into a sound library that may never return, as when its server hangs."""

from __future__ import annotations

import atexit
import sys
from collections.abc import Callable

from coach.errors import DeviceError

ANSWERS = 10.0
"""Seconds that the sound system may take to list its devices, or to open one; a wireless one takes two or three."""

Within = Callable[[float, Callable[[], None]], Callable[[], bool]]
"""Does something for at most so many seconds; see `engine.within`."""


def at_once(_seconds: float, work: Callable[[], None]) -> Callable[[], bool]:
    """Do `work` here and now, however long it takes. See `engine.within` for what does not wait for ever."""
    work()
    return lambda: False


def answered(within: Within, work: Callable[[], None]) -> None:
    """Do `work`; raise what it raises, and DeviceError if it does not come back.

    Sound servers that stand still were met on Linux alone, and elsewhere a sound library may want one thread for all.
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
    """See to it that the end of this process does not wait for a library that hangs."""
    atexit.unregister(getattr(sys.modules.get("sounddevice"), "_exit_handler", leave_behind))
