"""Run a whole session without sound, jumping from event to event: to rehearse, estimate and test."""

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
"""Samples of a word, where no voice is asked for its length."""

CUE_PAUSE = to_samples(0.3)
"""Samples between two phrases: a typical value of a voice pack."""


def made_up_length(said: Phrase) -> int:
    """Return a plausible length for a phrase: about three words a second."""
    words = sum(len(str(value).split()) for _, value in said.values) if said.key == "text" else 4
    return WORD * (1 if said.key in ("count", "lead", "phase", "second") else max(1, words))


class SoundlessRun:
    """A session in the pure core, without voice, room or ears. `length` gives a phrase's samples."""

    def __init__(self, today: Today, length: Callable[[Phrase], int] = made_up_length) -> None:
        self.session = begin(today)
        self.agenda = Agenda(length, CUE_PAUSE)
        self.now = 0
        self.commands: list[tuple[int, State, Command]] = []
        """Every command, with its sample and the state after it."""
        self.ahead: list[Sounding] = []
        """Sounds since the last Silence: still to come, or begun."""
        self._begun: list[Sounding] = []
        self.over = False
        self.room: RoomFacts | None = None
        """What the sound check is told about the room."""
        self.give(Event(On.START, 0))

    def give(self, event: Event) -> bool:
        """Handle `event`; return False if it is out of place."""
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
        """Every sound that has begun or, as things stand, will begin."""
        return [*self._begun, *self.ahead]

    def say(self, on: On, number: int = 0) -> bool:
        """Give a reply by keys now; return False if it is out of place."""
        return self.give(Event(on, self.now, number=number, ear="keys"))

    def step(self, most: int | None = None) -> bool:
        """Go to the next event, at most to sample `most`; return False if nothing was due by then."""
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
        """Go on until one of `states` is reached, the session is over or nothing is due; return the state."""
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
        """All phrases said so far, without those placed at exact samples."""
        return [command.phrase for _, _, command in self.commands if isinstance(command, Say)]
