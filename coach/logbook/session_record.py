"""The record of a session, assembled from the lines of its file."""

from __future__ import annotations

from dataclasses import dataclass
from functools import reduce

from coach.logbook.pain import is_pain, worse
from coach.loglines.hearing import SoundCheck
from coach.loglines.kinds import Answer, PlanEntry
from coach.loglines.safety import SafetySign

VIRTUAL_ROOM = "virtual room"
"""Device of a session in the simulated room."""
RECORDING = "recording"
"""First word of the device of a session that heard a recording; the file's name follows."""

IN_FULL = frozenset({"done", "enough"})
"""Endings of a set that count as in full."""


@dataclass(frozen=True, slots=True)
class SetRecord:
    """One set, with separate fields for what was planned, what the coach counted and what the person stated."""

    set_id: int
    exercise: str
    level: str
    set: int
    """Number of the set, from 1."""
    side: str
    """"left", "right", "left+right" if they alternate, or empty."""
    kind: str
    """"reps", "hold" or "route"."""
    unit: str
    """What the numbers count: "reps", "seconds" or "rounds"."""
    planned_low: int
    planned_high: int
    counted: int | None
    """What the coach counted; None: not known."""
    stated: int | None
    """What the person said they did, in the same unit; None: not asked or not answered."""
    tension_planned_s: float | None
    tension_s: float | None
    """Seconds under tension; None: not known."""
    why: str
    """Why it ended; empty: it has not."""
    pain: Answer
    """Pain 0-10, or a band such as "1-3"; None: not asked or not answered."""
    effort: Answer
    """Effort 0-10; None: not asked or not answered."""
    began_at: int | None
    """Sample; None: not known."""
    ended_at: int | None
    """Sample; None: not known."""

    @property
    def in_full(self) -> bool:
        """Whether it ran to its end, or the person ended it within its range."""
        return self.why in IN_FULL


@dataclass(frozen=True, slots=True)
class HaltRecord:
    """One halt and what was said about it; "pain", "tired" or "unsteady" without a halt before it is one too."""

    at: int
    """Sample."""
    state: str
    exercise: str
    set_id: int
    set: int
    rep: int
    phase: int | str
    """Name of the phase or point at that moment; in older files its index from 0; empty: none."""
    side: str
    word: str
    """Reply id that halted."""
    ear: str
    why: str
    """"pain", "tired", "unsteady", "break"; empty: the file does not say."""
    pain: Answer


@dataclass(frozen=True, slots=True)
class QuestionRecord:
    """One question and what became of it."""

    at: int
    """Sample at which it was answered or given up."""
    question: str
    set_id: int
    value: Answer
    answered: bool
    """False: given up without an answer."""
    ear: str
    read_back: bool
    times: int
    """`Answered.attempts` or `Unanswered.prompts`."""
    because: str = ""
    """Why it was not asked at all; empty: it was."""


@dataclass(frozen=True, slots=True)
class EasedRecord:
    """One easing of the work."""

    at: int
    """Sample."""
    exercise: str
    what: str
    before: int | float | str
    after: int | float | str
    because: str


@dataclass(frozen=True, slots=True)
class EarRecord:
    """What one ear noticed."""

    ear: str
    heard: int
    """Words that it noticed."""
    used: int
    """How many of them did something."""
    unclear: int = 0
    """How many of them were not understood, or contradicted by another ear."""


@dataclass(frozen=True, slots=True)
class SessionRecord:
    """A whole session, as far as its file tells; empty where the file does not."""

    session: str
    person: str
    program: str
    title: str
    digest: str
    written_by: str
    language: str
    voice: str
    device: str
    app_version: str
    rate: int
    """Samples a second."""
    began: str
    """UTC, ISO 8601, of the first line; empty if there is none."""
    seconds: float
    """Length of the session, by the highest sample in its file."""
    plan: tuple[PlanEntry, ...]
    ears: tuple[str, ...]
    sound_check: SoundCheck | None
    """The sound check, the last of several; None: the session ended before it."""
    sets: tuple[SetRecord, ...]
    """In the order in which they began."""
    halts: tuple[HaltRecord, ...]
    steps: tuple[EasedRecord, ...]
    questions: tuple[QuestionRecord, ...]
    exercise_ends: tuple[tuple[str, str], ...]
    """Exercise and why it ended."""
    heard: tuple[EarRecord, ...]
    devices: tuple[tuple[int, str], ...]
    """Sample and what happened to the microphone or the speaker."""
    told: tuple[tuple[str, str], ...]
    """Exercise and phrase key of each thing that the coach told to be new since last time."""
    notes: tuple[tuple[str, str], ...]
    """Text and by whom."""
    holds: int
    """How often the work stood still because speech was not understood."""
    pauses: int
    why: str
    """Why the session ended; empty: it has not, or its end is missing."""
    next_in_days: int | None
    because: str
    ended: str = ""
    """UTC, ISO 8601, of the last line."""
    doubtful: bool = False
    """Its file has a problem: a line is torn, changed or missing."""
    denied: int = 0
    """Answers that were read back and then denied, corrected or never confirmed."""
    ladder: bool = False
    """The yes/no ladder asked about pain, from the start or from some point on."""
    continues: str = ""
    """Id of the session that broke off and was taken up here; empty: none was."""
    signs: tuple[SafetySign, ...] = ()
    """Its safety signs."""
    parts: int = 1
    """Number of files that it comes from; see `joined`."""

    @property
    def simulated(self) -> bool:
        """Whether no person was there, but a simulated room or a recording."""
        return self.device == VIRTUAL_ROOM or self.device.startswith(f"{RECORDING} ")

    @property
    def sets_planned(self) -> int:
        """Number of sets in the plan."""
        return sum(exercise.sets for exercise in self.plan)

    @property
    def sets_in_full(self) -> int:
        """Number of sets that were done in full."""
        return sum(one.in_full for one in self.sets)

    @property
    def highest_pain(self) -> Answer:
        """Highest pain stated after a set or at a halt: 0-10 or a band; None: none was."""
        stated = [one.value for one in self.questions if is_pain(one.question)] + [halt.pain for halt in self.halts]
        return reduce(worse, stated, None)

    def name_of(self, exercise: str) -> str:
        """Return the exercise's name from the plan, or its id."""
        return next((one.name for one in self.plan if one.exercise == exercise and one.name), exercise)
