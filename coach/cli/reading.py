"""Show how far the reading of many sessions has come: a bar in the terminal, or a step of the page."""

from __future__ import annotations

import atexit
import sys
import time
from collections.abc import Callable
from datetime import date
from pathlib import Path

from rich.console import Console

from coach.cli.labels import Labels
from coach.errors import CoachError
from coach.logbook.store import Home
from coach.progress import HowFar

AT_ONCE = 1.0
"""Seconds of reading before its progress is shown."""
EVERY = 0.1
"""Seconds between two updates of the progress."""


def home_of(root: Path) -> Home:
    """Return the home for a command that reads records; slow reading shows a bar in the terminal."""
    return Home(root, tell=when_slow(_bar()) if sys.stderr.isatty() else lambda *_: None)


def when_slow(show: HowFar, clock: Callable[[], float] = time.monotonic) -> HowFar:
    """Return a callback for the progress of reading; only a slow reading reaches `show`, and then also its end."""
    began = shown = 0.0

    def tell(done: int, of: int) -> None:
        nonlocal began, shown
        now = clock()
        if done == 1:
            began = shown = now
        if now - began >= AT_ONCE and (now - shown >= EVERY or done == of):
            shown = now
            show(done, of)

    return tell


def _bar() -> HowFar:
    from rich.progress import BarColumn, MofNCompleteColumn, Progress, TextColumn

    columns = (TextColumn("{task.description}"), BarColumn(), MofNCompleteColumn())
    bar = Progress(*columns, console=Console(stderr=True, markup=False), transient=True, auto_refresh=False)
    atexit.register(bar.stop)  # restores the cursor however the reading ends

    def show(done: int, of: int) -> None:
        from coach.voice.pack import load_pack

        if not bar.tasks:
            bar.add_task(Labels(load_pack("en").screens)("reading_records"), total=of)
            bar.start()
        bar.update(bar.task_ids[0], completed=done, total=of, refresh=True)
        if done == of:
            bar.stop()
            bar.remove_task(bar.task_ids[0])

    return show


def day_of(text: str | None) -> date | None:
    """Return the day that `text` names. Raises CoachError that shows the format."""
    if text is None:
        return None
    try:
        return date.fromisoformat(text)
    except ValueError:
        raise CoachError(f'"{text}" is not a day; write it as year-month-day, for example 2027-01-31.') from None
