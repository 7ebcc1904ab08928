"""The table: every state with every event, in every guise that sessions by chance bring about."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import date
from functools import cache
from random import Random
from typing import ClassVar

import pytest

from coach.errors import OutOfPlaceError
from coach.loglines.kinds import SessionEnded
from coach.program_files import read, shipped
from coach.session.commands import Say
from coach.session.events import REPLIES, Event, On
from coach.session.machine import handle, takes
from coach.session.plan import Today, plan
from coach.session.state import Session, State
from coach.session.table import FROM_OUTSIDE, TABLE, Row, rows, targets
from coach.tempo.units import to_samples
from coach.testing import RandomPerson, SoundlessRun, WatchedRun, for_somebody, live, random_history, random_program

DAY = date(2027, 1, 11)
LIVE = tuple(state for state in State if state not in (State.CLOSING, State.ENDED))
GUISES_EACH = 200
"""Different sessions of one state that are tried."""


@cache
def todays() -> tuple[Today, ...]:
    chance = Random(20270111)
    made = [random_program(chance) for _ in range(80)]
    programs = [read(path) for path in shipped().values()] * 4 + made
    days = (plan(program, random_history(chance, program, DAY), DAY) for program in programs)
    return tuple(for_somebody(today, numbers_heard=chance.random() < 0.7) for today in days if today.exercises)


def guise(session: Session) -> tuple[object, ...]:
    """Return what sets sessions of one state apart for the table."""
    question, limits = session.open_question, session.today.program.limits
    return (
        session.still, session.quiet, session.prompts, question.attempts, session.open_set is not None,
        session.asks[:1], session.screening.denials, session.interruption and session.interruption.back,
        bool(session.exercise.over), session.exercise.new_setup, session.placed, session.equipment,
        session.open_set is not None and session.open_set.rep >= session.target, session.rung,
        question.given is not None and question.given.low is not None, session.by_ladder, question.trouble > 0,
        session.exercising, session.level > 0, session.halts >= limits.halts,
        question.worst is not None and question.worst.number > limits.pain_ease_to,
    )  # fmt: skip


class Noting(SoundlessRun):
    """Notes the rows that are taken."""

    rows: ClassVar[set[int]] = set()

    def give(self, event: Event) -> bool:
        Noting.rows.add(id(row_for(self.session, event)))
        return super().give(event)


@cache
def pool() -> dict[State, tuple[Session, ...]]:
    """Return sessions in each state, each another guise of it."""
    chance = Random(5)
    found: dict[State, dict[tuple[object, ...], Session]] = {state: {} for state in State}
    for _ in range(10):
        for today in todays():
            person = RandomPerson(chance, chance.choice((0.02, 0.1, 0.4)), chance.choice((0.05, 0.5)))
            run, unclear = Noting(today), chance.choice((0.0, 0.03, 0.3))
            for _ in range(3_000):
                kept = found[run.session.state]
                if len(kept) < GUISES_EACH:
                    kept.setdefault(guise(run.session), run.session)
                if run.over:
                    break
                if run.session.state in (State.WORKING, State.CONFIRMING) and chance.random() < unclear:
                    run.say(chance.choice((On.SPOKE, On.NO)))
                person.move(run)
    return {state: tuple(sessions.values()) for state, sessions in found.items()}


def events_for(session: Session, on: On) -> Iterator[Event]:
    """Yield such an event at several moments, with the numbers that make a difference."""
    running = session.open_set
    ends = running.phase_until if running else session.at
    moments = {session.at, session.at + 7, max(session.at, ends), session.at + to_samples(7_200.0)}
    for at in sorted(moments):
        for number in (0, 5, 10) if on in (On.NUMBER, On.YES, On.NO) else (1,):
            yield Event(on, at, number=number, until=at + 100, side=session.sides[-1], ear="keys")


def row_for(session: Session, event: Event) -> Row | None:
    return next((row for row in rows(session.state, event.on) if row.when(session, event)), None)


def of_the_set(session: Session, on: On) -> bool:
    """Tell whether a mark of a set makes sense: the agenda gives none without a set."""
    marks = (On.REP, On.PHASE, On.REP_DONE, On.SECOND, On.DONE)
    return on not in marks or session.open_set is not None


@pytest.mark.parametrize("state", State)
def test_every_state_is_reached(state: State) -> None:
    assert pool()[state]


@pytest.mark.parametrize("on", On)
@pytest.mark.parametrize("state", State)
def test_an_event_changes_a_session_by_the_table_or_is_out_of_place_and_changes_nothing(state: State, on: On) -> None:
    for session in pool()[state][:60]:
        for event in events_for(session, on):
            row = row_for(session, event)
            held = vars(session).copy()
            if row is None:
                with pytest.raises(OutOfPlaceError):
                    handle(session, event)
            elif of_the_set(session, on):
                after, commands = handle(session, event)

                assert after.state in targets(row)
                assert after.at == event.at
                assert (after, commands) == handle(session, event)
            assert vars(session) == held


GONE = (On.MIC_LOST, On.MIC_BACK)
INTERRUPTIONS = (
    (On.STOP,), (On.PAUSE,), (On.UNSTEADY,), (On.TIRED,),
    (On.UNSTEADY, On.STOP), (On.TIRED, On.STOP), (On.UNSTEADY, *GONE), (On.TIRED, *GONE),
)  # fmt: skip
"""What leads to "ready" anew from any state; by chance it seldom meets a set to come that changes, or does not come."""


def interrupted() -> Iterator[Session]:
    for session in (session for sessions in pool().values() for session in sessions[:80]):
        for events in INTERRUPTIONS:
            now = session
            for on in events:
                if takes(now, on):
                    now, _ = handle(now, Event(on, now.at, ear="keys"))
            yield now


def test_every_row_is_taken_in_some_session() -> None:
    sessions = {state: list(found) for state, found in pool().items()}
    for session in interrupted():
        sessions[session.state].append(session)
    seldom = [row for row in TABLE if id(row) not in Noting.rows]

    def may_be_taken(row: Row) -> bool:
        return any(
            row_for(session, event) is row for session in sessions[row.state] for event in events_for(session, row.on)
        )

    assert [(row.state, row.on, row.when.__name__) for row in seldom if not may_be_taken(row)] == []


def test_every_row_with_a_choice_finds_its_state() -> None:
    for row in TABLE:
        if isinstance(row.to, tuple):
            assert len(targets(row)) > 1


@pytest.mark.parametrize("state", LIVE)
def test_a_halt_is_taken_in_every_live_state(state: State) -> None:
    for session in pool()[state]:
        after, _ = handle(session, Event(On.STOP, session.at, ear="keys"))

        assert after.quiet
        assert after.state is (state if state in (State.DEAF, State.MUTE) else State.HALTED)


@pytest.mark.parametrize("state", [*LIVE, State.CLOSING])
@pytest.mark.parametrize("on", FROM_OUTSIDE)
def test_an_end_from_outside_ends_every_session_at_once_and_is_its_reason(on: On, state: State) -> None:
    for session in pool()[state]:
        after, commands = handle(session, Event(on, session.at))

        assert after.state is State.ENDED
        assert after.open_set is None
        assert after.end_why == (session.end_why or on)
        assert not any(isinstance(command, Say) for command in commands), "nothing is said any more"


def test_only_ready_leads_into_the_lead_in_and_only_the_lead_in_to_work() -> None:
    into = {(row.on, end) for row in TABLE for end in targets(row) if row.to is not None}

    assert {on for on, end in into if end is State.LEAD_IN} == {On.READY}
    assert {(row.state, row.on) for row in TABLE if row.to is not None and State.WORKING in targets(row)} == {
        (State.LEAD_IN, On.GO)
    }


def test_a_halt_is_taken_in_every_live_state_no_reply_after_the_end_and_no_ready_in_the_work() -> None:
    assert {state for state in State if not rows(state, On.STOP)} == {State.ENDED}
    assert not any(rows(State.ENDED, on) for on in REPLIES)
    assert not rows(State.WORKING, On.READY)


def test_takes_tells_what_handle_does() -> None:
    for session in (session for sessions in pool().values() for session in sessions[:10]):
        for on in REPLIES:
            taken = True
            try:
                handle(session, Event(on, session.at))
            except OutOfPlaceError:
                taken = False
            assert takes(session, on) is taken


def test_time_never_runs_backwards() -> None:
    session = next(session for session in pool()[State.WAITING] if session.at)

    with pytest.raises(ValueError, match="backwards"):
        handle(session, Event(On.STOP, session.at - 1))


@pytest.mark.parametrize("seed", range(4))
def test_a_session_ends_with_a_record_wherever_the_person_falls_silent(seed: int) -> None:
    chance = Random(seed)
    for today in chance.sample(todays(), 40):
        run, person = WatchedRun(today), RandomPerson(chance, chance.choice((0.0, 0.02, 0.2)), 0.1)
        for _ in range(chance.randrange(400)):
            if not run.over:
                person.move(run)
        fell_silent = run.now
        for _ in range(3_000):
            if not run.step():
                break

        assert run.over, f"stuck in {run.session.state}"
        assert isinstance(run.records[-1].fact, SessionEnded)
        assert run.now - fell_silent < to_samples(30 * 60.0)


def test_a_session_that_nobody_answers_ends_without_any_work() -> None:
    for today in todays():
        run = WatchedRun(today)
        live(run, RandomPerson(Random(1), odd=0.0, silent=1.0))

        assert run.session.end_why == "not_heard"
        assert not run.session.sets_begun
