"""While somebody speaks, the coach does not; nothing moves in time."""

from __future__ import annotations

from coach.audio.mixer import Mixer
from coach.ports import Hearing
from coach.tempo.units import to_samples

HUSHED_AT_MOST = to_samples(1.5)
"""Samples for which the coach stays quiet after a voice begins, if no word is understood."""

HUSH_AFTER_VOICE = to_samples(0.5)
"""Samples for which the coach stays quiet after a voice ends: the longest time to understand a word."""


class Hush:
    """Mutes the mixer while somebody speaks, and restores it afterwards."""

    def __init__(self, mixer: Mixer) -> None:
        self._mixer = mixer
        self._until: int | None = None

    def heard(self, hearing: Hearing, now: int) -> bool:
        """Take what was heard by sample `now`; return whether it makes the coach quiet."""
        if hearing.kind == "voice_began":
            quiet = self._until is not None or self._mixer.sounding_until > now
            if quiet:
                self._mixer.hush(on=True, now=now)
            self._until = now + HUSHED_AT_MOST
            return quiet
        if hearing.kind == "voice_ended" and self._until is not None:
            self._until = min(self._until, hearing.ended + HUSH_AFTER_VOICE)
        return False

    def pass_by(self, now: int) -> None:
        """Restore the coach's sound once the time of quiet is over."""
        if self._until is not None and self._until <= now:
            self.end(now)

    def end(self, now: int) -> None:
        """Restore the coach's sound, since a word was understood."""
        self._until = None
        self._mixer.hush(on=False, now=now)
