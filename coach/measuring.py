"""What benchmarks and tests keep of a session while it runs. A real session keeps none: it would grow without end."""

from __future__ import annotations

from dataclasses import dataclass, field

from coach.ports import Hearing
from coach.session.agenda import Sounding
from coach.session.events import Event
from coach.session.state import State
from coach.words.replies import Outcome


@dataclass(slots=True)
class Measured:
    """What happened when."""

    soundings: list[Sounding] = field(default_factory=list)
    """Every sound with the sample that it was given to the mixer for."""
    outcomes: list[Outcome] = field(default_factory=list)
    hearings: list[Hearing] = field(default_factory=list)
    events: list[tuple[State, Event]] = field(default_factory=list)
    """Every event with the state it met."""
    hushes: list[int] = field(default_factory=list)
    """Samples at which the coach fell quiet because somebody spoke."""
