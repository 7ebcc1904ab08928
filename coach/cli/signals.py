"""Handle what the system tells this process: to end, or to stop for a while.

A command ends as with Ctrl-C, whoever told it. In a session nothing is broken off in the middle of a step, which would
tear the record: what was told is noted, and the loop asks for it once a stretch.
"""

from __future__ import annotations

import os
import signal
import sys
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from threading import current_thread, main_thread
from time import monotonic
from typing import Any, Literal

from coach.errors import ToldToEndError

ENDS: dict[str, Literal["keyboard", "system", "terminal"]] = {
    "SIGINT": "keyboard",
    "SIGTERM": "system",
    "SIGHUP": "terminal",
}
"""Signals that tell a command to end, and who sends them. Not every system has all."""

ONCE_MORE = 0.01
"""Seconds after which an error that came to nothing is raised once more: where it came to nothing is done by then."""

HANG_UP = 1
"""Number of the signal that tells of a closed terminal."""

INSISTS = 20.0
"""Seconds after which being told once more breaks off even the ending. A device and a disk that hang take 11."""

Do = Callable[[], None]


class Signals:
    """What the system told one command."""

    def __init__(self, now: Callable[[], float] = monotonic) -> None:
        self.end: ToldToEndError | None = None
        """The first that told it to end; None: nobody did."""
        self._now = now
        self._told_at = 0.0
        self._noting = False
        self._to_stop = self._stood_still = False
        self._screens: list[tuple[Do, Do]] = []
        self.at_hang_up: Do | None = None
        """What is done when the terminal is closed, in place of ending; None: that ends the command."""

    def to_end(self, number: int, _frame: object = None) -> None:
        """Take the signal that tells to end. Raises ToldToEndError the first time, unless it is only noted."""
        by = ENDS[signal.Signals(number).name]
        if by == "terminal":
            _write_nowhere()
            if self.at_hang_up is not None:
                self.at_hang_up()
                return
        again = self.end is not None
        if self.end is None:
            self.end = ToldToEndError(by, number)
            self._told_at = self._now()
        if self._now() - self._told_at >= INSISTS or not (again or self._noting):
            raise self.end

    def came_to_nothing(self) -> None:
        """Raise the error once more shortly, since Python threw it away: it does in what it calls back itself.

        Such as the end of an object, or of a lock of its imports. Where there is no timer, the next signal raises it.
        """
        self._told_at -= INSISTS
        if hasattr(signal, "setitimer"):
            signal.signal(signal.SIGALRM, self._once_more)
            signal.setitimer(signal.ITIMER_REAL, ONCE_MORE)

    def _once_more(self, _number: int, _frame: object) -> None:
        if self.end is not None and _heard is self:  # else the command is over
            raise self.end

    def to_stop(self, _number: int = 0, _frame: object = None) -> None:
        """Take Ctrl-Z: leave the terminal as it was, then stand still until there is a SIGCONT."""
        if self._noting:
            self._to_stop = True
            return
        self._stop()
        self._go_on()

    def to_go_on(self, _number: int = 0, _frame: object = None) -> None:
        """Take the signal that the process goes on after it was stopped, by Ctrl-Z or otherwise."""
        self._stood_still = True
        if not self._noting:
            self._go_on()

    @contextmanager
    def noting(self) -> Iterator[None]:
        """Only note what is told inside, for `look` to be asked often."""
        before, self._noting = self._noting, True
        try:
            yield
        finally:
            self._noting = before

    def look(self) -> bool:
        """Do what was noted; tell whether the process stood still meanwhile. Raises ToldToEndError."""
        if self.end is not None:
            raise self.end
        if self._to_stop:
            self._to_stop = False
            self._stop()
        return self._go_on() if self._stood_still else False

    @contextmanager
    def screen(self, leave: Do, take: Do) -> Iterator[None]:
        """Call `leave` before the process stops inside, and `take` when it goes on."""
        self._screens.append((leave, take))
        try:
            yield
        finally:
            self._screens.remove((leave, take))

    def _stop(self) -> None:
        for leave, _ in reversed(self._screens):
            leave()
        here = signal.signal(signal.SIGTSTP, signal.SIG_DFL)
        os.kill(os.getpid(), signal.SIGTSTP)  # comes back when we go on
        signal.signal(signal.SIGTSTP, here)
        self._stood_still = True

    def _go_on(self) -> bool:
        self._stood_still = False
        for _, take in self._screens:
            take()
        return True


_heard = Signals()


def told() -> Signals:
    """Return what the command that runs was told."""
    return _heard


@contextmanager
def heeded(now: Callable[[], float] = monotonic) -> Iterator[Signals]:
    """Heed the signals of the system while a command runs.

    One that the process was started to ignore stays ignored, as with nohup.
    """
    global _heard  # noqa: PLW0603  signals are the process's, too
    before, _heard = _heard, Signals(now)
    mine = _heard
    handlers = dict.fromkeys(ENDS, mine.to_end) | {"SIGTSTP": mine.to_stop, "SIGCONT": mine.to_go_on}
    kept: dict[int, Any] = {}
    if current_thread() is main_thread():  # elsewhere Python lets nobody do so
        for name, handler in handlers.items():
            number = getattr(signal, name, None)
            if number is not None and signal.getsignal(number) not in (signal.SIG_IGN, None):
                kept[number] = signal.signal(number, handler)
    thrown_away = sys.unraisablehook

    def once_more(lost: Any) -> None:  # noqa: ANN401  a type that Python gives no name to
        if isinstance(lost.exc_value, ToldToEndError):
            mine.came_to_nothing()
        else:
            thrown_away(lost)

    sys.unraisablehook = once_more
    try:
        yield mine
    finally:
        sys.unraisablehook = thrown_away
        for number, handler in kept.items():
            signal.signal(number, handler)
        _heard = before


def _write_nowhere() -> None:
    """From now on nothing is shown: the terminal was closed, and to write to it would be an error each time."""
    sys.stdout = sys.stderr = Path(os.devnull).open("w", encoding="utf-8")  # noqa: SIM115  for good
