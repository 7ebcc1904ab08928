"""Handle what the system tells this process: to end, or to stop for a while.

Every signal that ends a command works like Ctrl-C. During a session, a signal is only noted and the loop acts on it
once a stretch, because ending in the middle of a step would tear the record.
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
"""Signals that end a command, and who sends them. Not every system has all of them."""

ONCE_MORE = 0.01
"""Seconds before an error that Python swallowed is raised again; the code that swallowed it has returned by then."""

HANG_UP = 1
"""Number of the signal for a closed terminal."""

INSISTS = 20.0
"""Seconds after the first signal from which another one breaks off even the orderly end, which may take 11 s
(tests/bench/RESULTS.md, "Signals, kills and full disks")."""

Do = Callable[[], None]


class Signals:
    """The signals that one command has received."""

    def __init__(self, now: Callable[[], float] = monotonic) -> None:
        self.end: ToldToEndError | None = None
        """The first signal to end; None if there was none."""
        self._now = now
        self._told_at = 0.0
        self._noting = False
        self._to_stop = self._stood_still = False
        self._screens: list[tuple[Do, Do]] = []
        self.at_hang_up: Do | None = None
        """Called when the terminal is closed, instead of ending; None: a closed terminal ends the command."""

    def to_end(self, number: int, _frame: object = None) -> None:
        """Take a signal to end. The first one raises ToldToEndError, unless signals are only noted."""
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
        """Raise the error again shortly, since Python swallowed it, as it does in its own callbacks.

        Examples are the finaliser of an object and the release of an import lock. Without a timer, the next signal
        raises it.
        """
        self._told_at -= INSISTS
        if hasattr(signal, "setitimer"):
            signal.signal(signal.SIGALRM, self._once_more)
            signal.setitimer(signal.ITIMER_REAL, ONCE_MORE)

    def _once_more(self, _number: int, _frame: object) -> None:
        if self.end is not None and _heard is self:  # otherwise the command is over
            raise self.end

    def to_stop(self, _number: int = 0, _frame: object = None) -> None:
        """Take Ctrl-Z: restore the terminal, then stop the process until a SIGCONT."""
        if self._noting:
            self._to_stop = True
            return
        self._stop()
        self._go_on()

    def to_go_on(self, _number: int = 0, _frame: object = None) -> None:
        """Take SIGCONT: the process goes on after it was stopped, by Ctrl-Z or otherwise."""
        self._stood_still = True
        if not self._noting:
            self._go_on()

    @contextmanager
    def noting(self) -> Iterator[None]:
        """Only note the signals that arrive inside; call `look` often there."""
        before, self._noting = self._noting, True
        try:
            yield
        finally:
            self._noting = before

    def look(self) -> bool:
        """Act on the noted signals; return whether the process was stopped meanwhile. Raises ToldToEndError."""
        if self.end is not None:
            raise self.end
        if self._to_stop:
            self._to_stop = False
            self._stop()
        return self._go_on() if self._stood_still else False

    @contextmanager
    def screen(self, leave: Do, take: Do) -> Iterator[None]:
        """Inside, call `leave` before the process stops and `take` when it goes on."""
        self._screens.append((leave, take))
        try:
            yield
        finally:
            self._screens.remove((leave, take))

    def _stop(self) -> None:
        for leave, _ in reversed(self._screens):
            leave()
        here = signal.signal(signal.SIGTSTP, signal.SIG_DFL)
        os.kill(os.getpid(), signal.SIGTSTP)  # returns after SIGCONT
        signal.signal(signal.SIGTSTP, here)
        self._stood_still = True

    def _go_on(self) -> bool:
        self._stood_still = False
        for _, take in self._screens:
            take()
        return True


_heard = Signals()


def told() -> Signals:
    """Return the signals of the running command."""
    return _heard


@contextmanager
def heeded(now: Callable[[], float] = monotonic) -> Iterator[Signals]:
    """Handle the signals of the system while a command runs.

    A signal that was ignored when the process started stays ignored, as with nohup.
    """
    global _heard  # noqa: PLW0603  signals belong to the process, too
    before, _heard = _heard, Signals(now)
    mine = _heard
    handlers = dict.fromkeys(ENDS, mine.to_end) | {"SIGTSTP": mine.to_stop, "SIGCONT": mine.to_go_on}
    kept: dict[int, Any] = {}
    if current_thread() is main_thread():  # other threads may not set handlers
        for name, handler in handlers.items():
            number = getattr(signal, name, None)
            if number is not None and signal.getsignal(number) not in (signal.SIG_IGN, None):
                kept[number] = signal.signal(number, handler)
    thrown_away = sys.unraisablehook

    def once_more(lost: Any) -> None:  # noqa: ANN401  its type has no public name
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
    """Discard all further output: the terminal is closed, and every write to it would fail."""
    sys.stdout = sys.stderr = Path(os.devnull).open("w", encoding="utf-8")  # noqa: SIM115  open until the end
