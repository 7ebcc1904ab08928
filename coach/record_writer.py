"""Write the record without holding up the loop: a slow disk delays nothing, one that refuses is tried again."""

from __future__ import annotations

from threading import Event, Lock

from coach.errors import RecordError
from coach.loglines.kinds import Fact
from coach.ports import Store
from coach.session.events import On
from coach.tempo.units import to_samples

WRITE_PATIENCE = 0.02
"""Seconds that `append` waits for the disk, one stretch of sound: a usual disk takes a few milliseconds, and a slower
one delays no halt by more than this."""

RETRY = 5.0
"""Seconds after which a disk that refused is tried again, unless a new line comes first."""

SLOW_DISK = to_samples(10.0)
"""Samples for which the disk may lag behind before it is taken for one that refuses."""


class RecordWriter:
    """Hands a session's lines to its store; `work` writes them to the disk in its own thread."""

    def __init__(self, store: Store) -> None:
        self._store = store
        self._wake = Event()
        self._idle = Event()
        self._lock = Lock()
        self._ended = False
        self.behind = False
        """True while lines wait for the disk."""
        self.refused = False
        """True from a refusal of the disk until it has taken all lines."""

    def append(self, at: int, it: Fact) -> None:
        """Take one line; on return it is on the disk, or waits for it."""
        self._store.take(at, it)
        with self._lock:
            self._idle.clear()
            self._wake.set()
        if not self.behind:
            self.behind = not self._idle.wait(WRITE_PATIENCE)

    def work(self) -> None:
        """Write the lines to the disk as they come, until `end`."""
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
        """Make `work` return; the store's `close` writes the lines that still wait."""
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
        """Return the events for the session at sample `now`."""
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
