"""What a screen shows of a session at one moment, in one frozen value; the terminal and the page draw the same."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Snapshot:
    """One moment of a session. An empty text or None means that there is nothing to show there."""

    at: int
    """Sample of the session."""
    state: str
    """Id of the state: "working". Its label is "state_working" in screens.yaml."""
    person: str = ""
    """Name or id of the person."""
    title: str = ""
    """Title of the program."""
    said: str = ""
    """What is being said, or was said last: the caption."""
    exercise: str = ""
    """Name of the exercise."""
    set: int = 0
    """Number of the set, from 1; 0: none."""
    sets: int = 0
    """Sets of the exercise."""
    side: str = ""
    """"left" or "right": the side that works now."""
    unit: str = ""
    """What is counted: "reps", "seconds" or "rounds"."""
    count: int = 0
    """Rep, round or second that runs, from 1; 0: none yet."""
    of: int = 0
    """How many are planned."""
    phase: str = ""
    """Name of the phase or point that runs: "lower"."""
    phase_done: float = 0.0
    """Part of the phase that has run, 0 to 1."""
    phase_left: float = 0.0
    """Seconds left of the phase."""
    phase_length: float = 0.0
    """Seconds that the phase takes."""
    phase_from: float = 0.0
    """Where the weight stands as the phase begins, 0 low to 1 high: it falls in the slow phase of a rep."""
    phase_to: float = 0.0
    """Where it stands as the phase ends."""
    rest_left: float | None = None
    """Seconds left of the rest."""
    rest_of: float = 0.0
    """Seconds that the rest takes in all."""
    unanswered: int = 0
    """How often what is asked now was asked again, since nobody answered or it was not understood."""
    may_say: tuple[str, ...] = ()
    """The words that would do something now, as they are spoken."""
    heard: str = ""
    """The last word heard, as it is spoken; empty with `heard_ear`: somebody spoke and nobody understood."""
    heard_ear: str = ""
    """Which ear heard it; empty: nothing was heard yet."""
    heard_at: int = -1
    """Sample at which it was known; tells two equal words apart."""
    time_left: float | None = None
    """Estimate of the seconds until the session's end."""
    warnings: tuple[str, ...] = ()
    """What is wrong: "microphone_gone", "speaker_gone", "no_echo", "record_unwritten"."""
    mic: float = 0.0
    """Level of the microphone, 0 to 1."""
    keys: tuple[tuple[str, str], ...] = ()
    """Key and what it does, for the foot of the screen: ("space", "stop")."""
