"""Decide which sessions of a person count, and answer what is asked of each again and again."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import datetime

from coach.logbook import PlanEntry, SessionRecord, joined
from coach.logbook.decisions import local_moment
from coach.logbook.logged import Brief, LoggedSession, logged
from coach.logbook.pain import edge, is_pain
from coach.loglines.kinds import Answer
from coach.program.model import Exercise, Hold, Program, tension_of_one
from coach.review.figures import LeftOut, Pain, Visit, worst

CLOCK_JUMP = 300.0
"""Seconds by which the wall clock may differ from the session's own time before the review says so."""

Files = Sequence[tuple[str, LoggedSession | SessionRecord]]
"""Name of the file and the session in it."""


def sort_out(
    person: str, files: Files, programs: Mapping[str, Program], now: datetime
) -> tuple[tuple[Visit, ...], tuple[LeftOut, ...]]:
    """Return the counted sessions, oldest first, and the notes on those left out or doubtful.

    A session that broke off and was resumed is one session.
    """
    left_out: list[LeftOut] = []
    fit: dict[str, tuple[str, LoggedSession, datetime]] = {}
    known = [(file, logged(one)) for file, one in files]
    for file, session in sorted(known, key=lambda one: (one[1].brief.began, one[0])):
        brief = session.brief
        began = local_moment(brief.began)
        if began is None:
            left_out.append(LeftOut(file, 1, "left_no_time"))
        elif not brief.person:
            left_out.append(LeftOut(file, 1, "left_nobody"))
        elif brief.person != person:
            left_out.append(LeftOut(file, 1, "left_another", brief.person))
        elif began > now:
            left_out.append(LeftOut(file, 1, "left_future", brief.began))
        elif brief.session in fit:
            left_out.append(LeftOut(file, 1, "left_copy", fit[brief.session][0]))
        else:
            fit[brief.session] = (file, session, began)
    whole = {one.brief.session: one for one in joined(session for _, session, _ in fit.values())}
    counted = sorted(
        ((file, whole[name], began) for name, (file, _, began) in fit.items() if name in whole),
        key=lambda one: (one[2], one[0]),
    )
    mornings = _mornings([session.brief for _, session, _ in counted])
    visits = [
        _visit(file, session, began, programs.get(session.brief.digest), mornings.get(session.brief.session))
        for file, session, began in counted
    ]
    return tuple(visits), (*left_out, *_jumps(visits))


def _jumps(visits: Sequence[Visit]) -> list[LeftOut]:
    """Find simulated sessions, sessions whose clock jumped, and sessions that began before the previous one ended."""
    found = []
    until: datetime | None = None
    for visit in visits:
        record, ended = visit.record, local_moment(visit.record.ended)
        if record.simulated:  # its time is not the wall clock's
            found.append(LeftOut(visit.file, 1, "left_simulated", counted=True))
            continue
        if until is not None and visit.began < until:
            found.append(LeftOut(visit.file, 1, "left_overlap", counted=True))
        if ended is None:
            continue
        took = (ended - visit.began).total_seconds()
        late = record.why == "interrupted" or record.parts > 1  # such a session is closed or resumed much later
        if abs(took - record.seconds) > CLOCK_JUMP and not late:
            found.append(LeftOut(visit.file, 0, "left_clock", counted=True))
        elif record.why != "interrupted":
            until = ended if until is None else max(until, ended)
    return found


def _mornings(sessions: Sequence[Brief]) -> dict[str, bool]:
    """Return, for each session, the answer about the morning after, which is in the program's next session."""
    told: dict[str, bool] = {}
    before: dict[str, str] = {}
    for one in sessions:
        if one.next_day_worse is not None and one.program in before:
            told[before[one.program]] = one.next_day_worse
        if one.exercises:
            before[one.program] = one.session
    return told


def _visit(file: str, session: LoggedSession, began: datetime, program: Program | None, worse: bool | None) -> Visit:
    record = session.record
    asked = [one for one in record.questions if is_pain(one.question) and one.answered]
    before = [one.value for one in asked if not one.set_id] + [halt.pain for halt in record.halts if not halt.set_id]
    behind_sets = [one for one in asked if one.question == "pain" and one.set_id]
    last = behind_sets[-1:]
    during = [one.value for one in asked if one.set_id and one not in last] + [
        halt.pain for halt in record.halts if halt.set_id
    ]
    efforts = [one.effort for one in record.sets if isinstance(one.effort, int)]
    return Visit(
        session,
        file,
        began,
        program,
        before=worst(*map(span, before)),
        during=worst(*map(span, during)),
        after=worst(*(span(one.value) for one in last)),
        worse=worse,
        effort=max(efforts, default=None),
        tension_prescribed_s=_prescribed_tension(record, program),
    )


def span(pain: Answer) -> Pain | None:
    """Return the pain in an answer; None if the answer holds none, which does not mean no pain."""
    high = edge(pain)
    if high is None:
        return None
    low = pain.partition("-")[0] if isinstance(pain, str) else ""
    return Pain(int(low) if low.isdecimal() else high, high)


def _sides(planned: PlanEntry) -> int:
    """Return the number of sides that work in one set; a hold cannot change sides midway."""
    return 2 if planned.sides == "alternating" and planned.unit != Hold.unit else 1


def prescribed(planned: PlanEntry) -> int:
    """Return the amount that the plan of the day asks of one set, all sides together."""
    return planned.target * _sides(planned)


def _prescribed_tension(record: SessionRecord, program: Program | None) -> float | None:
    """Return the seconds under tension in the plan of the day; None if one exercise's are unknown."""
    total = 0.0
    for planned in record.plan:
        each = _tension_of_a_set(planned, program) or _tension_as_begun(planned, record)
        if each is None:
            return None
        total += planned.sets * each
    return total if record.plan else None


def _tension_of_a_set(planned: PlanEntry, program: Program | None) -> float | None:
    exercise = exercise_of(program, planned.exercise)
    level = next((one for one in exercise.levels if one.id == planned.level), None) if exercise else None
    if level is None:
        return None
    return tension_of_one(level.dose.work) * prescribed(planned)


def _tension_as_begun(planned: PlanEntry, record: SessionRecord) -> float | None:
    """Return it from a set done at the planned level: seconds per rep do not depend on the number of reps."""
    for one in record.sets:
        if one.exercise == planned.exercise and one.level == planned.level and one.tension_planned_s is not None:
            return one.tension_planned_s / max(1, one.planned_high) * prescribed(planned)
    return None


def exercise_of(program: Program | None, exercise: str) -> Exercise | None:
    return next((one for one in program.exercises if one.id == exercise), None) if program else None
