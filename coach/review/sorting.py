"""Decide which sessions of a person count, and answer what is asked of each again and again."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import datetime

from coach.logbook import SessionRecord, joined
from coach.logbook.decisions import local_moment
from coach.logbook.logged import Brief, LoggedSession, logged
from coach.logbook.tallied import PlannedTally, Tally
from coach.program.model import Exercise, Program, tension_of_one
from coach.review.figures import LeftOut, Visit

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
        tally, why, ended = visit.tally, visit.brief.why, local_moment(visit.tally.ended)
        if tally.simulated:  # its time is not the wall clock's
            found.append(LeftOut(visit.file, 1, "left_simulated", counted=True))
            continue
        if until is not None and visit.began < until:
            found.append(LeftOut(visit.file, 1, "left_overlap", counted=True))
        if ended is None:
            continue
        took = (ended - visit.began).total_seconds()
        late = why == "interrupted" or tally.parts > 1  # such a session is closed or resumed much later
        if abs(took - tally.seconds) > CLOCK_JUMP and not late:
            found.append(LeftOut(visit.file, 0, "left_clock", counted=True))
        elif why != "interrupted":
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
    return Visit(session, file, began, program, worse, _prescribed_tension(session.tally, program))


def _prescribed_tension(tally: Tally, program: Program | None) -> float | None:
    """Return the seconds under tension in the plan of the day; None if one exercise's are unknown."""
    total = 0.0
    for planned in tally.plan:
        each = _tension_of_a_set(planned, program) or planned.tension_s
        if each is None:
            return None
        total += planned.sets * each
    return total if tally.plan else None


def _tension_of_a_set(planned: PlannedTally, program: Program | None) -> float | None:
    exercise = exercise_of(program, planned.exercise)
    level = next((one for one in exercise.levels if one.id == planned.level), None) if exercise else None
    return None if level is None else tension_of_one(level.dose.work) * planned.amount


def exercise_of(program: Program | None, exercise: str) -> Exercise | None:
    return next((one for one in program.exercises if one.id == exercise), None) if program else None
