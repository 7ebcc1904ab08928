"""Compute the figures of a review from the records of one person.

Prescribed (the plan of the day), counted (by the coach) and stated (by the person) are never added to each other. Each
figure knows the sessions that it rests on. What cannot be used is listed, never silently dropped.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Iterable, Mapping, Sequence
from datetime import date, datetime, timedelta
from statistics import fmean
from typing import TypeVar

from coach.history import past
from coach.logbook.pain import worst
from coach.logbook.tallied import ExerciseTally, Tally
from coach.program.model import UNIT_OF, Program
from coach.review.due import adherence, due_days
from coach.review.figures import (
    AmountFigures,
    Course,
    CoursePoint,
    EarFigures,
    EasedBy,
    Halts,
    HearingFigures,
    LeftOut,
    Mean,
    PainFigures,
    Review,
    Visit,
    Week,
    WorkFigures,
    Wrong,
)  # fmt: skip
from coach.review.screened import ended_by
from coach.review.sorting import Files, exercise_of, sort_out
from coach.review.urgency import Beside, reasons
from coach.session.past import Clear, Decision, Goal, PastSession
from coach.session.progression import lasting
from coach.session.proposals import proposals
from coach.session.safety_holds import SafetyHold

Found = TypeVar("Found")

STRETCH = 14
"""Days at the beginning and at the end that are compared."""


def review(
    person: str,
    files: Files,
    *,
    programs: Mapping[str, Program],
    now: datetime,
    since: date | None = None,
    problems: Iterable[LeftOut] = (),
    decisions: Sequence[Decision] = (),
    unread: Sequence[PastSession] = (),
    clears: Sequence[Clear] = (),
    goals: Sequence[Goal] = (),
    holds: tuple[SafetyHold, ...] = (),
) -> Review:
    """Return the review of `person` at local time `now`, of the sessions from `since` on.

    `programs` maps a digest to the kept version; `problems` are the faults found in the files; `unread` are the
    sessions that may be in unreadable files, and no step up is proposed past them. The order of `files` is irrelevant.
    """
    visits, left_out = sort_out(person, files, programs, now)
    came = [visit.came for visit in visits]
    due = due_days(came, now.date())
    first = since or min((visit.day for visit in visits), default=now.date())
    shown = tuple(visit for visit in visits if visit.day >= first)
    courses = _courses(shown, programs)
    steps_up = _of_programs(proposals, visits, programs, decisions, unread, now.date())
    troubled = _of_programs(lasting, visits, programs, decisions, unread, now.date())
    latest = programs.get(visits[-1].brief.digest) if visits else None
    in_use = latest.id if latest else ""
    beside = Beside(
        holds,
        steps_up=tuple(one.rests_on for program, one in steps_up if one.due and program == in_use),
        lasting=sum(program == in_use for program, _ in troubled),
        review_on=latest.written_by.review_on if latest else None,
        unread=bool(unread),
    )
    return Review(
        person=person,
        today=now.date(),
        since=since,
        visits=shown,
        weeks=_weeks(shown, [day for day in due if day >= first], first, now.date()),
        adherence=adherence(came, due, first),
        work=work_of(shown),
        pain=_pain(shown, first, now.date()),
        effort=_mean([visit.tally.effort for visit in shown]),
        halts=_halts(shown),
        courses=courses,
        eased=_eased(shown),
        hearing=_hearing(shown),
        devices=_counts(what for visit in shown for what in visit.tally.devices),
        wrong=_wrong(shown, courses),
        proposals=tuple(one for _, one in steps_up),
        lasting=tuple(one for _, one in troubled),
        holds=holds,
        reasons=reasons(came, beside, now.date(), due),
        decisions=tuple(one for one in decisions if one.day >= first),
        clears=tuple(one for one in clears if one.day >= first),
        goals=tuple(goals),
        left_out=tuple(sorted({*problems, *left_out}, key=lambda one: (one.file, one.line, one.key, one.text))),
        versions_missing=sum(visit.limits is None for visit in shown),
    )


def _of_programs(
    found_in: Callable[[Program, tuple[PastSession, ...], tuple[Decision, ...], date], tuple[Found, ...]],
    visits: Sequence[Visit],
    programs: Mapping[str, Program],
    decisions: Sequence[Decision],
    unread: Sequence[PastSession],
    today: date,
) -> tuple[tuple[str, Found], ...]:
    """Return what `found_in` finds by the latest kept version of each program, with its id, independent of `since`."""
    sessions = [visit.session for visit in visits]
    latest = {one.brief.program: programs[one.brief.digest] for one in sessions if one.brief.digest in programs}
    return tuple(
        (name, found)
        for name, program in latest.items()
        for found in found_in(
            program, past(sessions, name, unread), tuple(one for one in decisions if one.program == name), today
        )
    )


# -- figures ----------------------------------------------------------------------------------------------------------


def _weeks(visits: Sequence[Visit], due: Sequence[date], first: date, today: date) -> tuple[Week, ...]:
    inside: dict[int, list[Visit]] = {}
    for visit in visits:
        inside.setdefault((visit.day - first).days // 7, []).append(visit)
    asked = Counter((day - first).days // 7 for day in due)
    weeks = []
    for number in range(((today - first).days // 7) + 1 if visits else 0):
        mine = inside.get(number, [])
        known = [visit for visit in mine if visit.tension_prescribed_s is not None]
        hearing = _hearing(mine)
        weeks.append(
            Week(
                first + timedelta(days=7 * number),
                due=asked[number],
                done=sum(visit.worked for visit in mine),
                tension_prescribed_s=sum(visit.tension_prescribed_s or 0.0 for visit in known),
                tension_s=sum(visit.tally.tension_s for visit in known),
                at_once=hearing.at_once,
                again=hearing.again,
                unanswered=hearing.unanswered,
            )
        )
    return tuple(weeks)


def work_of(visits: Sequence[Visit]) -> WorkFigures:
    """Return the work of the sessions, summed."""
    tallies = [visit.tally for visit in visits]
    known = [visit for visit in visits if visit.tension_prescribed_s is not None]
    return WorkFigures(
        sets_prescribed=sum(planned.sets for one in tallies for planned in one.plan),
        sets_begun=sum(one.sets_begun for one in tallies),
        sets_in_full=sum(one.sets_in_full for one in tallies),
        amounts=tuple(
            amount for unit in UNIT_OF.values() if (amount := _amount(unit, tallies)).prescribed or amount.counted
        ),
        tension_prescribed_s=sum(visit.tension_prescribed_s or 0.0 for visit in known),
        tension_s=sum(visit.tally.tension_s for visit in known),
        tension_unknown=len(visits) - len(known),
        sessions=len(visits),
    )


def _amount(unit: str, tallies: Sequence[Tally]) -> AmountFigures:
    mine = [amount for one in tallies for amount in one.amounts if amount.unit == unit]
    return AmountFigures(
        unit,
        prescribed=sum(it.sets * it.amount for one in tallies for it in one.plan if it.unit == unit),
        counted=sum(one.counted for one in mine),
        stated=sum(one.stated for one in mine),
        sets_stated=sum(one.sets_stated for one in mine),
        counted_where_stated=sum(one.counted_where_stated for one in mine),
        sets_unknown=sum(one.sets_unknown for one in mine),
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
        highest=worst(pain for _, pain in told),
        above=sum(pain.high > limits.pain_ease_to for limits, pain in bounded),
        eased=sum(limits.pain_carry_on_to < pain.high <= limits.pain_ease_to for limits, pain in bounded),
        unknown=len(told) - len(bounded),
        told=len(told),
        unanswered=sum(visit.tally.pain_unanswered for visit in visits),
        worse=sum(mornings),
        mornings=len(mornings),
    )


def _halts(visits: Sequence[Visit]) -> Halts:
    halts = [halt for visit in visits for halt in visit.tally.halts]
    return Halts(
        _counts(halt.why or "unexplained" for halt in halts),
        _counts(halt.exercise for halt in halts),
        sum(bool(visit.tally.halts) for visit in visits),
    )


def _counts(names: Iterable[str]) -> tuple[tuple[str, int], ...]:
    return tuple(sorted(Counter(names).items(), key=lambda one: (-one[1], one[0])))


def _courses(visits: Sequence[Visit], programs: Mapping[str, Program]) -> tuple[Course, ...]:
    done: dict[tuple[str, str], list[tuple[Visit, ExerciseTally]]] = {}
    mine: dict[str, list[Visit]] = {}
    for visit in visits:
        mine.setdefault(visit.brief.program, []).append(visit)
        for one in visit.tally.exercises:
            done.setdefault((visit.brief.program, one.exercise), []).append((visit, one))
    return tuple(_course(*key, mine[key[0]], did, programs) for key, did in done.items())


def _course(
    program: str,
    exercise: str,
    visits: Sequence[Visit],
    done: Sequence[tuple[Visit, ExerciseTally]],
    programs: Mapping[str, Program],
) -> Course:
    """Return the course of an exercise; `visits` are those of its program, `done` those in which it was done."""
    latest = next((programs[v.brief.digest] for v in reversed(visits) if v.brief.digest in programs), None)
    known = exercise_of(latest, exercise)
    last, its = done[-1]
    return Course(
        program,
        exercise,
        name=known.name if known else last.tally.name_of(exercise),
        unit=its.unit,
        levels=tuple(level.id for level in known.levels) if known else (),
        points=tuple(_point(visit, one, programs.get(visit.brief.digest)) for visit, one in done),
        halts=sum(halt.exercise == exercise for visit in visits for halt in visit.tally.halts),
        gone=latest is not None and known is None,
    )


def _point(visit: Visit, done: ExerciseTally, program: Program | None) -> CoursePoint:
    planned = next((one for one in visit.tally.plan if one.exercise == done.exercise), None)
    known = exercise_of(program, done.exercise)
    ids = [level.id for level in known.levels] if known else []
    return CoursePoint(
        visit,
        done.exercise,
        done.level,
        ids.index(done.level) + 1 if done.level in ids else None,
        planned.amount if planned else done.first_high,
        done.counted,
    )


def _eased(visits: Sequence[Visit]) -> tuple[EasedBy, ...]:
    by: dict[tuple[str, str, str], list[Visit]] = {}
    for visit in visits:
        for step in visit.tally.steps:
            by.setdefault((step.because, step.exercise, step.what), []).append(visit)
    found = [EasedBy(*key, len(seen), len({v.brief.session for v in seen}), seen[-1]) for key, seen in by.items()]
    return tuple(sorted(found, key=lambda one: (-one.times, one.because, one.exercise, one.what)))


def _hearing(visits: Sequence[Visit]) -> HearingFigures:
    ears: dict[str, list[int]] = {}
    tallies = [visit.tally for visit in visits]
    for tally in tallies:
        for one in tally.heard:
            sums = ears.setdefault(one.ear, [0, 0, 0, 0])
            ears[one.ear] = [a + b for a, b in zip(sums, (one.heard, one.used, one.unclear, 1), strict=True)]
    asked, at_once, again = (sum(getattr(one, name) for one in tallies) for name in ("asked", "at_once", "again"))
    return HearingFigures(
        tuple(EarFigures(ear, *sums) for ear, sums in sorted(ears.items())),
        asked=asked,
        at_once=at_once,
        again=again,
        unanswered=asked - at_once - again,
        left_out=sum(one.left_out for one in tallies),
        denied=sum(one.denied for one in tallies),
        holds=sum(one.holds for one in tallies),
        ladder=sum(one.ladder for one in tallies),
        sessions=len(visits),
    )


# -- what went wrong --------------------------------------------------------------------------------------------------

AS_MEANT = frozenset({"done", "asked"})
"""Ends of a session that nobody needs to look at."""


def _wrong(visits: Sequence[Visit], courses: Sequence[Course]) -> tuple[Wrong, ...]:
    """Return what went wrong, the gravest kind first."""
    found: dict[tuple[str, str], list[Visit]] = {}

    def note(key: str, visit: Visit, name: str = "", times: int = 1) -> None:
        found.setdefault((key, name), []).extend([visit] * times)

    for visit in visits:
        tally, why, questions = visit.tally, visit.brief.why, ended_by(visit)
        for asked, said in questions:
            note(f"wrong_screen_{'yes' if said else 'no'}", visit, asked)
        if why not in AS_MEANT and not questions:
            note("wrong_end", visit, why or "missing")
        for halt in tally.halts:
            if halt.why in ("pain", "unsteady"):
                note(f"wrong_halt_{halt.why}", visit, halt.exercise)
        if visit.worse:
            note("wrong_morning", visit)
        if tally.pain_unanswered:
            note("wrong_unanswered", visit, times=tally.pain_unanswered)
        for one in tally.exercises:
            if one.fewer:
                note("wrong_fewer", visit, one.exercise, times=one.fewer)
        for exercise in tally.cut:
            note("wrong_cut", visit, exercise)
        for what in tally.devices:
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
    "wrong_screen_yes", "wrong_screen_no",
    "wrong_end", "wrong_halt_pain", "wrong_halt_unsteady", "wrong_morning", "wrong_unanswered", "wrong_cut",
    "wrong_fewer", "wrong_device", "wrong_gone",
)  # fmt: skip
"""What can go wrong, in the order in which it is shown."""
