"""Where a session is, and the lines that it writes about a session and its sets."""

from __future__ import annotations

from collections.abc import Callable
from typing import NamedTuple

from coach.loglines.kinds import PlanEntry, SessionBegun, SetBegun, SetEnded
from coach.loglines.reasons import SetWhy
from coach.program.model import NO_TENSION, Hold, Work, tension_of_one
from coach.session.changed import changed
from coach.session.commands import Command, Record
from coach.session.past import Clause
from coach.session.plan import Today, dose
from coach.session.state import OpenExercise, OpenSet, Session
from coach.session.taken_up import Ahead, ahead
from coach.tempo.units import RATE, to_seconds


def work_of(session: Session) -> Work:
    """Return the work of the present set."""
    return session.planned.exercise.levels[session.level].dose.work


def asked_work(session: Session) -> Work:
    """Return the work of the set that the questions are about."""
    return session.planned.exercise.levels[session.asked_level].dose.work


def planned_amount(session: Session) -> tuple[int, int]:
    """Return the fewest and the most reps, rounds or seconds of the present set, all sides together."""
    sides = len(session.sides)
    low = min(work_of(session).amount.low, session.target)
    return low * sides, session.target * sides


def planned_tension(session: Session) -> float:
    """Return the seconds under tension that the present set asks for at its present tempo."""
    work = work_of(session)
    if isinstance(work, Hold):
        return float(session.target)
    return tension_of_one(work) * session.exercise.stretch * session.target * len(session.sides)


def last_phase(session: Session) -> int:
    """Return the index of the last phase of a rep or round of the present set; 0 for a hold."""
    return max(0, len(work_of(session).steps) - 1)


def phase_name(session: Session) -> str:
    """Return the name of the present phase or point; empty in a hold and outside a set."""
    parts = work_of(session).steps
    return parts[session.open_set.phase].name if session.open_set and parts else ""


class Where(NamedTuple):
    """Where a session is in its exercises, as a line records it."""

    exercise: str
    level: str
    set: int
    side: str


def where(session: Session) -> Where:
    """Return exercise, level, number and side of the present set; two sides are written "left+right"."""
    exercise = session.planned.exercise
    number, sides = session.present_turn
    return Where(exercise.id, exercise.levels[session.level].id, number, "+".join(sides))


def session_begun(
    today: Today,
    *,
    session: str,
    person: str,
    ears: tuple[str, ...],
    voice: str,
    device: str,
    app_version: str,
    in_words: Callable[[Clause], str] = str,
) -> SessionBegun:
    """Return a session's first line: who does what today, with which ears and voice.

    `in_words` turns the clauses that chose the plan into words for the record.
    """
    program = today.program
    return SessionBegun(
        session=session,
        person=person,
        program=program.id,
        title=program.title,
        digest=program.digest,
        written_by=program.written_by.who,
        language=program.language,
        plan=tuple(_planned(one, in_words) for one in ahead(today)),
        ears=ears,
        voice=voice,
        device=device,
        rate=RATE,
        app_version=app_version,
        numbers="spoken" if today.numbers_heard else "ladder",
        continues=today.taken_up.session if today.taken_up else "",
    )


def _planned(one: Ahead, in_words: Callable[[Clause], str]) -> PlanEntry:
    planned, exercise = one.planned, one.planned.exercise
    level = exercise.levels[planned.level]
    work = dose(exercise, planned.level).work
    return PlanEntry(
        exercise=exercise.id,
        level=level.id,
        sets=one.sets,
        because="; ".join(in_words(clause) for clause in planned.because),
        name=exercise.name,
        kind=work.kind,
        low=work.amount.low,
        high=work.amount.high,
        target=planned.target,
        unit=work.unit,
        sides=str(exercise.sides),
    )


def set_begun(session: Session, at: int) -> tuple[Session, Command]:
    """Open the next set and return its line."""
    number = session.sets_begun + 1
    opened = changed(session, open_set=OpenSet(number), sets_begun=number)
    low, high = planned_amount(session)
    here, work = where(session), work_of(session)
    line = SetBegun(
        set_id=number,
        exercise=here.exercise,
        level=here.level,
        set=here.set,
        side=here.side,
        kind=work.kind,
        planned_low=low,
        planned_high=high,
        unit=work.unit,
        tension_planned_s=round(planned_tension(session), 3),
    )
    return opened, Record(at, line)


def frozen(session: Session, at: int) -> Session:
    """Stop the present phase and its time under tension at sample `at`."""
    running = session.open_set
    if running is None or running.phase_began is None:
        return session
    worked = 0 if _is_rest(session, running.phase) else max(0, min(at, running.phase_until) - running.phase_began)
    return changed(session, open_set=changed(running, tension=running.tension + worked, phase_began=None))


def _is_rest(session: Session, phase: int) -> bool:
    steps = work_of(session).steps  # a hold has none
    return bool(steps) and steps[phase].name == NO_TENSION


def set_ended(session: Session, at: int, why: SetWhy) -> tuple[Session, tuple[Command, ...]]:
    """Close the open set, if there is one, and return its SetEnded line."""
    session = frozen(session, at)
    running = session.open_set
    if running is None:
        return session, ()
    low, high = planned_amount(session)
    in_full = running.counted >= high or why == "enough"
    here = where(session)
    line = SetEnded(
        set_id=running.number,
        exercise=here.exercise,
        level=here.level,
        set=here.set,
        side=here.side,
        kind=work_of(session).kind,
        planned_low=low,
        planned_high=high,
        counted=running.counted,
        tension_s=round(to_seconds(running.tension), 3),
        why=why,
    )
    closed = changed(
        session,
        open_set=None,
        sets_done=session.sets_done + in_full,
        exercise=session.exercise if in_full else _cut_short(session),
    )
    return closed, (Record(at, line),)


def _cut_short(session: Session) -> OpenExercise:
    """Return the exercise with one more set cut short; it is over at the program's limit of them."""
    cut = session.exercise.cut_sets + 1
    ends = cut >= session.today.program.limits.cut_sets
    return changed(session.exercise, cut_sets=cut, over=session.exercise.over or ("cut_sets" if ends else None))
