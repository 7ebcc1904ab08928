"""Write the record without holding up the loop: a slow disk delays nothing, one that refuses is tried again."""

from __future__ import annotations

from threading import Event, Lock

from coach.errors import RecordError
from coach.loglines.kinds import Fact
from coach.ports import Store
from coach.session.events import On
from coach.tempo.units import to_samples

WRITE_PATIENCE = 0.02
"""Seconds that a line is waited for: as long as one stretch of sound. A usual disk takes a few thousandths, so what
`append` was given is on it when it returns; from a slower one no halt waits longer than this."""

RETRY = 5.0
"""Seconds after which a disk that refused is tried again, if no line came before."""

SLOW_DISK = to_samples(10.0)
"""Samples for which the disk may lag behind before it is taken for one that refuses."""


class RecordWriter:
    """Hands a session's lines to its store; `work` brings them onto the disk, in a thread of its own."""

    def __init__(self, store: Store) -> None:
        self._store = store
        self._wake = Event()
        self._idle = Event()
        self._lock = Lock()
        self._ended = False
        self.behind = False
        """The disk has not done yet what it was given."""
        self.refused = False
        """The disk refused, and has not taken all since."""

    def append(self, at: int, it: Fact) -> None:
        """Take one line; it is on the disk on return, or soon."""
        self._store.take(at, it)
        with self._lock:
            self._idle.clear()
            self._wake.set()
        if not self.behind:
            self.behind = not self._idle.wait(WRITE_PATIENCE)

    def work(self) -> None:
        """Bring onto the disk what comes, until `end`."""
        while not self._ended:
            self._wake.wait(RETRY if self.refused else None)
            self._wake.clear()
            try:
                self._store.flush()
            except RecordError:
                self.refused = True
            else:
                self.refused = False
            with self._lock:
                if not self._wake.is_set():
                    self.behind = False
                    self._idle.set()

    def end(self) -> None:
        """Let `work` come to its end; what still waits is for the store's `close`."""
        self._ended = True
        self._wake.set()


class DiskWatch:
    """Tells once when the disk refuses the record of a writer, or lags far behind, and once when it is back."""

    def __init__(self, writer: RecordWriter) -> None:
        self._writer = writer
        self._behind_since: int | None = None
        self.unwritten = False
        """Whether part of the record is not on the disk, and may not come there."""

    def look(self, now: int) -> tuple[On, ...]:
        """Return what the session is told at sample `now`."""
        if not self._writer.behind:
            self._behind_since = None
        elif self._behind_since is None:
            self._behind_since = now
        lagging = self._behind_since is not None and now - self._behind_since >= SLOW_DISK
        unwritten = self._writer.refused or lagging
        if unwritten == self.unwritten:
            return ()
        self.unwritten = unwritten
        return (On.UNWRITTEN if unwritten else On.WRITTEN,)
