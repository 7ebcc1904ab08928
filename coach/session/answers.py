"""What a session does with the answers to its questions about a set, and about pain after a halt."""

from __future__ import annotations

from typing import Literal

from coach.loglines.kinds import (
    Answered,
    HaltExplained,
    Ladder,
    NumberHeard,
    NumbersNotHeard,
    Paused,
    Unanswered,
)
from coach.program.model import Hold
from coach.session.changed import changed
from coach.session.commands import Command, Record, Silence, WakeAt
from coach.session.easing import eased, eased_all, eased_words
from coach.session.entries import Result
from coach.session.events import Event, On
from coach.session.guards import too_many_halts
from coach.session.ladder import above, climbed, stated
from coach.session.lines import asked_work
from coach.session.prompts import prompt_again
from coach.session.rules import Band, band
from coach.session.sets import close, more_sets, without_numbers
from coach.session.state import Question, Session, State, Then


def note_number(session: Session, event: Event) -> Result:
    """A number was heard: it is read back before it counts."""
    noted = _noted(session, -1, event.number)
    line = Record(event.at, NumberHeard(str(session.asked_about), event.number, event.ear))
    return noted, (WakeAt(-1), Silence(), line)


def _noted(session: Session, low: int, number: int) -> Session:
    """Keep what was heard, to be read back: a number, or a band from `low` to `number`."""
    if number > session.worst:
        session = changed(session, worst=number, worst_low=low)
    return changed(session, number=number, low=low, rung=-1, attempts=session.attempts + 1, prompts=0)


def answer_rung(session: Session, event: Event) -> Result:
    """Yes or no to "more than so much?": a higher rung, or the band, which is read back."""
    more = event.on is On.YES
    line = Ladder(str(session.asked_about), above(session), more, event.ear)
    commands = (WakeAt(-1), Silence(), Record(event.at, line))
    found = climbed(session, more=more)
    return changed(session, rung=session.rung + 1) if found is None else _noted(session, *found), commands


def to_ladder(session: Session, event: Event) -> Result:
    """A number was denied or not understood again: from here on pain is placed by yes and no."""
    why: Literal["denied", "not_understood"] = "denied" if event.on is On.NO else "not_understood"
    line = Record(event.at, NumbersNotHeard(str(session.asked_about), why))
    session = changed(session, by_ladder=True, attempts=0, number=-1)
    session, lines = without_numbers(session, event.at)
    return session, (WakeAt(-1), Silence(), line, *lines)


def deny(session: Session, _event: Event) -> Result:
    """The number was denied: the question again."""
    return changed(session, prompts=0, number=-1, low=-1, trouble=session.trouble + 1), (WakeAt(-1), Silence())


def not_understood(session: Session, event: Event) -> Result:
    """A number was asked for and not understood: the question again."""
    return prompt_again(changed(session, trouble=session.trouble + 1), event)


def settle(session: Session, event: Event) -> Result:
    """The person confirmed the answer, or let it stand where that can add no work: apply it."""
    if session.asked_about is Question.REPS:
        return _settled(session, event, event.on is On.YES, read_back=False)
    return _settled(session, event, session.number, low=session.low)


def settle_worst(session: Session, event: Event) -> Result:
    """The number was not confirmed, and the worst that was heard ends the session: that counts."""
    return _settled(session, event, session.worst, low=session.worst_low, read_back=False)


def _settled(session: Session, event: Event, value: int | bool, *, low: int = -1, read_back: bool = True) -> Result:
    """Apply `value`; of a band, which begins at `low`, it is the highest pain."""
    question = session.asked_about
    written = value if low < 0 else stated(low, value)
    attempts = session.attempts or session.prompts + 1
    line = Record(event.at, Answered(str(question), written, event.ear, read_back, attempts, session.sets_begun))
    session = _without_first(session)
    commands: tuple[Command, ...] = (WakeAt(-1), Silence(), line)
    if question is Question.REPS and value is False and not isinstance(asked_work(session), Hold):
        session, lines = without_numbers(changed(session, asks=(Question.MISSED, *session.asks)), event.at)
        return session, commands + lines
    if question in (Question.PAIN, Question.HALT_PAIN):
        session, more = _apply_pain(session, event, value, written, halt=question is Question.HALT_PAIN)
        return session, commands + more
    too_hard = question is Question.EFFORT and value > session.today.program.limits.effort_ease_above
    if too_hard and more_sets(session):
        session, more = eased(session, event.at, "limits.effort.ease_above")
        return session, commands + more + eased_words(session)
    return session, commands


def _apply_pain(session: Session, event: Event, pain: int, written: int | str, *, halt: bool) -> Result:
    """Apply a pain by the program's limits; of a band its highest, which is `written` as the band that it is."""
    session = changed(session, worst_pain=max(session.worst_pain, pain))
    where_it_lies = band(session.today.program.limits, pain)
    lines: tuple[Command, ...] = (Record(event.at, HaltExplained("pain", written)),) if halt else ()
    if where_it_lies is Band.END:
        return changed(session, end_why="pain", asks=()), lines
    if halt and (too_many_halts(session) or where_it_lies is Band.EASE) and session.open_set is not None:
        session, closed = close(session, event.at, "halted_pain")
        session = changed(session, then=Then.REST, asks=tuple(q for q in session.asks if q is Question.REPS))
        lines += closed
    if halt and too_many_halts(session):
        return changed(session, end_why="halts"), lines
    if where_it_lies is Band.CARRY_ON:
        return (changed(session, decision="pain_carry_on") if halt else session), lines
    if not session.exercising:
        session, more = eased_all(session, event.at, "limits.pain.ease_to")
        return changed(session, decision="pain_ease"), lines + more
    if not halt:
        if not more_sets(session):
            return session, lines
        session, more = eased(session, event.at, "limits.pain.ease_to")
        return session, lines + more + eased_words(session)
    session, more = eased(session, event.at, "limits.pain.ease_to")
    decision = "exercise_over" if session.exercise_over == "eased" else "pain_ease"
    return changed(session, decision=decision), lines + more


def _without_first(session: Session) -> Session:
    """The present question is done with."""
    return changed(session.with_asks(*session.asks[1:]), prompts=0)


def _unanswered(session: Session, event: Event) -> Record:
    return Record(event.at, Unanswered(str(session.asked_about), session.prompts + 1, session.sets_begun))


def skip_question(session: Session, event: Event) -> Result:
    """Nobody answered a question that can be left open: it is recorded as unanswered, never as an answer."""
    return _without_first(session), (WakeAt(-1), Silence(), _unanswered(session, event))


def pause_unanswered(session: Session, event: Event) -> Result:
    """Nobody answered about pain, or no number was confirmed: no work until somebody does."""
    lines = (_unanswered(session, event), Record(event.at, Paused("no_answer")))
    if session.asked_about is not Question.HALT_PAIN:  # after a halt that question comes first in any case
        session = changed(session, then=Then.BACK, back=State.ASKING)
    return changed(session, attempts=0), (WakeAt(-1), Silence(), *lines)
