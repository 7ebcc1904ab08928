"""What a screen shows of a session at one moment, as a frozen value; the terminal and the page both draw it."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Snapshot:
    """One moment of a session. An empty text or None means that there is nothing to show."""

    at: int
    """Sample of the session."""
    state: str
    """Id of the state: "working". Its label is "state_working" in screens.yaml."""
    person: str = ""
    """Name or id of the person."""
    title: str = ""
    """Title of the program."""
    said: str = ""
    """The caption: the sentence being said, or the last one said."""
    exercise: str = ""
    """Name of the exercise."""
    set: int = 0
    """Number of the set, from 1; 0: none."""
    sets: int = 0
    """Sets of the exercise."""
    side: str = ""
    """The side that works now: "left" or "right"."""
    unit: str = ""
    """What is counted: "reps", "seconds" or "rounds"."""
    count: int = 0
    """Current rep, round or second, from 1; 0: none yet."""
    of: int = 0
    """Number planned."""
    phase: str = ""
    """Name of the current phase or point: "lower"."""
    phase_done: float = 0.0
    """Share of the phase that is over, 0 to 1."""
    phase_left: float = 0.0
    """Seconds left of the phase."""
    phase_length: float = 0.0
    """Seconds of the whole phase."""
    phase_from: float = 0.0
    """Height of the weight as the phase begins, 0 low to 1 high; it falls in the slow phase of a rep."""
    phase_to: float = 0.0
    """Height of the weight as the phase ends."""
    rest_left: float | None = None
    """Seconds left of the rest."""
    rest_of: float = 0.0
    """Seconds of the whole rest."""
    unanswered: int = 0
    """Times the current question was repeated, because nobody answered or the answer was not understood."""
    may_say: tuple[str, ...] = ()
    """Words that have an effect now, as they are spoken."""
    heard: str = ""
    """The last word heard, as it is spoken; empty while `heard_ear` is set: somebody spoke and was not understood."""
    heard_ear: str = ""
    """The ear that heard it; empty: nothing was heard yet."""
    heard_at: int = -1
    """Sample at which it was recognised; it distinguishes two equal words."""
    time_left: float | None = None
    """Estimate of the seconds until the session's end."""
    warnings: tuple[str, ...] = ()
    """Troubles: "microphone_gone", "speaker_gone", "no_echo", "record_unwritten"."""
    mic: float = 0.0
    """Level of the microphone, 0 to 1."""
    keys: tuple[tuple[str, str], ...] = ()
    """Key and its effect, for the foot of the screen: ("space", "stop")."""
