"""The figures of a review, each with what it rests on."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, datetime

from coach.logbook import SessionRecord
from coach.logbook.logged import Brief, LoggedSession
from coach.logbook.pain import Pain, worst
from coach.logbook.tallied import Tally
from coach.program.model import Limits, Program
from coach.review.due import Adherence, Came
from coach.review.urgency import WhyLook
from coach.session.past import Clear, Decision, Goal
from coach.session.progression import Lasting
from coach.session.proposals import Proposal
from coach.session.safety_holds import SafetyHold


@dataclass(frozen=True, slots=True)
class LeftOut:
    """Something left out of the figures, or counted but doubtful."""

    file: str
    line: int
    """Number of the line, from 1; 0: the whole file."""
    key: str
    """Key of its wording, "left_..."; empty: `text` holds the wording."""
    text: str = ""
    counted: bool = False
    """True: the session is counted anyway."""


@dataclass(frozen=True, slots=True)
class Visit:
    """One counted session, with the values the figures need."""

    session: LoggedSession
    file: str
    began: datetime
    """Local time."""
    program: Program | None
    """The program version that it ran; None: that version was not kept."""
    worse: bool | None
    """Answer at the next session about the morning after; None: not asked, or not answered."""
    tension_prescribed_s: float | None
    """Seconds under tension in the plan of the day; None: unknown."""

    @property
    def record(self) -> SessionRecord:
        """The whole record."""
        return self.session.record

    @property
    def tally(self) -> Tally:
        """What is added up."""
        return self.session.tally

    @property
    def brief(self) -> Brief:
        """What the plan asks of it."""
        return self.session.brief

    @property
    def limits(self) -> Limits | None:
        """Limits of the program version that it ran."""
        return self.program.limits if self.program else None

    @property
    def day(self) -> date:
        """Day of the session, local."""
        return self.began.date()

    @property
    def worked(self) -> bool:
        """Whether a set began."""
        return self.tally.sets_begun > 0

    @property
    def highest(self) -> Pain | None:
        """Highest pain stated."""
        return worst((self.tally.before, self.tally.during, self.tally.after))

    @property
    def came(self) -> Came:
        """The session as the rules of urgency ask for it."""
        brief, tally = self.brief, self.tally
        return Came(
            session=brief.session,
            began=brief.began,
            day=self.day,
            program=brief.program,
            why=brief.why,
            next_in_days=brief.next_in_days,
            worked=self.worked,
            sets_planned=sum(one.sets for one in tally.plan),
            sets_in_full=tally.sets_in_full,
            pain=self.highest.high if self.highest else None,
            worse=brief.next_day_worse,
            asked=tally.asked,
            unheard=tally.asked - tally.at_once,
        )


@dataclass(frozen=True, slots=True)
class Week:
    """Seven days."""

    begins: date
    due: int
    done: int
    """Sessions in which work began."""
    tension_prescribed_s: float
    tension_s: float
    """Both times sum only the sessions whose prescribed time is known."""
    at_once: int
    """Questions answered at the first asking."""
    again: int
    unanswered: int


@dataclass(frozen=True, slots=True)
class AmountFigures:
    """Sums of work in one unit: three separate figures that are never added."""

    unit: str
    prescribed: int
    """By the plan of each day, before any easing."""
    counted: int
    stated: int
    """Amount that the person stated, over the sets with a statement."""
    sets_stated: int
    counted_where_stated: int
    """Amount that the coach counted in the same sets, to compare with `stated`."""
    sets_unknown: int
    """Sets with an unknown amount (the program died during them)."""


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
    """Sessions with an unknown prescribed time under tension; the two sums leave these sessions out."""
    sessions: int


@dataclass(frozen=True, slots=True)
class Mean:
    """An average, with the number of sessions it rests on."""

    value: float
    sessions: int


@dataclass(frozen=True, slots=True)
class PainFigures:
    """Pain over all sessions. A band counts by its upper end."""

    first: Mean | None
    """Mean of each session's highest pain, over the first days."""
    last: Mean | None
    """The same mean over the last days; None: the period is too short for both."""
    highest: Pain | None
    above: int
    """Sessions with pain above the limit that ends a session."""
    eased: int
    """Sessions with pain in the band that eases."""
    unknown: int
    """Sessions with pain but unknown limits."""
    told: int
    """Sessions with a stated pain."""
    unanswered: int
    """Questions about pain without an answer; never counted as no pain."""
    worse: int
    """Mornings after with worse pain."""
    mornings: int
    """Mornings after with an answer."""


@dataclass(frozen=True, slots=True)
class Halts:
    """Halts and their causes."""

    causes: tuple[tuple[str, int], ...]
    """Cause and number of halts, the most frequent first."""
    exercises: tuple[tuple[str, int], ...]
    """Id of the exercise (empty: outside any) and number of halts."""
    sessions: int
    """Sessions with a halt."""


@dataclass(frozen=True, slots=True)
class CoursePoint:
    """An exercise in one session."""

    visit: Visit
    exercise: str
    level: str
    """Id of the level of its last set."""
    place: int | None
    """Rank of the level in that session's program version, 1 is the easiest; None: unknown."""
    prescribed: int
    """Amount prescribed for a set, all sides together."""
    counted: tuple[int, ...]
    """Amount counted in each set."""

    @property
    def because(self) -> str:
        """Why this level and this much, as the plan of that day said it; empty: as written."""
        return next((one.because for one in self.visit.record.plan if one.exercise == self.exercise), "")


@dataclass(frozen=True, slots=True)
class Course:
    """One exercise over time."""

    program: str
    exercise: str
    name: str
    unit: str
    levels: tuple[str, ...]
    """Levels in the program's latest kept version, easiest first; empty: unknown."""
    points: tuple[CoursePoint, ...]
    halts: int
    gone: bool
    """True: the program's latest kept version no longer has the exercise."""


@dataclass(frozen=True, slots=True)
class EasedBy:
    """The easings by one rule."""

    because: str
    exercise: str
    what: str
    times: int
    sessions: int
    last: Visit


@dataclass(frozen=True, slots=True)
class EarFigures:
    """The hearings of one ear."""

    ear: str
    heard: int
    used: int
    unclear: int
    sessions: int
    """Sessions with a hearing of this ear."""


@dataclass(frozen=True, slots=True)
class HearingFigures:
    """How well replies were heard."""

    ears: tuple[EarFigures, ...]
    asked: int
    """Questions asked."""
    at_once: int
    """Questions answered at the first asking, and the answer not corrected."""
    again: int
    """Questions answered only after a repetition or a second reading back."""
    unanswered: int
    left_out: int
    """Questions not asked because numbers are not heard well."""
    denied: int
    """Answers that were read back and rejected."""
    holds: int
    """How often the work stood still because speech was not understood."""
    ladder: int
    """Sessions in which pain was narrowed down by yes and no."""
    sessions: int


@dataclass(frozen=True, slots=True)
class Wrong:
    """Something that went wrong, with the sessions in which it did."""

    key: str
    """Key of its wording, "wrong_..."."""
    name: str
    """Its subject: an exercise, an end, a device; may be empty."""
    visits: tuple[Visit, ...]
    """Sessions, oldest first; one entry for each occurrence."""


@dataclass(frozen=True, slots=True)
class Review:
    """The review of one person."""

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
    """Event of microphone or speaker, and its number."""
    wrong: tuple[Wrong, ...]
    proposals: tuple[Proposal, ...]
    lasting: tuple[Lasting, ...]
    """Trouble with an exercise that has lasted until today."""
    holds: tuple[SafetyHold, ...]
    """Why nothing may begin today."""
    reasons: tuple[WhyLook, ...]
    """Why somebody should look, by all sessions."""
    decisions: tuple[Decision, ...]
    clears: tuple[Clear, ...]
    goals: tuple[Goal, ...]
    """What the person wants to do again."""
    left_out: tuple[LeftOut, ...]
    versions_missing: int
    """Sessions whose program version was not kept."""

    def name_of(self, exercise: str) -> str:
        """Return the name of an exercise as the person knows it, or its id."""
        return next((course.name for course in self.courses if course.exercise == exercise), exercise)
