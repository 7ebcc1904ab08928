"""How a session ends: what is said and written, and how many days until the next."""

from __future__ import annotations

from coach.loglines.kinds import ExerciseEnded, HaltExplained, SessionEnded
from coach.loglines.reasons import SessionWhy, SetWhy
from coach.session.changed import changed
from coach.session.commands import Command, End, Record, Silence, WakeAt
from coach.session.events import Event, On
from coach.session.lines import set_ended
from coach.session.plan import NEXT_DAY, days_to_next
from coach.session.state import Act, Question, Result, Session
from coach.session.waits import CLOSING_PATIENCE
from coach.session.wording import say, text
from coach.tempo.units import to_samples

CALL_FOR = frozenset({"pain", "unsteady", "screen", "no_answer_halt", "halts"})
"""Endings after which the coach says whom to call."""


def exercise_ended(session: Session, at: int) -> Command:
    """Return the line that ends the present exercise."""
    return Record(at, ExerciseEnded(session.planned.exercise.id, session.exercise.over or "done"))


def closing(session: Session, at: int) -> Result:
    lines: tuple[Command, ...] = ()
    why = session.end_why or "done"
    if session.end_why is None:
        session = changed(session, end_why=why)
        lines = (exercise_ended(session, at),)
    session, closed = set_ended(session, at, SET_WHY.get(why, "ended"))
    lines += closed
    commands: tuple[Command, ...] = (Silence(), *lines, *say(f"end_{why}"))
    program = session.today.program
    if session.on_hold:
        commands += say("on_hold")
    if why in CALL_FOR:
        commands += text(program.call) if program.call.strip() else say("call_therapist")
    if session.sets_begun:
        commands += say("sets_done", n=session.sets_done, of=session.sets_begun)
    days = next_in(session)
    if days is not None:
        commands += say("next_tomorrow") if days == 1 else say("next_in", n=days)
    commands += say("goodbye_unwritten" if session.equipment.unwritten else "goodbye")
    return session, (*commands, WakeAt(at + to_samples(CLOSING_PATIENCE)))


SET_WHY: dict[SessionWhy, SetWhy] = {
    "pain": "halted_pain",
    "unsteady": "halted_unsteady",
    "tired": "halted_tired",
    "no_answer_halt": "halted_unexplained",
    "halts": "halted_break",
    "no_answer": "no_answer",
    "deaf": "deaf",
    "mute": "mute",
}
"""Why the open set ended, by why the session ended; "ended" for every other reason."""


def next_in(session: Session) -> int | None:
    """Return the days to the next session; None: the person is on hold."""
    if session.on_hold:
        return None
    limits = session.today.program.limits
    unmeasured = {Question.PAIN, Question.HALT_PAIN} & set(session.asks)  # pain was told, not measured
    answers = zip(session.today.screen, session.screening.answers, strict=False)  # it may end before the last question
    worse = any(question.id == NEXT_DAY and answer is question.answer for question, answer in answers)
    painful = (session.worst_pain or 0) > limits.pain_carry_on_to or session.end_why == "pain"
    before = session.today.taken_up is not None and session.today.taken_up.sore
    sore = bool(unmeasured) or painful or session.gave_way or worse or before
    return days_to_next(session.today.program, sore=sore)


def ended(session: Session, at: int) -> Result:
    why = session.end_why
    assert why is not None, "whatever leads here says why"
    session, lines = set_ended(session, at, SET_WHY.get(why, "ended"))
    line = SessionEnded(
        why=why,
        next_in_days=next_in(session),
        sets_begun=session.sets_begun,
        sets_in_full=session.sets_done,
    )
    return session, (Silence(), WakeAt(None), *lines, Record(at, line), End())


def end_as(why: SessionWhy) -> Act:
    """Return the act that ends the session for this reason, unless an earlier reason is set."""

    def act(session: Session, _event: Event) -> Result:
        reason: SessionWhy = "no_answer_halt" if why == "no_answer" and session.quiet else why
        return changed(session, end_why=session.end_why or reason), (WakeAt(None),)

    return act


def end_halts(session: Session, event: Event) -> Result:
    """End the session and the open set: this was the last halt that the program allows."""
    explained = event.on is not On.READY
    lines: tuple[Command, ...] = (Record(event.at, HaltExplained("break", ear=event.ear)),) if explained else ()
    session, closed = set_ended(session, event.at, "halted_break" if explained else "halted_unexplained")
    return changed(session, end_why="halts"), (WakeAt(None), *lines, *closed)
