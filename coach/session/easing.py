"""Make the work easier: a lower level, a smaller amount, a slower tempo; each with its line and its words."""

from __future__ import annotations

from coach.loglines.kinds import Eased
from coach.program.model import Hold
from coach.session.changed import changed
from coach.session.commands import Command, Record
from coach.session.lines import work_of
from coach.session.rules import SLOWER_BY, SLOWEST, ease
from coach.session.sets import more_sets
from coach.session.state import Result, Session
from coach.session.wording import say


def eased(session: Session, at: int, because: str) -> Result:
    """Ease the present exercise by one step; if nothing is easier, it is over for today."""
    session, lines = _one_step(session, at, because)
    if not lines or session.exercise.turn >= len(session.turns):  # an easier level may be written with fewer sets
        session = session.with_exercise_over(session.exercise.over or "eased")
    return session, lines


def eased_all(session: Session, at: int, because: str) -> Result:
    """Ease each of today's exercises by one step, if something is easier."""
    commands: tuple[Command, ...] = ()
    here = session.exercise.index
    for index in range(len(session.today.exercises)):
        session, lines = _one_step(changed(session, exercise=changed(session.exercise, index=index)), at, because)
        commands += lines
    return changed(session, exercise=changed(session.exercise, index=here, new_setup=False)), commands


def ease_the_day(session: Session, at: int, because: str) -> Result:
    """Let every exercise that is still to come begin at the bottom of its range, each with its line."""
    commands: tuple[Command, ...] = ()
    first = session.exercise.index + 1 if session.exercising else 0
    for index in range(first, len(session.today.exercises)):
        exercise, before = session.today.exercises[index].exercise, session.targets[index]
        low = exercise.levels[session.levels[index]].dose.work.amount.low
        if low < before:
            session = session.with_target(index, low)
            commands += (Record(at, Eased(exercise.id, "amount", str(before), str(low), because)),)
    return session, commands


def _one_step(session: Session, at: int, because: str) -> Result:
    exercise = session.planned.exercise.id
    easier = ease(session)
    if easier is None:
        return session, ()
    session, what, (before, after) = easier
    line = Record(at, Eased(exercise, what, before, after, because))
    if what == "level":
        session = changed(session, exercise=changed(session.exercise, new_setup=True))
    return session, (line,)


def eased_words(session: Session) -> tuple[Command, ...]:
    """Return what is said about the next set; nothing if there is none."""
    if session.exercise.over:
        return say("exercise_over")
    if not more_sets(session):
        return ()
    return next_set_words(session)


def next_set_words(session: Session) -> tuple[Command, ...]:
    """Return how the next set is easier."""
    return say("eased_level") if session.exercise.new_setup else say("eased_amount", n=session.target)


def slowed(session: Session, at: int) -> Result:
    """Make every phase longer, up to SLOWEST. A hold has no tempo: nothing changes and no line is written."""
    before = session.exercise.stretch
    after = min(before * SLOWER_BY, SLOWEST)
    if after == before or isinstance(work_of(session), Hold):
        return session, ()
    line = Eased(session.planned.exercise.id, "slower", f"{before:g}", f"{after:g}", "asked")
    return changed(session, exercise=changed(session.exercise, stretch=after)), (Record(at, line),)
