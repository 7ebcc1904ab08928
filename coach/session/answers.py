"""What a session does with the answers to its questions about a set, and about pain after a halt."""

from __future__ import annotations

from typing import Literal

from coach.loglines.kinds import (
    Answer,
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
from coach.session.commands import HUSH, Command, Record
from coach.session.easing import eased, eased_all, eased_words
from coach.session.events import Event, On
from coach.session.ladder import above, climbed, stated
from coach.session.lines import asked_work
from coach.session.prompts import prompt_again
from coach.session.rules import Band, band
from coach.session.sets import close, more_sets, without_numbers
from coach.session.signs import body_told
from coach.session.state import Given, OpenQuestion, Question, Result, Session, State

# -- heard, not yet confirmed -----------------------------------------------------------------------------------------


def note_number(session: Session, event: Event) -> Result:
    """A number was heard: read it back before it counts."""
    line = Record(event.at, NumberHeard(str(session.asked_about), event.number, event.ear))
    return _noted(session, Given(event.number)), (*HUSH, line)


def _noted(session: Session, given: Given) -> Session:
    """Keep what was heard until it is read back."""
    before = session.open_question
    worst = given if before.worst is None or given.number > before.worst.number else before.worst
    heard = OpenQuestion(given, worst, rung=None, trouble=before.trouble, attempts=before.attempts + 1)
    return changed(session, open_question=heard)


def answer_rung(session: Session, event: Event) -> Result:
    """Yes or no to "more than n?": go on to a higher rung, or keep the band for the read-back."""
    more = event.on is On.YES
    line = Ladder(str(session.asked_about), above(session), more, event.ear)
    commands = (*HUSH, Record(event.at, line))
    found = climbed(session, more=more)
    if found is not None:
        return _noted(session, found), commands
    higher = changed(session.open_question, rung=(session.rung or 0) + 1)
    return changed(session, open_question=higher), commands


def to_ladder(session: Session, event: Event) -> Result:
    """A number was denied or not understood again: from now on ask about pain by yes and no."""
    why: Literal["denied", "not_understood"] = "denied" if event.on is On.NO else "not_understood"
    line = Record(event.at, NumbersNotHeard(str(session.asked_about), why))
    anew = changed(session.open_question, attempts=0, given=None)
    session, lines = without_numbers(changed(session, by_ladder=True, open_question=anew), event.at)
    return session, (*HUSH, line, *lines)


def deny(session: Session, _event: Event) -> Result:
    """The number was denied: ask the question again."""
    denied = changed(session.open_question, given=None, trouble=session.open_question.trouble + 1)
    return changed(session, open_question=denied), HUSH


def not_understood(session: Session, event: Event) -> Result:
    """The number was not understood: ask the question again."""
    missed = changed(session.open_question, trouble=session.open_question.trouble + 1)
    return prompt_again(changed(session, open_question=missed), event)


# -- settled ----------------------------------------------------------------------------------------------------------


def settle_reps(session: Session, event: Event) -> Result:
    """Yes or no to "did you do all that was counted?"; after a no, ask how many were missed."""
    all_done = event.on is On.YES
    session, commands = _answered(session, event, all_done, read_back=False)
    if all_done or isinstance(asked_work(session), Hold):
        return session, commands
    session, lines = without_numbers(changed(session, asks=(Question.MISSED, *session.asks)), event.at)
    return session, commands + lines


def settle(session: Session, event: Event) -> Result:
    """The person confirmed the answer, or did not deny one that can add no work: apply it."""
    return _settled(session, event, session.open_question.given, read_back=True)


def settle_worst(session: Session, event: Event) -> Result:
    """No number was confirmed, and the worst one heard ends the session: apply that one."""
    return _settled(session, event, session.open_question.worst, read_back=False)


def _settled(session: Session, event: Event, given: Given | None, *, read_back: bool) -> Result:
    assert given is not None, "what is read back was heard"
    question = session.asked_about
    session, commands = _answered(session, event, stated(given), read_back=read_back)
    more: tuple[Command, ...] = ()
    if question in (Question.PAIN, Question.HALT_PAIN):
        session, more = _pain_told(session, event, given, halt=question is Question.HALT_PAIN)
    too_hard = question is Question.EFFORT and given.number > session.today.program.limits.effort_ease_above
    if too_hard and more_sets(session):
        session, more = eased(session, event.at, "limits.effort.ease_above")
        more += eased_words(session)
    return session, commands + more


def _answered(session: Session, event: Event, written: Answer, *, read_back: bool) -> Result:
    """Write the answer down and go on to the next question, if there is one."""
    question = str(session.asked_about)
    attempts = session.open_question.attempts or session.prompts + 1
    line = Record(event.at, Answered(question, written, event.ear, read_back, attempts, session.sets_begun))
    return _without_first(session), (*HUSH, line)


def _pain_told(session: Session, event: Event, given: Given, *, halt: bool) -> Result:
    """Apply the program's limits to a stated pain; a band counts as its highest pain."""
    pain = given.number
    session = changed(session, worst_pain=max(session.worst_pain or 0, pain))
    where_it_lies = band(session.today.program.limits, pain)
    lines: tuple[Command, ...] = (Record(event.at, HaltExplained("pain", stated(given))),) if halt else ()
    if where_it_lies is Band.END:
        session, signed = body_told(session, event.at, "pain")
        return changed(session, end_why="pain", asks=()), lines + signed
    session, more = (_pain_in_halt if halt else _pain_after_set)(session, event.at, where_it_lies)
    return session, lines + more


def _pain_after_set(session: Session, at: int, where_it_lies: Band) -> Result:
    if where_it_lies is Band.CARRY_ON or not more_sets(session):
        return session, ()
    session, lines = eased(session, at, "limits.pain.ease_to")
    return session, lines + eased_words(session)


def _pain_in_halt(session: Session, at: int, where_it_lies: Band) -> Result:
    lines: tuple[Command, ...] = ()
    last_halt = session.is_last_halt
    if session.open_set is not None and (last_halt or where_it_lies is Band.EASE):
        session, lines = close(session, at, "halted_pain")
        left = tuple(q for q in session.asks if q is Question.REPS)
        session = changed(session.with_back(State.SET_END), asks=left)
    if last_halt:
        return changed(session, end_why="halts"), lines
    if where_it_lies is Band.CARRY_ON:
        return session.with_decision("pain_carry_on"), lines
    session, more = (eased if session.exercising else eased_all)(session, at, "limits.pain.ease_to")
    over = session.exercising and session.exercise.over == "eased"
    return session.with_decision("exercise_over" if over else "pain_ease"), lines + more


# -- unanswered -------------------------------------------------------------------------------------------------------


def _without_first(session: Session) -> Session:
    """Drop the present question."""
    return session.with_asks(*session.asks[1:])


def _unanswered(session: Session, event: Event) -> Record:
    return Record(event.at, Unanswered(str(session.asked_about), session.prompts + 1, session.sets_begun))


def skip_question(session: Session, event: Event) -> Result:
    """Nobody answered a question that may stay open: record it as unanswered."""
    return _without_first(session), (*HUSH, _unanswered(session, event))


def pause_unanswered(session: Session, event: Event) -> Result:
    """Nobody answered about pain, or no number was confirmed: pause until somebody does."""
    lines = (_unanswered(session, event), Record(event.at, Paused("no_answer")))
    if not session.pain_unmeasured:  # after a halt the question about pain comes first anyway
        session = session.with_back(State.ASKING)
    return changed(session, open_question=changed(session.open_question, attempts=0)), (*HUSH, *lines)
