"""A session without sound that writes its lines into a person's home as they come, like a real one."""

from __future__ import annotations

from collections.abc import Callable

from coach.logbook.store import Home
from coach.logbook.writing import SessionStore
from coach.loglines.kinds import Fact
from coach.session.commands import Record
from coach.session.events import Event
from coach.session.lines import session_begun
from coach.session.plan import Today
from coach.testing.people import RandomPerson, live
from coach.testing.watched import WatchedRun

Write = Callable[[int, Fact], None]


class StoredRun(WatchedRun):
    """A watched session that passes each line to `write` at once."""

    def __init__(self, today: Today, write: Write) -> None:
        self._write = write
        super().__init__(today)

    def give(self, event: Event) -> bool:
        """Handle `event` and write the lines that it caused."""
        told = len(self.commands)
        taken = super().give(event)
        for _, _, command in self.commands[told:]:
            if isinstance(command, Record):
                self._write(command.at, command.fact)
        return taken


def begin_in(home: Home, person: str, today: Today) -> SessionStore:
    """Return the store of a new session, its first line on the disk."""
    store = home.begin(person)
    first = session_begun(today, session=store.session, person=person, ears=("keys",), voice="made up",
                          device="none", app_version="test")  # fmt: skip
    store.append(0, first)
    return store


def live_in(home: Home, person: str, today: Today, who: RandomPerson) -> SessionStore:
    """Let `who` go through the session of `today`; return its store, closed."""
    with begin_in(home, person, today) as store:
        live(StoredRun(today, store.append), who)
    return store
