"""What the records of one person come to: pure figures for whoever reads the review.

Prescribed (the plan of the day), counted (by the coach) and stated (by the person) are never added to each other. Each
figure knows the sessions that it rests on. What cannot be used is listed, never silently dropped.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from statistics import fmean

from coach.logbook import PlannedExercise, SessionRecord, SetRecord
from coach.logbook.assembled import edge, is_pain
from coach.logbook.decisions import local_moment
from coach.logbook.kinds import Answer
from coach.program.model import Exercise, Hold, Limits, Program, steps
from coach.review.due import due_days
from coach.session.lines import NO_TENSION
from coach.session.past import Decision
from coach.session.plan import NEXT_DAY
from coach.session.progress import Proposal

UNITS = ("reps", "seconds", "rounds")

CLOCK_JUMP = 300.0
"""Seconds by which the clock of the day may run away from the session's own time before it is said."""

STRETCH = 14
"""Days at the beginning and at the end that are held against each other."""


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

    record: SessionRecord
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
    """Day of the last session."""


@dataclass(frozen=True, slots=True)
class Amount:
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
class Work:
    """Sets, amounts and time under tension, summed."""

    sets_prescribed: int
    sets_begun: int
    sets_in_full: int
    amounts: tuple[Amount, ...]
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
class Point:
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
    points: tuple[Point, ...]
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
class Hearing:
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
    work: Work
    pain: PainFigures
    effort: Mean | None
    halts: Halts
    courses: tuple[Course, ...]
    eased: tuple[EasedBy, ...]
    hearing: Hearing
    devices: tuple[tuple[str, int], ...]
    """What happened to microphone and speaker, and how often."""
    wrong: tuple[Wrong, ...]
    proposals: tuple[Proposal, ...]
    decisions: tuple[Decision, ...]
    left_out: tuple[LeftOut, ...]
    versions_missing: int
    """Sessions whose program version was not kept."""


Files = Sequence[tuple[str, SessionRecord]]
"""Name of the file and the record in it."""


def review(
    person: str,
    files: Files,
    *,
    programs: Mapping[str, Program],
    now: datetime,
    since: date | None = None,
    problems: Iterable[LeftOut] = (),
    proposals: Sequence[Proposal] = (),
    decisions: Sequence[Decision] = (),
) -> Review:
    """Return the review of `person`, at local time `now`, of the sessions from `since` on.

    `programs` are the kept versions, by digest; `problems` what reading the files found. The order of `files` is
    without meaning.
    """
    visits, left_out = sort_out(person, files, programs, now)
    due = due_days([visit.record for visit in visits], programs, now.date())
    first = since or min((visit.day for visit in visits), default=now.date())
    shown = tuple(visit for visit in visits if visit.day >= first)
    courses = _courses(shown, programs)
    adherence = Adherence(
        due=sum(day >= first for day in due),
        done=sum(visit.worked for visit in shown),
        came=len(shown),
        last=max((visit.day for visit in visits), default=None),
    )
    return Review(
        person=person,
        today=now.date(),
        since=since,
        visits=shown,
        weeks=_weeks(shown, [day for day in due if day >= first], first, now.date()),
        adherence=adherence,
        work=_work(shown),
        pain=_pain(shown, first, now.date()),
        effort=_mean([visit.effort for visit in shown]),
        halts=_halts(shown),
        courses=courses,
        eased=_eased(shown),
        hearing=_hearing(shown),
        devices=_counts(what for visit in shown for _, what in visit.record.devices),
        wrong=_wrong(shown, courses),
        proposals=tuple(proposals),
        decisions=tuple(one for one in decisions if one.day >= first),
        left_out=tuple(sorted({*problems, *left_out}, key=lambda one: (one.file, one.line, one.key, one.text))),
        versions_missing=sum(visit.limits is None for visit in shown),
    )


# -- which sessions count ---------------------------------------------------------------------------------------------


def sort_out(
    person: str, files: Files, programs: Mapping[str, Program], now: datetime
) -> tuple[tuple[Visit, ...], tuple[LeftOut, ...]]:
    """Return the sessions that count, oldest first, and what is said about those that do not, or only with a doubt."""
    left_out: list[LeftOut] = []
    fit: dict[str, tuple[str, SessionRecord, datetime]] = {}
    for file, record in sorted(files, key=lambda one: (one[1].began, one[0])):
        began = local_moment(record.began)
        if began is None:
            left_out.append(LeftOut(file, 1, "left_no_time"))
        elif not record.person:
            left_out.append(LeftOut(file, 1, "left_nobody"))
        elif record.person != person:
            left_out.append(LeftOut(file, 1, "left_another", record.person))
        elif began > now:
            left_out.append(LeftOut(file, 1, "left_future", record.began))
        elif record.session in fit:
            left_out.append(LeftOut(file, 1, "left_copy", fit[record.session][0]))
        else:
            fit[record.session] = (file, record, began)
    known = sorted(fit.values(), key=lambda one: (one[2], one[0]))
    mornings = _mornings([record for _, record, _ in known])
    visits = [
        _visit(file, record, began, programs.get(record.digest), mornings.get(record.session))
        for file, record, began in known
    ]
    return tuple(visits), (*left_out, *_jumps(visits))


def _jumps(visits: Sequence[Visit]) -> list[LeftOut]:
    """Find sessions whose clock ran away, or that began before the one before them had ended."""
    found = []
    until: datetime | None = None
    for visit in visits:
        record, ended = visit.record, local_moment(visit.record.ended)
        if until is not None and visit.began < until:
            found.append(LeftOut(visit.file, 1, "left_overlap", counted=True))
        if ended is None:
            continue
        took = (ended - visit.began).total_seconds()
        if abs(took - record.seconds) > CLOCK_JUMP and record.why != "interrupted":  # that is closed much later
            found.append(LeftOut(visit.file, 0, "left_clock", counted=True))
        elif record.why != "interrupted":
            until = ended if until is None else max(until, ended)
    return found


def _mornings(records: Sequence[SessionRecord]) -> dict[str, bool]:
    """For each session the answer about the morning after it, which the next session of its program holds."""
    told: dict[str, bool] = {}
    before: dict[str, str] = {}
    for record in records:
        answer = next((one.value for one in reversed(record.questions) if one.question == f"screen.{NEXT_DAY}"), None)
        if isinstance(answer, bool) and record.program in before:
            told[before[record.program]] = answer
        if record.sets:
            before[record.program] = record.session
    return told


def _visit(file: str, record: SessionRecord, began: datetime, program: Program | None, worse: bool | None) -> Visit:
    asked = [one for one in record.questions if is_pain(one.question) and one.answered]
    before = [one.value for one in asked if not one.set_id] + [halt.pain for halt in record.halts if not halt.set_id]
    behind_sets = [one for one in asked if one.question == "pain" and one.set_id]
    last = behind_sets[-1:]
    during = [one.value for one in asked if one.set_id and one not in last] + [
        halt.pain for halt in record.halts if halt.set_id
    ]
    efforts = [one.effort for one in record.sets if isinstance(one.effort, int)]
    return Visit(
        record,
        file,
        began,
        program.limits if program else None,
        before=worst(*map(span, before)),
        during=worst(*map(span, during)),
        after=worst(*(span(one.value) for one in last)),
        worse=worse,
        effort=max(efforts, default=None),
        tension_prescribed_s=_prescribed_tension(record, program),
    )


def span(pain: Answer) -> Pain | None:
    """Return the pain that an answer tells of; None: it tells of none, which is not no pain."""
    high = edge(pain)
    if high is None:
        return None
    low = pain.partition("-")[0] if isinstance(pain, str) else ""
    return Pain(int(low) if low.isdecimal() else high, high)


def worst(*pains: Pain | None) -> Pain | None:
    """Return the pain that reaches highest; None if none was told."""
    return max((pain for pain in pains if pain), key=lambda pain: (pain.high, pain.low), default=None)


def _sides(planned: PlannedExercise) -> int:
    """Return how many sides work in one set: a hold cannot change sides in its middle."""
    return 2 if planned.sides == "alternating" and planned.unit != "seconds" else 1


def prescribed(planned: PlannedExercise) -> int:
    """Return what the plan of the day asks of one set, all sides together."""
    return planned.target * _sides(planned)


def _prescribed_tension(record: SessionRecord, program: Program | None) -> float | None:
    """Return the seconds under tension that the plan of the day comes to; None if one exercise's cannot be known."""
    total = 0.0
    for planned in record.plan:
        each = _tension_of_a_set(planned, program) or _tension_as_begun(planned, record)
        if each is None:
            return None
        total += planned.sets * each
    return total if record.plan else None


def _tension_of_a_set(planned: PlannedExercise, program: Program | None) -> float | None:
    exercise = _exercise(program, planned.exercise)
    level = next((one for one in exercise.levels if one.id == planned.level), None) if exercise else None
    if level is None:
        return None
    work = level.dose.work
    once = 1.0 if isinstance(work, Hold) else sum(step.seconds for step in steps(work) if step.name != NO_TENSION)
    return once * prescribed(planned)


def _tension_as_begun(planned: PlannedExercise, record: SessionRecord) -> float | None:
    """Return it from a set of that exercise at the planned level: the tempo is the same whatever the number."""
    for one in record.sets:
        if one.exercise == planned.exercise and one.level == planned.level and one.tension_planned_s is not None:
            return one.tension_planned_s / max(1, one.planned_high) * prescribed(planned)
    return None


def _exercise(program: Program | None, exercise: str) -> Exercise | None:
    return next((one for one in program.exercises if one.id == exercise), None) if program else None


# -- figures ----------------------------------------------------------------------------------------------------------


def _weeks(visits: Sequence[Visit], due: Sequence[date], first: date, today: date) -> tuple[Week, ...]:
    weeks = []
    for number in range(((today - first).days // 7) + 1 if visits else 0):
        begins = first + timedelta(days=7 * number)
        inside = [visit for visit in visits if begins <= visit.day < begins + timedelta(days=7)]
        known = [visit for visit in inside if visit.tension_prescribed_s is not None]
        weeks.append(
            Week(
                begins,
                due=sum(begins <= day < begins + timedelta(days=7) for day in due),
                done=sum(visit.worked for visit in inside),
                tension_prescribed_s=sum(visit.tension_prescribed_s or 0.0 for visit in known),
                tension_s=sum(visit.tension_s for visit in known),
            )
        )
    return tuple(weeks)


def _work(visits: Sequence[Visit]) -> Work:
    sets = [one for visit in visits for one in visit.record.sets]
    plans = [planned for visit in visits for planned in visit.record.plan]
    known = [visit for visit in visits if visit.tension_prescribed_s is not None]
    return Work(
        sets_prescribed=sum(planned.sets for planned in plans),
        sets_begun=len(sets),
        sets_in_full=sum(one.in_full for one in sets),
        amounts=tuple(amount for unit in UNITS if (amount := _amount(unit, plans, sets)).prescribed or amount.counted),
        tension_prescribed_s=sum(visit.tension_prescribed_s or 0.0 for visit in known),
        tension_s=sum(visit.tension_s for visit in known),
        tension_unknown=len(visits) - len(known),
        sessions=len(visits),
    )


def _amount(unit: str, plans: Sequence[PlannedExercise], sets: Sequence[SetRecord]) -> Amount:
    mine = [one for one in sets if one.unit == unit]
    stated = [one for one in mine if one.stated is not None]
    return Amount(
        unit,
        prescribed=sum(planned.sets * prescribed(planned) for planned in plans if planned.unit == unit),
        counted=sum(one.counted or 0 for one in mine),
        stated=sum(one.stated or 0 for one in stated),
        sets_stated=len(stated),
        counted_where_stated=sum(one.counted or 0 for one in stated),
        sets_unknown=sum(one.counted is None for one in mine),
    )


def _mean(values: Iterable[int | None]) -> Mean | None:
    known = [value for value in values if value is not None]
    return Mean(fmean(known), len(known)) if known else None


def _pain(visits: Sequence[Visit], first: date, today: date) -> PainFigures:
    highest = [(visit, visit.highest) for visit in visits]
    early = [pain.high for visit, pain in highest if pain and visit.day < first + timedelta(days=STRETCH)]
    late = [pain.high for visit, pain in highest if pain and visit.day > today - timedelta(days=STRETCH)]
    told = [(visit, pain) for visit, pain in highest if pain]
    bounded = [(visit.limits, pain) for visit, pain in told if visit.limits]
    apart = (today - first).days >= 2 * STRETCH
    mornings = [visit.worse for visit in visits if visit.worse is not None]
    return PainFigures(
        first=_mean(early),
        last=_mean(late) if apart else None,
        highest=worst(*(pain for _, pain in told)),
        above=sum(pain.high > limits.pain_ease_to for limits, pain in bounded),
        eased=sum(limits.pain_carry_on_to < pain.high <= limits.pain_ease_to for limits, pain in bounded),
        unknown=len(told) - len(bounded),
        told=len(told),
        unanswered=sum(
            is_pain(one.question) and not one.answered for visit in visits for one in visit.record.questions
        ),
        worse=sum(mornings),
        mornings=len(mornings),
    )


def _halts(visits: Sequence[Visit]) -> Halts:
    halts = [halt for visit in visits for halt in visit.record.halts]
    return Halts(
        _counts(halt.why or "unexplained" for halt in halts),
        _counts(halt.exercise for halt in halts),
        sum(bool(visit.record.halts) for visit in visits),
    )


def _counts(names: Iterable[str]) -> tuple[tuple[str, int], ...]:
    return tuple(sorted(Counter(names).items(), key=lambda one: (-one[1], one[0])))


def _courses(visits: Sequence[Visit], programs: Mapping[str, Program]) -> tuple[Course, ...]:
    keys = dict.fromkeys((visit.record.program, one.exercise) for visit in visits for one in visit.record.sets)
    return tuple(_course(program, exercise, visits, programs) for program, exercise in keys)


def _course(program: str, exercise: str, visits: Sequence[Visit], programs: Mapping[str, Program]) -> Course:
    mine = [visit for visit in visits if visit.record.program == program]
    done = [visit for visit in mine if any(one.exercise == exercise for one in visit.record.sets)]
    latest = next((programs[v.record.digest] for v in reversed(mine) if v.record.digest in programs), None)
    known = _exercise(latest, exercise)
    sets = [one for visit in done for one in visit.record.sets if one.exercise == exercise]
    return Course(
        program,
        exercise,
        name=known.name if known else done[-1].record.name_of(exercise),
        unit=sets[-1].unit,
        levels=tuple(level.id for level in known.levels) if known else (),
        points=tuple(_point(visit, exercise, programs.get(visit.record.digest)) for visit in done),
        halts=sum(halt.exercise == exercise for visit in mine for halt in visit.record.halts),
        gone=latest is not None and known is None,
    )


def _point(visit: Visit, exercise: str, program: Program | None) -> Point:
    sets = [one for one in visit.record.sets if one.exercise == exercise]
    planned = next((one for one in visit.record.plan if one.exercise == exercise), None)
    known = _exercise(program, exercise)
    ids = [level.id for level in known.levels] if known else []
    level = sets[-1].level
    return Point(
        visit,
        level,
        ids.index(level) + 1 if level in ids else None,
        prescribed(planned) if planned else sets[0].planned_high,
        tuple(one.counted for one in sets if one.counted is not None),
    )


def _eased(visits: Sequence[Visit]) -> tuple[EasedBy, ...]:
    by: dict[tuple[str, str, str], list[Visit]] = {}
    for visit in visits:
        for step in visit.record.steps:
            by.setdefault((step.because, step.exercise, step.what), []).append(visit)
    found = [EasedBy(*key, len(seen), len({v.record.session for v in seen}), seen[-1]) for key, seen in by.items()]
    return tuple(sorted(found, key=lambda one: (-one.times, one.because, one.exercise, one.what)))


def _hearing(visits: Sequence[Visit]) -> Hearing:
    ears: dict[str, list[int]] = {}
    for visit in visits:
        for one in visit.record.heard:
            sums = ears.setdefault(one.ear, [0, 0, 0, 0])
            ears[one.ear] = [a + b for a, b in zip(sums, (one.heard, one.used, one.unclear, 1), strict=True)]
    questions = [one for visit in visits for one in visit.record.questions]
    put = [one for one in questions if not one.because]
    answered = [one for one in put if one.answered]
    return Hearing(
        tuple(EarFigures(ear, *sums) for ear, sums in sorted(ears.items())),
        asked=len(put),
        at_once=sum(one.times <= 1 for one in answered),
        again=sum(one.times > 1 for one in answered),
        unanswered=len(put) - len(answered),
        left_out=len(questions) - len(put),
        denied=sum(visit.record.denied for visit in visits),
        holds=sum(visit.record.holds for visit in visits),
        ladder=sum(visit.record.ladder for visit in visits),
        sessions=len(visits),
    )


# -- what went wrong --------------------------------------------------------------------------------------------------

AS_MEANT = frozenset({"done", "asked"})
"""Ends of a session that need no look."""


def _wrong(visits: Sequence[Visit], courses: Sequence[Course]) -> tuple[Wrong, ...]:
    """Gather what went wrong, the gravest kind first."""
    found: dict[tuple[str, str], list[Visit]] = {}

    def note(key: str, visit: Visit, name: str = "", times: int = 1) -> None:
        found.setdefault((key, name), []).extend([visit] * times)

    for visit in visits:
        record = visit.record
        if record.why not in AS_MEANT:
            note("wrong_end", visit, record.why or "missing")
        for halt in record.halts:
            if halt.why in ("pain", "unsteady"):
                note(f"wrong_halt_{halt.why}", visit, halt.exercise)
        if visit.worse:
            note("wrong_morning", visit)
        unanswered = sum(is_pain(one.question) and not one.answered for one in record.questions)
        if unanswered:
            note("wrong_unanswered", visit, times=unanswered)
        for one in record.sets:
            if one.stated is not None and one.counted is not None and one.stated < one.counted:
                note("wrong_fewer", visit, one.exercise)
        for exercise, why in record.exercise_ends:
            if why == "cut_sets":
                note("wrong_cut", visit, exercise)
        for _, what in record.devices:
            if what.endswith("_lost"):
                note("wrong_device", visit, what)
    for course in courses:
        if course.gone:
            note("wrong_gone", course.points[-1].visit, course.exercise)
    order = {key: place for place, key in enumerate(WRONG)}
    return tuple(
        Wrong(key, name, tuple(seen))
        for (key, name), seen in sorted(found.items(), key=lambda one: (order[one[0][0]], -len(one[1]), one[0][1]))
    )


WRONG = (
    "wrong_end", "wrong_halt_pain", "wrong_halt_unsteady", "wrong_morning", "wrong_unanswered", "wrong_cut",
    "wrong_fewer", "wrong_device", "wrong_gone",
)  # fmt: skip
"""What can go wrong, in the order in which it is told."""
