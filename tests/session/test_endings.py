"""How a session ends: whom to call, what was done, and when the next one is."""

from __future__ import annotations

from dataclasses import replace
from typing import Any, get_args

import pytest
from scenes import BASE, DAY, RAISE, made

from coach.loglines.reasons import SessionWhy
from coach.program.model import Action, Program, ScreenQuestion
from coach.session.commands import Command, Say
from coach.session.endings import closing, next_in
from coach.session.plan import NEXT_DAY, TakenUp, plan
from coach.session.state import OutOfOrder, Question, Screening, Session, begin

EVERY, SORE = 2, 4
FEVER = ScreenQuestion("fever", "Do you have a fever?", answer=True, action=Action.NOTE)
WORSE = ScreenQuestion(NEXT_DAY, "", answer=True, action=Action.NOTE)
BEFORE = TakenUp("", 0, 0, (0,), (3,), over="", stretch=1.0, cut_sets=0, halts=0, seconds=60.0, sore=False)


def scheduled(program: Program) -> Program:
    return replace(program, schedule=replace(BASE.schedule, every_days=EVERY, after_sore_days=SORE), call="")


def now(*answers: bool, taken_up: TakenUp | None = None, carry_on_to: int = 3, **changes: Any) -> Session:
    """Return a session with these answers to FEVER and WORSE."""
    program = made(RAISE, change=scheduled, pain_carry_on_to=carry_on_to, pain_ease_to=5)
    today = replace(plan(program, (), DAY), screen=(FEVER, WORSE), taken_up=taken_up)
    return replace(begin(today), screening=Screening(answers), **changes)


@pytest.mark.parametrize(
    ("session", "days"),
    [
        (now(), EVERY),
        (now(worst_pain=3), EVERY),
        (now(worst_pain=4), SORE),
        (now(carry_on_to=0), EVERY),
        (now(carry_on_to=0, worst_pain=0), EVERY),
        (now(carry_on_to=0, worst_pain=1), SORE),
        (now(end_why="pain"), SORE),
        (now(end_why="time"), EVERY),
        (now(asks=(Question.PAIN,)), SORE),
        (now(asks=(Question.EFFORT, Question.HALT_PAIN)), SORE),
        (now(asks=(Question.EFFORT, Question.REPS)), EVERY),
        (now(gave_way=True), SORE),
        (now(True), EVERY),
        (now(True, False), EVERY),
        (now(False, True), SORE),
        (now(True, True), SORE),
        (now(taken_up=BEFORE), EVERY),
        (now(taken_up=replace(BEFORE, sore=True)), SORE),
    ],
)
def test_the_next_session_is_later_after_anything_that_was_sore_and_after_nothing_else(
    session: Session, days: int
) -> None:
    assert next_in(session) == days


def said(session: Session) -> list[tuple[Any, ...]]:
    """Return the phrases of the closing, each its key and its values."""
    return [_said(command) for command in closing(session, session.at)[1] if isinstance(command, Say)]


def _said(command: Command) -> tuple[Any, ...]:
    assert isinstance(command, Say)
    return (command.phrase.key, *(value for _, value in command.phrase.values))


def test_the_closing_says_why_what_was_done_and_when_the_next_session_is() -> None:
    assert said(now(sets_begun=3, sets_done=2)) == [("end_done",), ("sets_done", 2, 3), ("next_in", 2), ("goodbye",)]


def test_where_nothing_was_begun_nothing_is_said_of_sets_and_a_disk_that_refuses_is_told() -> None:
    session = now(end_why="asked", equipment=OutOfOrder(unwritten=True))

    assert said(session) == [("end_asked",), ("next_in", 2), ("goodbye_unwritten",)]


def test_whoever_is_on_hold_is_told_that_and_no_day() -> None:
    session = now(end_why="asked", on_hold=True)

    assert next_in(session) is None
    assert said(session) == [("end_asked",), ("on_hold",), ("goodbye",)]


def test_one_day_is_called_tomorrow() -> None:
    session = now(end_why="asked")
    daily = replace(session.today.program, schedule=replace(BASE.schedule, every_days=1))

    assert said(replace(session, today=replace(session.today, program=daily)))[-2:] == [
        ("next_tomorrow",),
        ("goodbye",),
    ]


@pytest.mark.parametrize("call", ["", " ", "Call the clinic."])
@pytest.mark.parametrize("why", get_args(SessionWhy))
def test_whom_to_call_is_said_where_a_body_or_silence_ended_it(why: SessionWhy, call: str) -> None:
    session = now(end_why=why)
    session = replace(session, today=replace(session.today, program=replace(session.today.program, call=call)))
    calls = [one for one in said(session) if one[0] in ("text", "call_therapist")]

    called = why in ("pain", "unsteady", "screen", "no_answer_halt", "halts")
    assert calls == ([("text", call)] if call.strip() else [("call_therapist",)]) * called
