"""What is due: carry out a session's commands in samples, without a clock, and tell which event comes next."""

from __future__ import annotations

import heapq
from collections.abc import Callable
from dataclasses import dataclass

from coach.session.commands import Command, CutFrom, PlaceCues, Say, Silence, WakeAt
from coach.session.events import Event, On
from coach.tempo.timeline import At, Cue, Mark, Sound
from coach.words.phrases import Phrase

_ON = {
    At.GO: On.GO,
    At.REP: On.REP,
    At.PHASE: On.PHASE,
    At.REP_DONE: On.REP_DONE,
    At.SECOND: On.SECOND,
    At.DONE: On.DONE,
}

MAY_BE_SKIPPED = frozenset({"phase", "second"})
"""Phrases that are dropped if they last longer than their slot: they would run into the next one."""


@dataclass(frozen=True, slots=True)
class Sounding:
    """One sound and when it plays."""

    at: int
    """Sample at which it begins."""
    length: int
    """Samples that it lasts."""
    sound: Sound
    phrase: Phrase | None = None
    """For speech: what is said."""


class Agenda:
    """The sounds and events still to come. `length` gives a phrase's samples; `pause` lies between two phrases."""

    def __init__(self, length: Callable[[Phrase], int], pause: int) -> None:
        self._length = length
        self._pause = pause
        self._speech_end = -pause
        self._cue_done: int | None = None
        self._wake: int | None = None
        self._marks: list[tuple[int, int, Mark]] = []
        self._order = 0

    def obey(self, command: Command, now: int) -> tuple[Sounding, ...]:
        """Take a command at sample `now`; return the sounds that it adds. Record and End change nothing here."""
        match command:
            case Say(said):
                start = max(now, self._speech_end + self._pause)
                said_now = Sounding(start, self._length(said), Sound.SPEECH, said)
                self._speech_end = self._cue_done = start + said_now.length
                return (said_now,)
            case PlaceCues(cues, marks):
                for mark in marks:
                    self._order += 1
                    heapq.heappush(self._marks, (mark.at, self._order, mark))
                return tuple(sounding for cue in cues if (sounding := self._placed(cue)) is not None)
            case Silence():
                self._marks.clear()
                self._speech_end = now - self._pause
                self._cue_done = None
            case CutFrom(at):
                self._marks = [entry for entry in self._marks if entry[0] < at]
                heapq.heapify(self._marks)
            case WakeAt(at):
                self._wake = at
            case _:
                pass
        return ()

    def _placed(self, cue: Cue) -> Sounding | None:
        if cue.sound is not Sound.SPEECH:
            return Sounding(cue.at, cue.length, cue.sound)
        said = Phrase(cue.key, tuple(sorted(cue.values)))
        length = self._length(said)
        if cue.length and length > cue.length and cue.key in MAY_BE_SKIPPED:
            return None
        return Sounding(cue.at, length, Sound.SPEECH, said)

    @property
    def talking(self) -> bool:
        """True while something is being said or waits to be said, except phrases placed at exact samples."""
        return self._cue_done is not None

    def next_at(self) -> int | None:
        """Return the sample of the next event, or None if no event is to come."""
        waiting = [at for at in (self._wake, self._cue_done) if at is not None]
        if self._marks:
            waiting.append(self._marks[0][0])
        return min(waiting, default=None)

    def due(self, now: int) -> Event | None:
        """Remove and return the earliest event up to sample `now`, or None. At the same sample marks come first."""
        at = self.next_at()
        if at is None or at > now:
            return None
        if self._marks and self._marks[0][0] == at:
            mark = heapq.heappop(self._marks)[2]
            return Event(_ON[mark.kind], at, number=mark.rep, phase=mark.phase, side=mark.side, until=mark.until)
        if self._cue_done == at:
            self._cue_done = None
            return Event(On.CUE_DONE, at)
        self._wake = None
        return Event(On.TIME_UP, at)
