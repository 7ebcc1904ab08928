"""Fakes that whoever extends the coach needs."""

from __future__ import annotations

from coach.session.soundless import SoundlessRun, made_up_length

__all__ = ["SoundlessRun", "made_up_length"]
