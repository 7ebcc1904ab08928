"""What is known of a session: its record, put together of the lines of its file."""

from __future__ import annotations

from dataclasses import dataclass
from functools import reduce

from coach.logbook.pain import is_pain, worse
from coach.loglines.hearing import SoundCheck
from coach.loglines.kinds import Answer, PlanEntry

VIRTUAL_ROOM = "virtual room"
"""Device of a session in the simulated room."""
RECORDING = "recording"
"""How the device of a session begins that heard a recording; the name of its file follows."""

IN_FULL = frozenset({"done", "enough"})
"""Reasons for which a set counts as whole."""


@dataclass(frozen=True, slots=True)
class SetRecord:
    """One set: what was planned, what the coach counted and what the person stated stand apart."""

    set_id: int
    exercise: str
    level: str
    set: int
    """Number of the set, from 1."""
    side: str
    """"left", "right" or empty."""
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
    """Seconds under tension that ran; None: not known."""
    why: str
    """Why it ended; empty: it has not."""
    pain: Answer
    """Pain 0-10, or a band such as "1-3"; None: not asked, or not answered."""
    effort: Answer
    """Effort 0-10; None: not asked, or not answered."""
    began_at: int | None
    """Sample."""
    ended_at: int | None
    """Sample."""

    @property
    def in_full(self) -> bool:
        """Whether it ran to its end, or to where the person may end it."""
        return self.why in IN_FULL


@dataclass(frozen=True, slots=True)
class HaltRecord:
    """One halt and what was said about it; a "pain", "tired" or "unsteady" out of the work is one too."""

    at: int
    """Sample."""
    state: str
    exercise: str
    set_id: int
    set: int
    rep: int
    phase: int | str
    """Name of the phase that ran, or its index from 0; empty: none."""
    side: str
    word: str
    """Reply id that halted."""
    ear: str
    why: str
    """"pain", "tired", "unsteady", "break"; empty: the file does not say."""
    pain: Answer


@dataclass(frozen=True, slots=True)
class QuestionRecord:
    """One question as it went."""

    at: int
    """Sample of the answer, or of giving it up."""
    question: str
    set_id: int
    value: Answer
    answered: bool
    """False: given up without an answer."""
    ear: str
    read_back: bool
    times: int
    """How often it was put."""
    because: str = ""
    """Why it was not put at all; empty: it was."""


@dataclass(frozen=True, slots=True)
class EasedRecord:
    """Something made easier in the session."""

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
    """Words it noticed."""
    used: int
    """Of these, the words that did something."""
    unclear: int = 0
    """Of these, the words that were not understood, or that another ear spoke against."""


@dataclass(frozen=True, slots=True)
class SessionRecord:
    """A whole session, as far as its file tells."""

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
    """From the first to the last line of the session's own time."""
    plan: tuple[PlanEntry, ...]
    ears: tuple[str, ...]
    sound_check: SoundCheck | None
    """The check at the start; None: it did not come to one. Of several the last."""
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
    """Exercise and phrase key of what was told to be other than last time."""
    notes: tuple[tuple[str, str], ...]
    """Text and by whom."""
    holds: int
    """How often the work was held because somebody spoke and nobody understood."""
    pauses: int
    why: str
    """Why the session ended; empty: it has not, or its end is missing."""
    next_in_days: int | None
    because: str
    ended: str = ""
    """UTC, ISO 8601, of the last line."""
    doubtful: bool = False
    """Something in its file is amiss: a line is torn, changed or missing."""
    denied: int = 0
    """Answers that were read back and did not stand: denied, corrected, or never confirmed."""
    ladder: bool = False
    """Pain was placed by yes and no, from the start or from some point on."""
    continues: str = ""
    """Id of the session that broke off and was taken up here; empty: none was."""
    parts: int = 1
    """Of how many files it was put together; see `joined`."""

    @property
    def simulated(self) -> bool:
        """Whether nobody was there: a simulated room, or a recording."""
        return self.device == VIRTUAL_ROOM or self.device.startswith(f"{RECORDING} ")

    @property
    def sets_planned(self) -> int:
        """Sets that the plan of the day would have recorded."""
        return sum(exercise.sets for exercise in self.plan)

    @property
    def sets_in_full(self) -> int:
        """Sets that ran to their end."""
        return sum(one.in_full for one in self.sets)

    @property
    def highest_pain(self) -> Answer:
        """Highest pain that was stated 0-10, after a set or at a halt; or the band that reaches highest; or None."""
        stated = [one.value for one in self.questions if is_pain(one.question)] + [halt.pain for halt in self.halts]
        return reduce(worse, stated, None)

    def name_of(self, exercise: str) -> str:
        """Return the exercise's name from the plan, or its id."""
        return next((one.name for one in self.plan if one.exercise == exercise and one.name), exercise)
