"""The logbook: the record of each session. All that is exported here is pure; `coach.logbook.store` holds the files."""

from coach.logbook.assembled import assemble
from coach.logbook.fields import fields_of, plain
from coach.logbook.joined import joined
from coach.logbook.lines import VERSION, Line, Problem, Reading, encode, line_of, read_lines, seal
from coach.logbook.session_record import (
    EarRecord,
    EasedRecord,
    HaltRecord,
    QuestionRecord,
    SessionRecord,
    SetRecord,
)
from coach.loglines.kinds import KINDS, PlanEntry

__all__ = [
    "KINDS",
    "VERSION",
    "EarRecord",
    "EasedRecord",
    "HaltRecord",
    "Line",
    "PlanEntry",
    "Problem",
    "QuestionRecord",
    "Reading",
    "SessionRecord",
    "SetRecord",
    "assemble",
    "encode",
    "fields_of",
    "joined",
    "line_of",
    "plain",
    "read_lines",
    "seal",
]
