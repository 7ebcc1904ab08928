"""The logbook: what a session leaves behind. Everything here is pure; the files are in `coach.logbook.store`."""

from coach.logbook.assembled import (
    EarRecord,
    EasedRecord,
    HaltRecord,
    QuestionRecord,
    SessionRecord,
    SetRecord,
    assemble,
)
from coach.logbook.fields import complaint, plain
from coach.logbook.joined import joined
from coach.logbook.kinds import KINDS, PlannedExercise
from coach.logbook.record import VERSION, Line, Problem, Reading, encode, read_lines, seal

__all__ = [
    "KINDS",
    "VERSION",
    "EarRecord",
    "EasedRecord",
    "HaltRecord",
    "Line",
    "PlannedExercise",
    "Problem",
    "QuestionRecord",
    "Reading",
    "SessionRecord",
    "SetRecord",
    "assemble",
    "complaint",
    "encode",
    "joined",
    "plain",
    "read_lines",
    "seal",
]
