"""Fakes that whoever extends the coach needs: sessions without sound, people and programs made by chance, the rules."""

from coach.session.soundless import SoundlessRun, made_up_length
from coach.testing.people import Person, live
from coach.testing.programs import random_decisions, random_history, random_program
from coach.testing.watched import RuleBrokenError, WatchedRun

__all__ = [
    "Person",
    "RuleBrokenError",
    "SoundlessRun",
    "WatchedRun",
    "live",
    "made_up_length",
    "random_decisions",
    "random_history",
    "random_program",
]
