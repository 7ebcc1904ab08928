"""What the session writes is what the logbook can hold: whole sessions of the shipped programs, answered at random."""

from __future__ import annotations

from collections import Counter
from datetime import date
from functools import cache
from random import Random

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from coach.logbook import Line, SessionRecord, assemble, line_of
from coach.logbook.fields import fact
from coach.loglines.kinds import Halted, SetBegun
from coach.program.model import Program
from coach.program_files import read, shipped
from coach.session.events import REPLIES, On
from coach.session.plan import plan
from coach.session.state import Question, State
from coach.testing import SoundlessRun

ANYTHING = [*sorted(REPLIES), On.SPOKE, On.MIC_LOST, On.MIC_BACK, On.SPEAKER_LOST, On.SPEAKER_BACK]

FITTING = {
    State.CHECKING: (On.READY,),
    State.SCREEN_CHECK: (On.YES,),
    State.WAITING: (On.READY,),
    State.STILL: (On.READY,),
    State.ASKING: (On.NUMBER,),
    State.CONFIRMING: (On.YES,),
    State.HALTED: (On.BREAK, On.PAIN, On.TIRED, On.UNSTEADY),
    State.RECOVERING: (On.READY,),
    State.PAUSED: (On.READY,),
    State.DEAF: (On.MIC_BACK,),
    State.MUTE: (On.SPEAKER_BACK,),
}
"""What a patient who follows says where the session waits for them."""


@cache
def program(name: str) -> Program:
    return read(shipped()[name])


def lines(run: SoundlessRun) -> list[Line]:
    return [line_of(n, "2027-01-11T09:30:00Z", record.at, record.fact) for n, record in enumerate(run.records, start=1)]


def played(name: str, seed: int) -> tuple[SoundlessRun, SessionRecord]:
    """Play a session with a patient who follows, as a rule, and now and then says anything at all at any moment."""
    chance = Random(seed)
    run = SoundlessRun(plan(program(name), (), date(2027, 1, 11)))
    while not run.over:
        state = run.run_until(State.SCREENING, *FITTING)
        if state is State.SCREENING:
            asked = run.session.screen_question
            run.say(On.NO if asked.answer else On.YES)
        elif state is State.ASKING and run.session.asked_about is Question.REPS:
            run.say(chance.choice((On.YES, On.YES, On.NO)))
        elif state in FITTING:
            run.say(chance.choice(FITTING[state]), chance.choice((0, 1, 2, 2, 3, 4)))
        run.step()
        if state is State.WAITING and chance.random() < 0.15:
            for _ in range(chance.randrange(60)):
                run.step()
            run.say(chance.choice([On.STOP, chance.choice(ANYTHING)]), chance.randrange(11))
    return run, assemble(lines(run))


@pytest.mark.parametrize("name", sorted(shipped()))
def test_every_line_of_a_session_fits_its_kind(name: str) -> None:
    @given(st.integers(0, 2**32))
    @settings(max_examples=25)
    def check(seed: int) -> None:
        run, record = played(name, seed)

        assert [line.fact for line in run.records] == [fact(line.kind, line.fields) for line in lines(run)]
        assert record.why
        assert len(record.sets) == sum(isinstance(line.fact, SetBegun) for line in run.records)
        assert all(one.why and one.unit and one.began_at is not None for one in record.sets)
        assert len(record.halts) >= sum(isinstance(line.fact, Halted) for line in run.records)

    check()


def test_the_sessions_played_here_come_to_every_line_that_matters() -> None:
    written = Counter(line.kind for name in shipped() for seed in range(10) for line in lines(played(name, seed)[0]))

    missing = {"answered", "set_begun", "set_ended", "halted", "halt_why", "eased", "device", "paused", "ready"}
    assert missing - set(written) == set()
    assert written["set_ended"] > 300
