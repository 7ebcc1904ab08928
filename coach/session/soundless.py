"""A whole session without sound: time jumps from event to event. For rehearsing, estimating and testing."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

from coach.errors import OutOfPlaceError
from coach.session.agenda import Agenda, Sounding
from coach.session.commands import Command, CutFrom, End, Record, Say, Silence
from coach.session.events import Event, On, RoomFacts
from coach.session.machine import handle
from coach.session.plan import Today
from coach.session.state import State, begin
from coach.tempo.units import to_samples
from coach.words.phrases import Phrase

WORD = to_samples(0.35)
"""Samples a made-up word lasts where no voice is asked."""

CUE_PAUSE = to_samples(0.3)
"""Samples between two phrases, as a voice pack may have it."""


def made_up_length(said: Phrase) -> int:
    """Return a plausible length for a phrase: about three words a second."""
    words = sum(len(str(value).split()) for _, value in said.values) if said.key == "text" else 4
    return WORD * (1 if said.key in ("count", "lead", "phase", "second") else max(1, words))


class SoundlessRun:
    """A whole session in the pure core: no voice, room or ears; time jumps from event to event."""

    def __init__(self, today: Today, length: Callable[[Phrase], int] = made_up_length) -> None:
        self.session = begin(today)
        self.agenda = Agenda(length, CUE_PAUSE)
        self.now = 0
        self.commands: list[tuple[int, State, Command]] = []
        """Every command, with the sample and the state it was given in."""
        self.ahead: list[Sounding] = []
        """Sounds that a `Silence` now would take back, and some that have begun."""
        self._begun: list[Sounding] = []
        self.over = False
        self.room: RoomFacts | None = None
        """What the check at the start is told of the room."""
        self.give(Event(On.START, 0))

    def give(self, event: Event) -> bool:
        """Let `event` happen; False if it is out of place."""
        if self.session.state is State.CHECKING:
            event = replace(event, room=self.room)
        try:
            self.session, commands = handle(self.session, event)
        except OutOfPlaceError:
            return False
        for command in commands:
            self.commands.append((event.at, self.session.state, command))
            if isinstance(command, End):
                self.over = True
            elif isinstance(command, Silence):
                self._begun += [sounding for sounding in self.ahead if sounding.at < event.at]
                self.ahead.clear()
            elif isinstance(command, CutFrom):
                self.ahead = [sounding for sounding in self.ahead if sounding.at < command.at]
            self.ahead += self.agenda.obey(command, event.at)
        return True

    @property
    def soundings(self) -> list[Sounding]:
        """Every sound that began or, as far as is known now, will begin."""
        return [*self._begun, *self.ahead]

    def say(self, on: On, number: int = 0) -> bool:
        """The person says something now."""
        return self.give(Event(on, self.now, number=number, ear="keys"))

    def step(self, most: int | None = None) -> bool:
        """Go to the next event, at most up to sample `most`; False if nothing was due by then."""
        at = self.agenda.next_at()
        if self.over or at is None or (most is not None and at > most):
            self.now = max(self.now, most or self.now)
            return False
        self.now = max(self.now, at)
        event = self.agenda.due(self.now)
        assert event is not None
        self.give(event)
        return True

    def run_until(self, *states: State, steps: int = 5000) -> State:
        """Go on until one of `states` is reached (or the session is over)."""
        for _ in range(steps):
            if self.over or self.session.state in states or not self.step():
                break
        return self.session.state

    @property
    def records(self) -> list[Record]:
        """All lines written so far."""
        return [command for _, _, command in self.commands if isinstance(command, Record)]

    @property
    def said(self) -> list[Phrase]:
        """All phrases asked for so far, without the placed ones."""
        return [command.phrase for _, _, command in self.commands if isinstance(command, Say)]
