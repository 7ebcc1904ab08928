"""The figures of a review, each with what it rests on."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, datetime

from coach.logbook import SessionRecord
from coach.logbook.logged import LoggedSession
from coach.program.model import Limits
from coach.session.past import Decision
from coach.session.proposals import Proposal


@dataclass(frozen=True, slots=True)
class LeftOut:
    """Something that the figures do not hold, or hold with a doubt."""

    file: str
    line: int
    """From 1; 0: the whole file."""
    key: str
    """Key of its wording, "left_...", or empty: `text` says it."""
    text: str = ""
    counted: bool = False
    """True: the session is counted all the same."""


@dataclass(frozen=True, slots=True)
class Pain:
    """A pain as it was told: a number is a span of one."""

    low: int
    high: int


@dataclass(frozen=True, slots=True)
class Visit:
    """One session that counts, with what is asked of it over and over."""

    session: LoggedSession
    file: str
    began: datetime
    """Local time."""
    limits: Limits | None
    """Of the very program version that it ran; None: that version was not kept."""
    before: Pain | None
    """Highest pain told before the first set; programs do not ask, so it is there when the person brought it up."""
    during: Pain | None
    """Highest pain told after a set that was not the last, or at a halt."""
    after: Pain | None
    """Pain told after the last set that was asked about."""
    worse: bool | None
    """What was said at the next session about the morning after; None: it was not asked, or not answered."""
    effort: int | None
    """Highest effort told."""
    tension_prescribed_s: float | None
    """Seconds under tension of the plan of the day; None: it cannot be known."""

    @property
    def record(self) -> SessionRecord:
        """All that is known of it."""
        return self.session.record

    @property
    def day(self) -> date:
        """Day of the session, local."""
        return self.began.date()

    @property
    def worked(self) -> bool:
        """Whether a set began."""
        return bool(self.record.sets)

    @property
    def tension_s(self) -> float:
        """Seconds under tension that ran."""
        return sum(one.tension_s or 0.0 for one in self.record.sets)

    @property
    def highest(self) -> Pain | None:
        """Highest pain told."""
        return worst(self.before, self.during, self.after)


@dataclass(frozen=True, slots=True)
class Week:
    """Seven days."""

    begins: date
    due: int
    done: int
    """Sessions in which work began."""
    tension_prescribed_s: float
    tension_s: float
    """Both of the sessions whose prescribed time is known."""
    at_once: int
    """Questions answered at the first asking."""
    again: int
    unanswered: int


@dataclass(frozen=True, slots=True)
class Adherence:
    """Sessions held against the schedule of the program."""

    due: int
    """Days on which a session was due, up to and with the day before the review; the day itself only if it was done."""
    done: int
    """Sessions in which work began."""
    came: int
    """Sessions that were started, work or not."""
    last: date | None
    """Day of the last session, of any time."""
    missed_since: int
    """Days after it on which one was due."""


@dataclass(frozen=True, slots=True)
class AmountFigures:
    """Work in one unit, summed: three figures that are never one."""

    unit: str
    prescribed: int
    """By the plan of each day, before anything was eased."""
    counted: int
    stated: int
    """What the person said they did, over the sets in which they said it."""
    sets_stated: int
    counted_where_stated: int
    """What the coach counted in those sets, to hold `stated` against."""
    sets_unknown: int
    """Sets of which it is not known how much was done (the program died in them)."""


@dataclass(frozen=True, slots=True)
class WorkFigures:
    """Sets, amounts and time under tension, summed."""

    sets_prescribed: int
    sets_begun: int
    sets_in_full: int
    amounts: tuple[AmountFigures, ...]
    tension_prescribed_s: float
    tension_s: float
    tension_unknown: int
    """Sessions whose prescribed time under tension cannot be known; neither of their times is in the two sums."""
    sessions: int


@dataclass(frozen=True, slots=True)
class Mean:
    """An average, with how many sessions it rests on."""

    value: float
    sessions: int


@dataclass(frozen=True, slots=True)
class PainFigures:
    """Pain over all sessions. A band counts as its highest."""

    first: Mean | None
    """Mean of the highest of each session, over the first days."""
    last: Mean | None
    """The same over the last days; None: the time is too short for two stretches."""
    highest: Pain | None
    above: int
    """Sessions with pain above what ends a session."""
    eased: int
    """Sessions with pain in the band that eases."""
    unknown: int
    """Sessions with pain whose limits are not known."""
    told: int
    """Sessions in which pain was told at all."""
    unanswered: int
    """Questions about pain without an answer; never taken for no pain."""
    worse: int
    """Mornings after that were worse."""
    mornings: int
    """Mornings after that were asked about and answered."""


@dataclass(frozen=True, slots=True)
class Halts:
    """Halts and why."""

    causes: tuple[tuple[str, int], ...]
    """Cause and how often, most often first."""
    exercises: tuple[tuple[str, int], ...]
    """Id of the exercise (empty: outside one) and how often."""
    sessions: int
    """Sessions with a halt."""


@dataclass(frozen=True, slots=True)
class CoursePoint:
    """An exercise in one session."""

    visit: Visit
    level: str
    """Id of the level of its last set."""
    place: int | None
    """How hard the level is, 1 the easiest, by the program version of that session; None: not known there."""
    prescribed: int
    """Of a set, all sides together."""
    counted: tuple[int, ...]
    """Of each set."""


@dataclass(frozen=True, slots=True)
class Course:
    """One exercise over time."""

    program: str
    exercise: str
    name: str
    unit: str
    levels: tuple[str, ...]
    """Of the program's latest kept version, easiest first; empty: not known."""
    points: tuple[CoursePoint, ...]
    halts: int
    gone: bool
    """The program's latest kept version has no such exercise any more."""


@dataclass(frozen=True, slots=True)
class EasedBy:
    """What was made easier by one rule."""

    because: str
    exercise: str
    what: str
    times: int
    sessions: int
    last: Visit


@dataclass(frozen=True, slots=True)
class EarFigures:
    """What one ear noticed."""

    ear: str
    heard: int
    used: int
    unclear: int
    sessions: int
    """Sessions in which it noticed anything."""


@dataclass(frozen=True, slots=True)
class HearingFigures:
    """How well replies were heard."""

    ears: tuple[EarFigures, ...]
    asked: int
    """Questions that were put."""
    at_once: int
    """Of these, answered at the first asking, the answer left to stand."""
    again: int
    """Answered after more than one asking or reading back."""
    unanswered: int
    left_out: int
    """Questions not put because numbers are not heard well."""
    denied: int
    """Answers that were read back and did not stand."""
    holds: int
    """Times the work was held because somebody spoke and nobody understood."""
    ladder: int
    """Sessions in which pain was placed by yes and no."""
    sessions: int


@dataclass(frozen=True, slots=True)
class Wrong:
    """Something that went wrong, with the sessions in which it did."""

    key: str
    """Key of its wording, "wrong_..."."""
    name: str
    """What it is about: an exercise, an end, a device; may be empty."""
    visits: tuple[Visit, ...]
    """Oldest first; one entry for each time."""


@dataclass(frozen=True, slots=True)
class Review:
    """All that is told of one person."""

    person: str
    today: date
    since: date | None
    visits: tuple[Visit, ...]
    weeks: tuple[Week, ...]
    adherence: Adherence
    work: WorkFigures
    pain: PainFigures
    effort: Mean | None
    halts: Halts
    courses: tuple[Course, ...]
    eased: tuple[EasedBy, ...]
    hearing: HearingFigures
    devices: tuple[tuple[str, int], ...]
    """What happened to microphone and speaker, and how often."""
    wrong: tuple[Wrong, ...]
    proposals: tuple[Proposal, ...]
    decisions: tuple[Decision, ...]
    left_out: tuple[LeftOut, ...]
    review_on: date | None
    """The day on which the program of the last session is to be looked at again; None: not known."""
    versions_missing: int
    """Sessions whose program version was not kept."""


def worst(*pains: Pain | None) -> Pain | None:
    """Return the pain that reaches highest; None if none was told."""
    return max((pain for pain in pains if pain), key=lambda pain: (pain.high, pain.low), default=None)
