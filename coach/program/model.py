"""The program as the therapist wrote it: frozen values with their units."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date
from enum import StrEnum
from typing import ClassVar

from coach.loglines.reasons import Unit, WorkKind

SCALE_END = 10
"""The worst pain or the hardest effort on the numeric rating scale, which begins at 0."""

SCALE = range(SCALE_END + 1)
"""Every number that can be stated for pain or effort."""

NO_TENSION = "rest"
"""A phase of this name is not time under tension."""


class Sides(StrEnum):
    """Which side works, and in what order."""

    BOTH = "both together"
    EACH = "one after the other"
    ALTERNATING = "alternating"
    AFFECTED = "affected only"


class Guide(StrEnum):
    """How the slow phase is guided: by counting aloud, by a falling tone, by both, or by neither."""

    TONE = "tone"
    COUNT = "count"
    BOTH = "both"
    QUIET = "quiet"


class Action(StrEnum):
    """What a limit or a screen answer does, from mild to strict."""

    NOTE = "note"
    EASE = "ease"
    STEP_DOWN = "step_down"
    EASE_THE_DAY = "ease_the_day"
    END_SET = "end_set"
    END_EXERCISE = "end_exercise"
    END_SESSION = "end_session"
    HOLD = "hold"


class AskAfter(StrEnum):
    """When a question about a set is asked."""

    EACH_SET = "each set"
    EACH_EXERCISE = "each exercise"
    NEVER = "never"


@dataclass(frozen=True, slots=True)
class Range:
    """From `low` to `high`, both included, in the unit of the field that holds it."""

    low: int
    high: int
    steady: bool = False
    """True for "as many as stay steady, 8 to 15": the person ends the set. It begins at `low`, and never asks for more
    than `high`, nor for more than a step above what was done last."""


@dataclass(frozen=True, slots=True)
class Phase:
    """A named, timed part of a rep."""

    name: str
    """Said when it begins: "lower"."""
    seconds: float
    """Its length; a session never makes it shorter."""
    own_pace: bool = False
    """True: it has no tempo; `seconds` is the time that the coach leaves for it."""


@dataclass(frozen=True, slots=True)
class Point:
    """A named place of a route and the time to reach it."""

    name: str
    """Said when it is due: "ahead"."""
    seconds: float
    """Time to reach it (and to come back, if the cue says so)."""


@dataclass(frozen=True, slots=True)
class Reps:
    """Repetitions with named phases."""

    count: Range
    """Reps of a set; for alternating sides, on each side."""
    phases: tuple[Phase, ...]
    slow: str
    """Name of the phase that must not be rushed (usually the lowering); empty: every phase is at the person's pace."""
    guide: Guide

    kind: ClassVar[WorkKind] = "reps"
    unit: ClassVar[Unit] = "reps"

    @property
    def amount(self) -> Range:
        """How many a set asks for, in `unit`."""
        return self.count

    @property
    def steps(self) -> tuple[Phase | Point, ...]:
        """The phases of one rep, in order."""
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
        """The points of one round, in order."""
        return self.points


Work = Reps | Hold | Route

UNIT_OF: dict[WorkKind, Unit] = {work.kind: work.unit for work in (Reps, Hold, Route)}
"""Kind of work to the unit its sets are counted in."""


def tension_of_one(work: Work) -> float:
    """Return the seconds under tension of one rep, round or second of a hold, as written."""
    if isinstance(work, Hold):
        return 1.0
    return sum(step.seconds for step in work.steps if step.name != NO_TENSION)


@dataclass(frozen=True, slots=True)
class Dose:
    """How much work: sets, rest, and the work of one set."""

    sets: int
    rest: float
    """Seconds between two sets; a session never makes it shorter."""
    work: Work
    change_sides: float
    """Seconds to change sides, if one side works after the other."""


@dataclass(frozen=True, slots=True)
class Level:
    """One variant of an exercise; its first level is the easiest."""

    id: str
    setup: str
    """How to get into position; said before each exercise."""
    cue: str
    """What to do, in one or two sentences."""
    feel: str
    """Where the work should be felt; empty if not written."""
    watch: tuple[str, ...]
    """The usual mistakes; the coach mentions one in some of the rests."""
    needs: tuple[str, ...]
    """Equipment beyond that of the exercise."""
    dose: Dose


@dataclass(frozen=True, slots=True)
class StepUp:
    """When the coach proposes a harder level to the clinician, who decides; it never steps up by itself."""

    sessions: int
    """Consecutive sessions that must meet the rule."""
    at_top: bool
    """True: every set reaches the top of the range; False: at least its bottom."""
    pain_to: int
    """Highest pain allowed, 0-10."""
    effort_to: int
    """Highest effort allowed, 0-10."""
    days: int
    """Days that sessions in a row without too much pain or unsteadiness must span."""
    unsteady: bool
    """True: unsteadiness is allowed; False (the default): it is not."""


@dataclass(frozen=True, slots=True)
class Joins:
    """The condition of an exercise that waits until another one is steady."""

    exercise: str
    """Id of the other exercise."""
    steady_sessions: int
    """Number of sessions in a row in which the other must have been steady."""
    days: int
    """Days that sessions in a row of the other must span, without too much pain or unsteadiness."""
    by_itself: bool
    """True: it joins by itself once that is so; False (the default): the clinician decides."""


@dataclass(frozen=True, slots=True)
class Exercise:
    """One exercise with its levels, easiest first."""

    id: str
    name: str
    why: str
    """Said when the person asks "why"; empty if not written."""
    needs: tuple[str, ...]
    sides: Sides
    levels: tuple[Level, ...]
    start_level: str
    """Id of the level a new person begins at."""
    step_up: StepUp | None
    joins_after: Joins | None
    this_side: str = ""
    """What the side does that is named, such as "leg stands"; empty if not written."""
    other_side: str = ""
    """What the other side does meanwhile, such as "foot reaches"; empty if not written."""


@dataclass(frozen=True, slots=True)
class ScreenQuestion:
    """A yes-or-no question asked before every session."""

    id: str
    ask: str
    answer: bool
    """The answer that triggers `action`: True for yes."""
    action: Action
    """NOTE, EASE, END_SESSION (and no other session that day) or HOLD (none until the clinician clears it)."""


@dataclass(frozen=True, slots=True)
class HoldRule:
    """In how many sessions within how many days something must happen for the person to be put on hold."""

    times: int
    """0: never."""
    days: int


NO_HOLD = HoldRule(0, 1)
"""The rule that puts nobody on hold."""


@dataclass(frozen=True, slots=True)
class Limits:
    """The clinician's limits; the defaults are cautious, and the schema marks them as defaults."""

    pain_carry_on_to: int
    """Pain 0-10 up to which the work goes on as planned."""
    pain_ease_to: int
    """Pain 0-10 up to which the work is eased; above it the session ends."""
    effort_ease_above: int
    """Effort 0-10 above which the next sets are eased; with 10 they never are."""
    unsteady: Action
    """EASE_THE_DAY (the exercise ends, and every one to come begins at the bottom of its range), STEP_DOWN (the same,
    but the exercise goes on at an easier level), END_EXERCISE (what comes is as planned) or END_SESSION."""
    tired: Action
    """EASE, END_SET, END_EXERCISE or END_SESSION."""
    cut_sets: int
    """Number of sets cut short after which the exercise ends."""
    next_day_worse: Action
    """What more pain on the morning after does: NOTE, EASE, STEP_DOWN or END_SESSION (no session today)."""
    halts: int
    """Number of halts at which the session ends."""
    minutes: int
    """Minutes after which no new set begins."""
    hold_after_pain: HoldRule
    """When pain above `pain_ease_to` puts the person on hold."""
    hold_after_unsteady: HoldRule
    """When unsteadiness puts the person on hold."""


class AfterGap(StrEnum):
    """Where an exercise begins again after a gap."""

    LEVEL_DOWN = "one level down"
    BOTTOM = "bottom of the range"


@dataclass(frozen=True, slots=True)
class Schedule:
    """How often the person trains, and what counts as a gap."""

    every_days: int
    """Days from one session to the next."""
    after_sore_days: int
    """Days to the next session if pain was worse on the day after."""
    gap_days: int
    """Days without a session that count as a gap; as many days without a calm one count as lasting trouble."""
    after_gap: AfterGap
    """Where an exercise begins after a gap or lasting trouble; the easiest level always begins at the bottom of its
    range."""


@dataclass(frozen=True, slots=True)
class WrittenBy:
    """Who wrote the program, when, and when it must be reviewed."""

    name: str
    role: str
    on: date | None
    review_on: date | None

    @property
    def who(self) -> str:
        """Name and role; a missing one is left out."""
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
    """The file's name without its ending; the logbook uses it as the program's id."""
    title: str
    language: str
    written_by: WrittenBy
    affected: str
    """"left", "right", or empty."""
    within_reach: Reach
    call: str
    """Spoken sentence that says whom to call when something is wrong; empty if not written."""
    cautions: str
    """Read aloud before the first session, later on request."""
    screen: tuple[ScreenQuestion, ...]
    ask_pain: AskAfter
    ask_effort: AskAfter
    ask_reps: AskAfter
    ask_goals_days: int
    """Days until a goal is asked about again."""
    limits: Limits
    schedule: Schedule
    exercises: tuple[Exercise, ...]
    digest: str
    """SHA-256 of the file's bytes, in hexadecimal: it tells which version a session ran."""
    warnings: tuple[str, ...] = ()
    """One sentence for each thing the loader found missing; no decision depends on them."""

    def exercise(self, exercise_id: str) -> Exercise:
        """Return the exercise of that id; KeyError if there is none."""
        return _by_id(self.exercises)[exercise_id]


def _by_id(exercises: tuple[Exercise, ...]) -> Mapping[str, Exercise]:
    return {exercise.id: exercise for exercise in exercises}
