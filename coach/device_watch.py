"""Report a trouble with the device to the session once, and its end once the sound has been whole for a while."""

from __future__ import annotations

import numpy as np

from coach.ports import Captured
from coach.session.events import On
from coach.tempo.units import to_samples

DEAD_MIC = to_samples(0.9)
"""Samples of one constant value after which a microphone counts as lost; a working one always has noise."""

DEAD_MIC_AT_MOST = to_samples(30.0)
"""Most samples of constant value: the limit doubles each time a microphone comes back, as some mute between words."""

BACK_AFTER = to_samples(1.0)
"""Samples without a gap after which a lost speaker counts as back."""

BACK_AFTER_AT_MOST = to_samples(30.0)
"""Most samples without a gap: the limit doubles each time the speaker is lost again soon; a session waits four times
as long."""

SOON = to_samples(60.0)
"""Samples within which a second loss of the speaker counts as the same loss."""

STALLS = 150
"""Reads without sound in one trouble after which the device is given up: about two minutes."""

LAST_WORDS = 6
"""The same if only the session's last words remain to be said."""

_BACK = {On.MIC_LOST: On.MIC_BACK, On.SPEAKER_LOST: On.SPEAKER_BACK}


class DeviceWatch:
    """Watches every stretch of sound and every missing one; each call returns the events for the session.

    If microphone and speaker are lost at the same time, both come back together, reported in the reverse order of their
    loss. So the session leaves trouble in one step and does not switch between two states of trouble.
    """

    def __init__(self) -> None:
        self._lost: list[On] = []
        """Lost devices, in the order of their loss."""
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
        """True if the microphone is lost: no sound comes, or only a constant value."""
        return self._stopped or On.MIC_LOST in self._lost

    @property
    def speaker_lost(self) -> bool:
        """True if the coach's sound is not heard."""
        return On.SPEAKER_LOST in self._lost

    def stalled(self, now: int) -> list[On]:
        """Note that a stretch of sound is missing or late."""
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
        """Note that the coach's sound is not heard."""
        if not self.speaker_lost:
            again = now - self._was_back < SOON
            self._back_after = min(2 * self._back_after, BACK_AFTER_AT_MOST) if again else BACK_AFTER
        self._back_at = now + self._back_after
        return self._lose(On.SPEAKER_LOST)

    def fed(self, captured: Captured) -> list[On]:
        """Take a stretch of sound; return what it shows as lost or back."""
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
