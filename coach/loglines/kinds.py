"""The format of the logbook: each kind of line with its fields, their units and what they mean.

A new kind needs a class here and an entry in `KINDS`. A new field needs a default, so that older files still read; a
field that holds its default is not written. A field named like a Python keyword ends in "_" here, but not in the file
("from").
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from coach.loglines.changes import CHANGES, Change
from coach.loglines.goals import GOAL_CHANGES, GoalChange
from coach.loglines.hearing import DeviceChanged, Heard, SoundCheck
from coach.loglines.reasons import HaltWhy, SessionWhy, SetWhy, WorkKind
from coach.loglines.safety import SAFETY, Safety

Answer = int | bool | str | None
"""What was answered: a number, yes or no, a word, or nothing."""


@dataclass(frozen=True, slots=True)
class PlanEntry:
    """One exercise of today, as planned before the session."""

    exercise: str
    """Its id in the program."""
    level: str
    """Id of the level."""
    sets: int
    """Sets that will be recorded if all goes well; a left and a right one count as two."""
    because: str = ""
    """Why this level and target; empty: as written."""
    name: str = ""
    """Its name in the program."""
    kind: WorkKind | Literal[""] = ""
    low: int = 0
    """Lower end of a set's range, in `unit`."""
    high: int = 0
    """Upper end of a set's range, in `unit`."""
    target: int = 0
    """Today's amount of a set, from `low` to `high`."""
    unit: str = ""
    """What is counted: "reps", "seconds" or "rounds"."""
    sides: str = ""
    """Side mode of the program, such as "one after the other"."""


@dataclass(frozen=True, slots=True)
class SessionBegun:
    """The first line: who does what, with which ears and voice."""

    session: str
    """The session's id: the stem of its file, and the start of the checksum chain."""
    person: str
    program: str
    """Id of the program: the stem of its file."""
    title: str
    digest: str
    """SHA-256 of the program file, in hex."""
    written_by: str
    language: str
    plan: tuple[PlanEntry, ...]
    ears: tuple[str, ...]
    voice: str
    device: str
    rate: int
    """Samples a second: the unit of every `at`, `began` and `ended`."""
    app_version: str
    numbers: Literal["spoken", "ladder"] = "spoken"
    """"ladder": this person's numbers are not heard well, so the yes/no ladder asks about pain."""
    continues: str = ""
    """Id of the session that broke off and is taken up here: both count as one. Empty: none is."""


@dataclass(frozen=True, slots=True)
class Asked:
    """The coach asked a question."""

    question: str
    """"pain", "effort", "reps", "missed", "halt_pain", or "screen." and the id of a screen question."""
    set_id: int = 0
    """The set it is about; 0 if it is about none."""


@dataclass(frozen=True, slots=True)
class Answered:
    """A question was answered."""

    question: str
    value: Answer
    """Pain and effort: 0-10, or a band from the yes/no ladder: "none", "1-3". Reps: how many were done, or whether all
    that were counted were done. Missed: how many of the counted were not done."""
    ear: str
    read_back: bool
    """True if the answer was read back, and the person confirmed it or did not deny it."""
    attempts: int
    """How often a number or band was heard; for other answers, how often the question was asked."""
    set_id: int = 0
    """The set it is about; 0 if it is about none."""


@dataclass(frozen=True, slots=True)
class Unanswered:
    """The coach gave a question up."""

    question: str
    prompts: int
    """How often it was asked, the first time included."""
    set_id: int = 0
    """The set it is about; 0 if it is about none."""
    because: str = ""
    """"numbers_not_heard": it was not asked, since only a number answers it."""


@dataclass(frozen=True, slots=True)
class Ladder:
    """A rung of the yes/no ladder was answered; the band that it leads to is "answered"."""

    question: str
    above: int
    """The n of "more than n?"; 0: "any at all?"."""
    value: bool
    ear: str


@dataclass(frozen=True, slots=True)
class NumbersNotHeard:
    """From here on the yes/no ladder asks about pain."""

    question: str
    why: Literal["denied", "not_understood"]


@dataclass(frozen=True, slots=True)
class SetBegun:
    """A set began to count."""

    set_id: int
    """The set's number within the session, from 1."""
    exercise: str
    level: str
    set: int
    """Number of the set, from 1."""
    side: str
    """"left", "right", "left+right" if they alternate, or empty."""
    kind: WorkKind
    planned_low: int
    """Fewest planned, in `unit`."""
    planned_high: int
    """Most planned, in `unit`."""
    unit: str
    """"reps", "seconds" or "rounds"."""
    tension_planned_s: float
    """Planned time under tension in seconds, for `planned_high`."""


@dataclass(frozen=True, slots=True)
class SetEnded:
    """A set ended, and why."""

    set_id: int
    exercise: str
    level: str
    set: int
    side: str
    kind: WorkKind
    planned_low: int
    planned_high: int
    counted: int | None
    """What the coach counted, in the set's unit; not proof that it was done. None: not known (interrupted)."""
    tension_s: float | None
    """Time under tension in seconds. None: not known (interrupted)."""
    why: SetWhy


@dataclass(frozen=True, slots=True)
class NumberHeard:
    """A number was heard as an answer; it counts once it is "answered"."""

    question: str
    value: int
    ear: str


@dataclass(frozen=True, slots=True)
class ScreenConfirmed:
    """The screen answers were read back and confirmed."""

    ear: str


@dataclass(frozen=True, slots=True)
class ScreenDenied:
    """The screen answers were read back and denied; the session asks again, or ends."""

    ear: str


@dataclass(frozen=True, slots=True)
class Halted:
    """A halt reply stopped everything."""

    state: str
    """The state that it stopped."""
    ear: str
    exercise: str = ""
    level: str = ""
    set: int = 0
    """Number of the set, from 1; 0: before the exercises."""
    side: str = ""
    rep: int = 0
    """Rep, round or second at that moment; 0: none."""
    phase: int | str = ""
    """Name of the phase or point at that moment; in older files its index from 0; empty: none."""
    set_id: int = 0
    """The set that was open; 0: none."""


@dataclass(frozen=True, slots=True)
class HaltedAgain:
    """Another halt reply during a halt."""

    ear: str


@dataclass(frozen=True, slots=True)
class HaltExplained:
    """Why the person halted. Without a halt before it, this line is the halt."""

    why: HaltWhy
    pain: Answer = None
    """Pain 0-10 or a band such as "1-3", once it is answered."""
    state: str = ""
    """The state that it stopped."""
    ear: str = ""
    exercise: str = ""
    level: str = ""
    set: int = 0
    """Number of the set, from 1; 0: before the exercises."""
    side: str = ""
    rep: int = 0
    """Rep, round or second at that moment; 0: none."""
    phase: int | str = ""
    """Name of the phase or point at that moment; in older files its index from 0; empty: none."""
    set_id: int = 0
    """The set that was open; 0: none."""


@dataclass(frozen=True, slots=True)
class Ready:
    """The person said "ready": the session goes on after a halt, a pause or work that stood still."""

    ear: str
    set_id: int = 0
    """The set that is open; 0: none."""


@dataclass(frozen=True, slots=True)
class StoodStill:
    """Speech in a set was not understood: the work stood still."""

    exercise: str
    level: str
    set: int
    """Number of the set, from 1."""
    side: str
    set_id: int
    """The set that was open."""


@dataclass(frozen=True, slots=True)
class Paused:
    """The session was paused."""

    why: Literal["asked", "no_answer"]
    ear: str = ""


@dataclass(frozen=True, slots=True)
class Resumed:
    """The open set goes on."""

    set_id: int


@dataclass(frozen=True, slots=True)
class Eased:
    """The work was made easier: slower, a level down, or a smaller amount."""

    exercise: str
    what: Literal["slower", "level", "amount"]
    """"amount" is the number of reps, seconds or rounds, whichever the exercise counts."""
    from_: str
    to: str
    because: str
    """The rule or reply that caused it."""


@dataclass(frozen=True, slots=True)
class ExerciseEnded:
    """An exercise is over for today."""

    exercise: str
    why: str
    """"done", or why it ended early: "eased", "tired", "unsteady", "cut_sets", ..."""


@dataclass(frozen=True, slots=True)
class Note:
    """A remark for readers of the record."""

    text: str
    by: str
    """Who or what wrote it: "coach", "caregiver"."""


@dataclass(frozen=True, slots=True)
class SessionEnded:
    """The last line of a session; only notes may follow it."""

    why: SessionWhy
    next_in_days: int | None
    """Days until the next session; None: not said."""
    because: str = ""
    """The rule, or what happened, in words."""
    sets_begun: int | None = None
    sets_in_full: int | None = None


Fact = (
    SessionBegun
    | SoundCheck
    | Asked
    | Answered
    | Unanswered
    | Heard
    | SetBegun
    | SetEnded
    | NumberHeard
    | Ladder
    | NumbersNotHeard
    | ScreenConfirmed
    | ScreenDenied
    | Halted
    | HaltedAgain
    | HaltExplained
    | Ready
    | StoodStill
    | Paused
    | Resumed
    | Eased
    | ExerciseEnded
    | DeviceChanged
    | Note
    | SessionEnded
    | Change
    | Safety
    | GoalChange
)

KINDS: dict[str, type[Fact]] = {
    "session_begun": SessionBegun,
    "sound_check": SoundCheck,
    "asked": Asked,
    "answered": Answered,
    "unanswered": Unanswered,
    "heard": Heard,
    "set_begun": SetBegun,
    "set_ended": SetEnded,
    "number_heard": NumberHeard,
    "ladder": Ladder,
    "numbers_not_heard": NumbersNotHeard,
    "screen_confirmed": ScreenConfirmed,
    "screen_denied": ScreenDenied,
    "halted": Halted,
    "halted_again": HaltedAgain,
    "halt_why": HaltExplained,
    "ready": Ready,
    "held": StoodStill,
    "paused": Paused,
    "resumed": Resumed,
    "eased": Eased,
    "exercise_ended": ExerciseEnded,
    "device": DeviceChanged,
    "note": Note,
    "session_ended": SessionEnded,
    **CHANGES,
    **SAFETY,
    **GOAL_CHANGES,
}
"""The name of each kind in the file."""

KIND_OF: dict[type[Fact], str] = {known: kind for kind, known in KINDS.items()}
"""`KINDS` the other way round."""
