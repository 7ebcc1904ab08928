"""The words of the record for what was done, and for why a set, a halt or a session came to its end."""

from __future__ import annotations

from typing import Literal

WorkKind = Literal["reps", "hold", "route"]

Unit = Literal["reps", "seconds", "rounds"]
"""What a set of each of them counts."""

SetWhy = Literal[
    "done",
    "enough",
    "cut",
    "halted_pain",
    "halted_tired",
    "halted_unsteady",
    "halted_break",
    "halted_unexplained",
    "eased",
    "no_answer",
    "deaf",
    "mute",
    "ended",
    "interrupted",
]
"""Why a set ended. "done": all of it; "enough": the person ended a set that they may end;
"cut": the person ended it before its least; "ended": the session was
ended in it; "interrupted": the program died in it; the others: what cut it short."""

HaltWhy = Literal["pain", "tired", "unsteady", "break"]

SessionWhy = Literal[
    "done",
    "pain",
    "unsteady",
    "tired",
    "halts",
    "time",
    "no_answer",
    "no_answer_halt",
    "not_heard",
    "screen",
    "asked",
    "deaf",
    "mute",
    "quit",
    "told_to_end",
    "hung_up",
    "interrupted",
]
"""Why a session ended. "screen": an answer before the start; "halts": so many that
the program ends it; "no_answer_halt": nobody answered after a halt; "not_heard": nobody answered the check at the
start; "time": its minutes are over; "asked": the person said so; "quit": the command was stopped;
"told_to_end": the system stopped it, as when the computer shuts down; "hung_up": its terminal was closed;
"interrupted": it died and was closed at the next start."""
