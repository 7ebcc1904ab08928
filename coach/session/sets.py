"""Close a set: its record and the questions about it."""

from __future__ import annotations

from coach.loglines.kinds import Unanswered
from coach.loglines.reasons import SetWhy
from coach.program.model import AskAfter
from coach.session.changed import changed
from coach.session.commands import Record
from coach.session.lines import set_ended
from coach.session.state import Question, Result, Session, State


def more_sets(session: Session) -> bool:
    """Tell whether a set of this exercise comes after the present one."""
    return session.exercise.turn + 1 < len(session.turns) and not session.exercise.over


def close(session: Session, at: int, why: SetWhy) -> Result:
    """Close the open set, start its rest and queue its questions."""
    counted = session.open_set.counted if session.open_set else 0
    session, lines = set_ended(session, at, why)
    last = not more_sets(session)
    program = session.today.program
    wanted = (
        (Question.REPS, program.ask_reps if counted else AskAfter.NEVER),
        (Question.PAIN, program.ask_pain),
        (Question.EFFORT, program.ask_effort),
    )
    asks = tuple(q for q, when in wanted if when is AskAfter.EACH_SET or (when is AskAfter.EACH_EXERCISE and last))
    if session.pain_unmeasured:
        asks = (Question.HALT_PAIN, *asks)  # pain was told and not yet measured
    session = changed(session, asks=asks, asked_level=session.level, rest_from=at)
    if why.startswith("halted"):  # nobody is asked how hard a set was that a halt cut short
        return session, lines
    session, left_out = without_numbers(session, at)
    return session, (*lines, *left_out)


def go_on(session: Session, at: int) -> Session:
    """Begin the part of a session that is taken up: ask about pain first, and start a rest. Others: no change."""
    if session.today.taken_up is None:
        return session
    return changed(session.with_asks(Question.PAIN), exercising=True, rest_from=at)


NUMBERS_ONLY = frozenset({Question.EFFORT, Question.MISSED})
"""Questions that only a number answers."""


def without_numbers(session: Session, at: int) -> Result:
    """If numbers are not heard well, drop the questions that need one, and record each as unanswered."""
    if not session.by_ladder:
        return session, ()
    lines = tuple(
        Record(at, Unanswered(str(question), 0, session.sets_begun, "numbers_not_heard"))
        for question in session.asks
        if question in NUMBERS_ONLY
    )
    return changed(session, asks=tuple(q for q in session.asks if q not in NUMBERS_ONLY)), lines


def stop(session: Session, at: int, why: SetWhy) -> Result:
    """Close the set that a halt cut short, if one is open, without the question how hard it was."""
    if session.open_set is None:
        return session, ()
    session, lines = close(session, at, why)
    left = tuple(q for q in session.asks if q is not Question.EFFORT)
    return changed(session.with_back(State.SET_END), asks=left), lines
