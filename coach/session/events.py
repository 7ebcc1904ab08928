"""What can happen to a session; every event carries the sample at which it happened."""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum


class On(StrEnum):
    """The kinds of event: the column "on" of the table."""

    START = "start"
    CUE_DONE = "cue_done"
    """Nothing is left to say."""
    TIME_UP = "time_up"
    """The sample of the last WakeAt has come."""
    GO = "go"
    REP = "rep"
    PHASE = "phase"
    REP_DONE = "rep_done"
    SECOND = "second"
    DONE = "done"
    # replies, by any ear; their values are the reply ids of the voice packs
    STOP = "stop"
    READY = "ready"
    PAUSE = "pause"
    SLOWER = "slower"
    EASIER = "easier"
    AGAIN = "again"
    LEFT = "left"
    WHY = "why"
    ENOUGH = "enough"
    YES = "yes"
    NO = "no"
    PAIN = "pain"
    TIRED = "tired"
    UNSTEADY = "unsteady"
    BREAK = "break"
    FINISH = "finish"
    """The person (or caregiver) wants to end the session."""
    NUMBER = "number"
    SPOKE = "spoke"
    """Somebody spoke and nobody understood."""
    MIC_LOST = "mic_lost"
    MIC_BACK = "mic_back"
    SPEAKER_LOST = "speaker_lost"
    SPEAKER_BACK = "speaker_back"
    UNWRITTEN = "unwritten"
    """The record cannot be written to the disk."""
    WRITTEN = "written"
    """The whole record is on the disk again."""
    QUIT = "quit"
    """Somebody ended the command from its keyboard, or a device is gone for good."""
    TOLD_TO_END = "told_to_end"
    """The system told the command to end, as when the computer shuts down."""
    HUNG_UP = "hung_up"
    """The command's terminal was closed: nobody can use its keys any more."""


REPLIES = frozenset(
    {
        On.STOP, On.READY, On.PAUSE, On.SLOWER, On.EASIER, On.AGAIN, On.LEFT, On.WHY, On.ENOUGH,
        On.YES, On.NO, On.PAIN, On.TIRED, On.UNSTEADY, On.BREAK, On.FINISH, On.NUMBER,
    }
)  # fmt: skip
"""The events that are a person's replies."""


@dataclass(frozen=True, slots=True)
class RoomFacts:
    """What was measured of the room since the first word. None: could not be measured."""

    level: float | None = None
    """Loudest tenth of a second while the coach was silent, in dBFS."""
    floor: float | None = None
    """Noise of the room, in dBFS."""
    taught: float | None = None
    """Noise of the room when the words were taught, in dBFS; None: none were taught."""
    echo: bool | None = None
    """Whether the microphone hears the coach; with headphones it does not."""
    voices: float = 0.0
    """Share of the time in which somebody spoke, 0 to 1."""


@dataclass(frozen=True, slots=True)
class Event:
    """One thing that happened."""

    on: On
    at: int
    """Sample at which it happened; never before an earlier event."""
    number: int = 0
    """NUMBER: the number, 0-10. REP, PHASE, REP_DONE, SECOND: the rep, round or second, from 1."""
    phase: int = 0
    """PHASE: index of the phase or point, from 0."""
    until: int = 0
    """PHASE: sample at which it ends. REP: sample at which it ends on its last side."""
    side: str = ""
    """REP, PHASE, REP_DONE: the side that works."""
    ear: str = ""
    """The ear that heard it; empty if none did."""
    room: RoomFacts | None = None
    """In CHECKING: what was measured of the room so far."""
