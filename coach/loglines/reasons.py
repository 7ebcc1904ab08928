"""The words of the record for kinds of work, and for why a set, a halt or a session ended."""

from __future__ import annotations

from typing import Literal

WorkKind = Literal["reps", "hold", "route"]

Unit = Literal["reps", "seconds", "rounds"]
"""What a set of each kind counts."""

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
"""Why a set ended. "done": all of it was done; "enough" and "cut": the person ended it within or below its range;
"ended": the session was ended; "interrupted": the program died. The other words name what cut the set short."""

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
"""Why a session ended. "screen": an answer before the start; "halts": too many of them; "no_answer_halt": nobody
answered after a halt; "not_heard": nobody answered the sound check; "time": the program's minutes are over; "asked":
the person wished it; "quit": somebody stopped the command; "told_to_end": the system stopped it, as at a shutdown;
"hung_up": its terminal was closed; "interrupted": it died, and the next start closed it."""
