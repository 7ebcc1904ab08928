"""A slow disk holds nothing up, and what was given is on a usual one at once."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from threading import Event, Thread
from time import monotonic

from coach.errors import RecordError
from coach.loglines.kinds import Fact, Note
from coach.record_writer import SLOW_DISK, WRITE_PATIENCE, DiskWatch, RecordWriter
from coach.session.events import On

HELLO = Note("hello", "coach")


@dataclass
class Disk:
    """A store whose disk does nothing while `free` is not set, or refuses."""

    free: Event = field(default_factory=Event)
    refuses: bool = False
    taken: list[int] = field(default_factory=list)
    written: list[int] = field(default_factory=list)

    def take(self, at: int, _it: Fact) -> None:
        self.taken.append(at)

    def flush(self) -> None:
        assert self.free.wait(60)
        if self.refuses:
            raise RecordError("full")
        self.written[:] = self.taken

    def close(self, *, reachable: bool = True) -> None:
        pass


@contextmanager
def working(disk: Disk) -> Iterator[RecordWriter]:
    writer = RecordWriter(disk)
    thread = Thread(target=writer.work)
    thread.start()
    yield writer
    disk.free.set()
    writer.end()
    thread.join(60)
    assert not thread.is_alive()


def test_a_line_is_on_a_usual_disk_when_append_returns() -> None:
    disk = Disk()
    disk.free.set()
    with working(disk) as writer:
        for at in range(200):
            writer.append(at, HELLO)
            assert writer.behind or disk.written[-1] == at


def test_a_hanging_disk_delays_only_one_line_and_only_briefly() -> None:
    disk = Disk()
    with working(disk) as writer:
        began = monotonic()
        for at in range(100):
            writer.append(at, HELLO)
        took = monotonic() - began

        assert writer.behind
        assert disk.written == []
        assert WRITE_PATIENCE <= took < 100 * WRITE_PATIENCE / 2
    assert disk.written == list(range(100))


def test_a_disk_that_refuses_is_noted_and_so_is_its_coming_back() -> None:
    disk = Disk(refuses=True)
    disk.free.set()
    with working(disk) as writer:
        writer.append(1, HELLO)
        while writer.behind:
            pass
        assert writer.refused
        disk.refuses = False
        writer.append(2, HELLO)
        while writer.behind:
            pass

        assert not writer.refused
        assert disk.written == [1, 2]


def test_a_disk_that_refuses_is_told_once_and_its_coming_back_once() -> None:
    writer = RecordWriter(Disk())
    watch = DiskWatch(writer)

    told = [watch.look(0)]
    for at, writer.refused in ((1, True), (2, True), (3, False), (4, False)):
        told.append(watch.look(at))

    assert told == [(), (On.UNWRITTEN,), (), (On.WRITTEN,), ()]
    assert not watch.unwritten


def test_a_disk_that_lags_is_taken_for_one_that_refuses_only_after_a_while_without_a_break() -> None:
    writer = RecordWriter(Disk())
    watch = DiskWatch(writer)

    told = []
    for at, writer.behind in ((0, True), (SLOW_DISK - 1, False), (SLOW_DISK, True), (2 * SLOW_DISK - 1, True)):
        told.append(watch.look(at))

    assert told == [()] * 4
    assert watch.look(2 * SLOW_DISK) == (On.UNWRITTEN,)
    assert watch.unwritten
