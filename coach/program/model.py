"""The program as the therapist wrote it, in frozen values with their units."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date
from enum import StrEnum
from typing import ClassVar

from coach.loglines.reasons import Unit, WorkKind

SCALE_END = 10
"""The worst pain and the hardest effort: both are stated from 0 to this (numeric rating scale)."""

SCALE = range(SCALE_END + 1)
"""All that can be stated of pain or effort."""

NO_TENSION = "rest"
"""A phase of this name is not time under tension."""


class Sides(StrEnum):
    """Which side works, and in what order."""

    BOTH = "both together"
    EACH = "one after the other"
    ALTERNATING = "alternating"
    AFFECTED = "affected only"


class Guide(StrEnum):
    """How the slow phase is led: counted aloud, shaped by a falling tone, both, or neither."""

    TONE = "tone"
    COUNT = "count"
    BOTH = "both"
    QUIET = "quiet"


class Action(StrEnum):
    """What a limit or a screen answer does, from mild to strict."""

    NOTE = "note"
    EASE = "ease"
    STEP_DOWN = "step_down"
    END_SET = "end_set"
    END_EXERCISE = "end_exercise"
    END_SESSION = "end_session"


class AskAfter(StrEnum):
    """When a question about a set is put."""

    EACH_SET = "each set"
    EACH_EXERCISE = "each exercise"
    NEVER = "never"


@dataclass(frozen=True, slots=True)
class Range:
    """From `low` to `high`, both included, in the unit of the field that holds it."""

    low: int
    high: int
    steady: bool = False
    """True for "as many as stay steady, at most N": the person ends it, `high` is the most; then `low` is 1."""


@dataclass(frozen=True, slots=True)
class Phase:
    """A named, timed part of a rep."""

    name: str
    """What is said when it begins: "lower"."""
    seconds: float
    """How long it lasts; never shorter in a session than written."""


@dataclass(frozen=True, slots=True)
class Point:
    """A named place of a route and the time to reach it."""

    name: str
    """What is said when it is due: "ahead"."""
    seconds: float
    """Time to reach it (and come back, where the cue says so)."""


@dataclass(frozen=True, slots=True)
class Reps:
    """Repetitions with named phases."""

    count: Range
    """Reps of a set; for alternating sides, on each side."""
    phases: tuple[Phase, ...]
    slow: str
    """Name of the phase that must not be rushed (the lowering, as a rule)."""
    guide: Guide

    kind: ClassVar[WorkKind] = "reps"
    unit: ClassVar[Unit] = "reps"

    @property
    def amount(self) -> Range:
        """How many a set asks for, in `unit`."""
        return self.count

    @property
    def steps(self) -> tuple[Phase | Point, ...]:
        """What one rep consists of, in order."""
        return self.phases


@dataclass(frozen=True, slots=True)
class Hold:
    """A timed position."""

    seconds: Range

    kind: ClassVar[WorkKind] = "hold"
    unit: ClassVar[Unit] = "seconds"

    @property
    def amount(self) -> Range:
        """How many a set asks for, in `unit`."""
        return self.seconds

    @property
    def steps(self) -> tuple[Phase | Point, ...]:
        """A hold has no steps."""
        return ()


@dataclass(frozen=True, slots=True)
class Route:
    """Named points reached in turn, for a number of rounds."""

    points: tuple[Point, ...]
    rounds: Range

    kind: ClassVar[WorkKind] = "route"
    unit: ClassVar[Unit] = "rounds"

    @property
    def amount(self) -> Range:
        """How many a set asks for, in `unit`."""
        return self.rounds

    @property
    def steps(self) -> tuple[Phase | Point, ...]:
        """What one round consists of, in order."""
        return self.points


Work = Reps | Hold | Route

UNIT_OF: dict[WorkKind, Unit] = {work.kind: work.unit for work in (Reps, Hold, Route)}
"""What a set of each kind of work counts."""


def tension_of_one(work: Work) -> float:
    """Return the seconds under tension of one rep, round or second of a hold, as written."""
    if isinstance(work, Hold):
        return 1.0
    return sum(step.seconds for step in work.steps if step.name != NO_TENSION)


@dataclass(frozen=True, slots=True)
class Dose:
    """How much of it."""

    sets: int
    rest: float
    """Seconds between two sets; never shorter in a session than written."""
    work: Work
    change_sides: float
    """Seconds to change sides (one after the other)."""


@dataclass(frozen=True, slots=True)
class Level:
    """One rung of easier-to-harder variants; the first of an exercise is the easiest."""

    id: str
    setup: str
    """How to get into position; said before each exercise."""
    cue: str
    """What to do, in one or two sentences."""
    feel: str
    """Where the work should be felt; empty if not written."""
    watch: tuple[str, ...]
    """The usual ways of cheating; one is brought up now and then in a rest."""
    needs: tuple[str, ...]
    """Equipment beyond that of the exercise."""
    dose: Dose


@dataclass(frozen=True, slots=True)
class StepUp:
    """When a harder level is proposed to the clinician; never taken by itself."""

    sessions: int
    """In how many sessions running."""
    at_top: bool
    """True: at the top of the range; False: at the bottom of it or more."""
    pain_to: int
    """Pain 0-10 at most."""
    effort_to: int
    """Effort 0-10 at most."""
    unsteady: bool
    """True if unsteadiness is allowed; False (the usual): never."""


@dataclass(frozen=True, slots=True)
class Joins:
    """An exercise that waits until another has been steady."""

    exercise: str
    """Id of the other exercise."""
    steady_sessions: int
    """In how many sessions."""


@dataclass(frozen=True, slots=True)
class Exercise:
    """One exercise with its levels, easiest first."""

    id: str
    name: str
    why: str
    """Said when asked "why"; empty if not written."""
    needs: tuple[str, ...]
    sides: Sides
    levels: tuple[Level, ...]
    start_level: str
    """Id of the level a new person begins at."""
    step_up: StepUp | None
    joins_after: Joins | None


@dataclass(frozen=True, slots=True)
class ScreenQuestion:
    """A yes-or-no question put before every session."""

    id: str
    ask: str
    answer: bool
    """The answer that triggers `action`: True for yes."""
    action: Action
    """NOTE, EASE or END_SESSION."""


@dataclass(frozen=True, slots=True)
class Limits:
    """The clinician's limits; defaults are cautious and marked as defaults in the schema."""

    pain_carry_on_to: int
    """Pain 0-10 up to which the work goes on as planned."""
    pain_ease_to: int
    """Pain 0-10 up to which the work is eased; above it the session ends."""
    effort_ease_above: int
    """Effort 0-10 above which the next sets are eased; 10: never."""
    unsteady: Action
    """STEP_DOWN, END_EXERCISE or END_SESSION."""
    tired: Action
    """EASE, END_SET, END_EXERCISE or END_SESSION."""
    cut_sets: int
    """So many sets cut short end the exercise."""
    next_day_worse: Action
    """NOTE, EASE, STEP_DOWN or END_SESSION (no session today), when pain was worse the morning after."""
    halts: int
    """The session ends at the halt with this number."""
    minutes: int
    """No new set begins after so many minutes."""


class AfterGap(StrEnum):
    """Where an exercise begins again after a gap."""

    LEVEL_DOWN = "one level down"
    BOTTOM = "bottom of the range"


@dataclass(frozen=True, slots=True)
class Schedule:
    """How often."""

    every_days: int
    after_sore_days: int
    """Days until the next session when the body answered with more pain."""
    gap_days: int
    """Days without a session whose pain stayed within `pain_carry_on_to` that make a gap."""
    after_gap: AfterGap
    """Where an exercise begins after a gap; at the easiest level always at the bottom of the range."""


@dataclass(frozen=True, slots=True)
class WrittenBy:
    """Who wrote the program, and until when it stands."""

    name: str
    role: str
    on: date | None
    review_on: date | None

    @property
    def who(self) -> str:
        """Name and role, as far as they are written."""
        return ", ".join(part for part in (self.name, self.role) if part)


class Reach(StrEnum):
    """When someone must be within reach of the person."""

    ALWAYS = "always"
    FIRST = "first session"
    NOT_NEEDED = "not needed"


@dataclass(frozen=True, slots=True)
class Program:
    """A whole program file."""

    id: str
    """The file's stem: what the logbook calls it."""
    title: str
    language: str
    written_by: WrittenBy
    affected: str
    """"left", "right", or empty."""
    within_reach: Reach
    call: str
    """Whom to call when something is wrong, in words to be spoken; empty if not written."""
    cautions: str
    """Read aloud before the first session, on request after."""
    screen: tuple[ScreenQuestion, ...]
    ask_pain: AskAfter
    ask_effort: AskAfter
    ask_reps: AskAfter
    limits: Limits
    schedule: Schedule
    exercises: tuple[Exercise, ...]
    digest: str
    """SHA-256 of the file's bytes, in hex: which version a session ran."""
    warnings: tuple[str, ...] = ()
    """What the loader found missing, one sentence each; nothing depends on them."""

    def exercise(self, exercise_id: str) -> Exercise:
        """Return the exercise of that id; KeyError if there is none."""
        return _by_id(self.exercises)[exercise_id]


def _by_id(exercises: tuple[Exercise, ...]) -> Mapping[str, Exercise]:
    return {exercise.id: exercise for exercise in exercises}
