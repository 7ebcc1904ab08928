"""Feed all ears of a session and collect what they hear."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from coach.ears.keys import Keys
from coach.ports import Captured, Ear, Hearing


class Ears:
    """Feeds each ear in turn; returns what they heard in the order in which it was known.

    The activity ear comes before the ears that it wakes.
    """

    def __init__(self, ears: Sequence[Ear], room: float | None = None) -> None:
        """`room` is the noise in dBFS of the room in which the words were taught; None: no words were taught."""
        self.ears = tuple(ears)
        self.room = room

    @property
    def names(self) -> tuple[str, ...]:
        """Names of the ears."""
        return tuple(ear.name for ear in self.ears)

    def open(self, words: frozenset[str]) -> None:
        """Tell every ear which reply ids may be answered from now on."""
        for ear in self.ears:
            ear.open(words)

    def feed(self, captured: Captured) -> list[Hearing]:
        """Give every ear the next stretch of sound."""
        found = [hearing for ear in self.ears for hearing in ear.feed(captured)]
        return sorted(found, key=lambda hearing: hearing.at)

    def pressed(self, now: int) -> list[Hearing]:
        """Return the keys pressed while the device is stopped at sample `now`: keys need no sound."""
        nothing = np.zeros(0, dtype=np.float32)
        still = Captured(now, nothing, nothing, nothing)
        return [hearing for ear in self.ears if isinstance(ear, Keys) for hearing in ear.feed(still)]
