"""The session of a person who answers at once and well: all of it, in full, and nothing else."""

from __future__ import annotations

from datetime import date
from functools import cache

import pytest

from coach.loglines.kinds import KIND_OF, SessionEnded, SetBegun, SetEnded
from coach.program_files import read, shipped
from coach.session.ideal import Rehearsal, rehearse
from coach.session.plan import Today, plan, turns
from coach.session.state import State
from coach.tempo.units import to_samples

DAY = date(2027, 1, 11)
PROGRAMS = sorted(shipped())


@cache
def today(name: str) -> Today:
    return plan(read(shipped()[name]), (), DAY)


@cache
def rehearsed(name: str) -> Rehearsal:
    return rehearse(today(name))


@pytest.mark.parametrize("name", PROGRAMS)
def test_every_set_is_done_in_full_and_the_session_ends_as_done(name: str) -> None:
    planned = sum(len(turns(p.exercise, p.exercise.levels[p.level], today(name).side)) for p in today(name).exercises)

    ended = [line.fact for line in rehearsed(name).records if isinstance(line.fact, SetEnded)]
    assert len(ended) == planned == len(rehearsed(name).turns)
    assert all(one.why == "done" and one.counted == one.planned_high for one in ended)
    last = rehearsed(name).records[-1].fact
    assert isinstance(last, SessionEnded)
    assert (last.why, last.sets_in_full) == ("done", planned)


@pytest.mark.parametrize("name", PROGRAMS)
def test_nothing_is_eased_halted_or_left_open(name: str) -> None:
    kinds = {KIND_OF[type(line.fact)] for line in rehearsed(name).records}

    assert not kinds & {"halted", "held", "eased", "paused", "unanswered", "device", "screen_denied"}


@pytest.mark.parametrize("name", PROGRAMS)
def test_the_time_under_tension_is_what_is_planned(name: str) -> None:
    told = [line.fact for line in rehearsed(name).records]
    begun = {one.set_id: one for one in told if isinstance(one, SetBegun)}
    for one in told:
        if isinstance(one, SetEnded):
            assert one.tension_s == pytest.approx(begun[one.set_id].tension_planned_s)


@pytest.mark.parametrize("name", PROGRAMS)
def test_sounds_and_states_come_in_order_to_the_end(name: str) -> None:
    sounds, states = rehearsed(name).soundings, [state for _, state in rehearsed(name).states]

    assert [sound.at for sound in sounds] == sorted(sound.at for sound in sounds)
    assert all(sound.at <= rehearsed(name).end for sound in sounds)
    assert states[0] is State.OPENING
    assert states[-1] is State.ENDED
    assert rehearsed(name).end > to_samples(300.0)


def test_longer_sentences_make_a_longer_session() -> None:
    slow = rehearse(today("ankle_steady"), lambda _said: to_samples(4.0))

    assert slow.end > rehearsed("ankle_steady").end
    assert len(slow.turns) == len(rehearsed("ankle_steady").turns)
