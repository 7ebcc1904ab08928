"""What a session does with the answers to its questions about a set, and about pain after a halt."""

from __future__ import annotations

from coach.program.model import Hold
from coach.session.changed import changed
from coach.session.commands import Command, Record, Silence, WakeAt
from coach.session.easing import eased, eased_all, eased_words
from coach.session.entries import Result
from coach.session.events import Event, On
from coach.session.lines import asked_work, heard_line
from coach.session.rules import Band, band
from coach.session.sets import close, more_sets
from coach.session.state import Question, Session, State, Then


def note_number(session: Session, event: Event) -> Result:
    """A number was heard: it is read back before it counts."""
    noted = changed(
        session,
        number=event.number,
        worst=max(session.worst, event.number),
        attempts=session.attempts + 1,
        prompts=0,
    )
    line = heard_line("number_heard", event, {"question": str(session.asked_about), "value": event.number})
    return noted, (WakeAt(-1), Silence(), line)


def deny(session: Session, _event: Event) -> Result:
    """The number was denied: the question again."""
    return changed(session, prompts=0), (WakeAt(-1), Silence())


def settle(session: Session, event: Event) -> Result:
    """The person confirmed the answer, or let it stand where that can add no work: apply it."""
    number = event.on is On.YES if session.asked_about is Question.REPS else session.number
    return _settled(session, event, number, read_back=session.asked_about is not Question.REPS)


def settle_worst(session: Session, event: Event) -> Result:
    """The number was not confirmed, and the worst that was heard ends the session: that counts."""
    return _settled(session, event, session.worst, read_back=False)


def _settled(session: Session, event: Event, value: int | bool, *, read_back: bool) -> Result:
    question = session.asked_about
    fields = {
        "question": str(question),
        "value": value,
        "read_back": read_back,
        "attempts": session.attempts or session.prompts + 1,
        "set_id": session.sets_begun,
    }
    line = heard_line("answered", event, fields)
    session = _without_first(session)
    commands: tuple[Command, ...] = (WakeAt(-1), Silence(), line)
    if question is Question.REPS and value is False and not isinstance(asked_work(session), Hold):
        return changed(session, asks=(Question.MISSED, *session.asks)), commands
    if question in (Question.PAIN, Question.HALT_PAIN):
        session, more = _apply_pain(session, event, int(value), halt=question is Question.HALT_PAIN)
        return session, commands + more
    too_hard = question is Question.EFFORT and value > session.today.program.limits.effort_ease_above
    if too_hard and more_sets(session):
        session, more = eased(session, event.at, "limits.effort.ease_above")
        return session, commands + more + eased_words(session)
    return session, commands


def _apply_pain(session: Session, event: Event, pain: int, *, halt: bool) -> Result:
    session = changed(session, worst_pain=max(session.worst_pain, pain))
    where_it_lies = band(session.today.program.limits, pain)
    lines: tuple[Command, ...] = (Record("halt_why", event.at, {"why": "pain", "pain": pain}),) if halt else ()
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


def too_many_halts(session: Session) -> bool:
    """Tell whether this halt is the one at which the program ends the session."""
    return session.halted and session.halts >= session.today.program.limits.halts


def _without_first(session: Session) -> Session:
    """The present question is done with."""
    return changed(session, asks=session.asks[1:], prompts=0, attempts=0, worst=-1, number=-1)


def _unanswered(session: Session, event: Event) -> Record:
    question, prompts = str(session.asked_about), session.prompts + 1
    return Record("unanswered", event.at, {"question": question, "prompts": prompts, "set_id": session.sets_begun})


def skip_question(session: Session, event: Event) -> Result:
    """Nobody answered a question that can be left open: it is recorded as unanswered, never as an answer."""
    return _without_first(session), (WakeAt(-1), Silence(), _unanswered(session, event))


def pause_unanswered(session: Session, event: Event) -> Result:
    """Nobody answered about pain, or no number was confirmed: no work until somebody does."""
    lines = (_unanswered(session, event), Record("paused", event.at, {"why": "no_answer"}))
    if session.asked_about is not Question.HALT_PAIN:  # after a halt that question comes first in any case
        session = changed(session, then=Then.BACK, back=State.ASKING)
    return changed(session, attempts=0), (WakeAt(-1), Silence(), *lines)
