"""Fakes for whoever extends the coach: random sessions, people, programs and histories, and the rules they keep."""

from coach.session.soundless import SoundlessRun, made_up_length
from coach.testing.histories import SimulatedCourse, TrueHistory, TrueSession, write_history
from coach.testing.lived import LivedDays, record_of
from coach.testing.mishearing import Faults, MisheardRun
from coach.testing.people import RandomPerson, live
from coach.testing.programs import for_somebody, random_day, random_decisions, random_history, random_program
from coach.testing.stored import StoredRun, begin_in, live_in
from coach.testing.watched import RuleBrokenError, WatchedRun

__all__ = [
    "Faults",
    "LivedDays",
    "MisheardRun",
    "RandomPerson",
    "RuleBrokenError",
    "SimulatedCourse",
    "SoundlessRun",
    "StoredRun",
    "TrueHistory",
    "TrueSession",
    "WatchedRun",
    "begin_in",
    "for_somebody",
    "live",
    "live_in",
    "made_up_length",
    "random_day",
    "random_decisions",
    "random_history",
    "random_program",
    "record_of",
    "write_history",
]
