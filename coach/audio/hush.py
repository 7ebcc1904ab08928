"""While somebody speaks, the coach does not; nothing moves in time."""

from __future__ import annotations

from coach.audio.mixer import Mixer
from coach.ports import Hearing
from coach.tempo.units import to_samples

HUSHED_AT_MOST = to_samples(1.5)
"""Samples that the coach stays quiet because somebody speaks, if nothing comes of it."""

HUSH_AFTER_VOICE = to_samples(0.5)
"""Samples that the coach stays quiet behind a voice: as long as a word may take to be understood."""


class Hush:
    """Told what is heard and how time goes on; turns the mixer down and up again."""

    def __init__(self, mixer: Mixer) -> None:
        self._mixer = mixer
        self._until: int | None = None

    def heard(self, hearing: Hearing, now: int) -> bool:
        """Take what was heard by sample `now`; tell whether the coach falls quiet for it."""
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
        """Let the coach be heard again once its time is over."""
        if self._until is not None and self._until <= now:
            self.end(now)

    def end(self, now: int) -> None:
        """Let the coach be heard again: what was said is understood."""
        self._until = None
        self._mixer.hush(on=False, now=now)
