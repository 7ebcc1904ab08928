"""What is wrong with the device: told to the session once, and taken back once the sound has held for a while."""

from __future__ import annotations

import numpy as np

from coach.ports import Captured
from coach.session.events import On
from coach.tempo.units import to_samples

DEAD_MIC = to_samples(0.9)
"""Samples of one and the same value after which a microphone is taken for lost; a live one has noise of its own."""

DEAD_MIC_AT_MOST = to_samples(30.0)
"""Some microphones shut off between words: one that comes back by itself is given twice the time, up to this."""

BACK_AFTER = to_samples(1.0)
"""Samples without a hole after which a speaker that was lost is back."""

BACK_AFTER_AT_MOST = to_samples(30.0)
"""One that is lost again soon must hold twice as long, up to this: a quarter of what a session waits for it."""

SOON = to_samples(60.0)
"""Samples within which a speaker that is lost again never really was back."""

STALLS = 150
"""Reads without sound, a wait of the engine each, in one trouble, after which the device is given up: two minutes."""

LAST_WORDS = 6
"""The same where nothing but the last words of a session is still to be said."""

_BACK = {On.MIC_LOST: On.MIC_BACK, On.SPEAKER_LOST: On.SPEAKER_BACK}


class DeviceWatch:
    """Fed with every stretch of sound, and told of those that do not come; each call returns what the session is told.

    Microphone and speaker that are gone at the same time are one trouble: they come back together, the one that went
    first last, so that the session goes from one state of trouble to none and never to and fro between two.
    """

    def __init__(self) -> None:
        self._lost: list[On] = []
        """In the order in which they went."""
        self._stopped = False
        self._silent = 0
        self._dead_after = DEAD_MIC
        self._back_at = 0
        self._back_after = BACK_AFTER
        self._was_back = -SOON
        self._without = 0
        """Reads without sound since the speaker was last there: one that gives a moment now and then is not back."""

    @property
    def mic_lost(self) -> bool:
        """Whether nothing is heard: no sound at all comes, or none that a live microphone gives."""
        return self._stopped or On.MIC_LOST in self._lost

    @property
    def speaker_lost(self) -> bool:
        """Whether what the coach plays is not heard."""
        return On.SPEAKER_LOST in self._lost

    def stalled(self, now: int) -> list[On]:
        """Note that no stretch came, or that it came late."""
        self._stopped = True
        return self.unheard(now)

    def gave_nothing(self, now: int) -> list[On]:
        """Note that a read brought no sound at all."""
        self._without += 1
        return self.stalled(now)

    def given_up(self, *, closing: bool) -> bool:
        """Tell whether the device is given up; `closing`: nothing but the last words of a session is to be said."""
        return self._without >= (LAST_WORDS if closing else STALLS)

    def unheard(self, now: int) -> list[On]:
        """Note that what the coach plays is not heard."""
        if not self.speaker_lost:
            again = now - self._was_back < SOON
            self._back_after = min(2 * self._back_after, BACK_AFTER_AT_MOST) if again else BACK_AFTER
        self._back_at = now + self._back_after
        return self._lose(On.SPEAKER_LOST)

    def fed(self, captured: Captured) -> list[On]:
        """Look at a stretch that came: what is lost by it, or back."""
        events = self._looked_at(captured)
        if not self.speaker_lost:
            self._without = 0
        return events

    def _looked_at(self, captured: Captured) -> list[On]:
        now = captured.at + len(captured.mic)
        self._silent = 0 if np.ptp(captured.mic) else self._silent + len(captured.mic)
        if self._silent >= self._dead_after:
            return self._lose(On.MIC_LOST)
        mute, deaf = self.speaker_lost, On.MIC_LOST in self._lost
        if (mute and now < self._back_at) or (deaf and self._silent):
            return []
        if mute:
            self._was_back = now
        if deaf:
            self._dead_after = min(2 * self._dead_after, DEAD_MIC_AT_MOST)
        back = [_BACK[lost] for lost in reversed(self._lost)]
        self._lost, self._stopped = [], False
        return back

    def _lose(self, what: On) -> list[On]:
        if what in self._lost:
            return []
        self._lost.append(what)
        return [what]
