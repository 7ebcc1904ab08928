"""The session of a person who answers at once and well: all of it, in full, and nothing else."""

from __future__ import annotations

from datetime import date
from functools import cache

import pytest

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

    ended = [line.fields for line in rehearsed(name).records if line.kind == "set_ended"]
    assert len(ended) == planned == len(rehearsed(name).turns)
    assert all(fields["why"] == "done" and fields["counted"] == fields["planned_high"] for fields in ended)
    assert rehearsed(name).records[-1].fields["why"] == "done"
    assert rehearsed(name).records[-1].fields["sets_in_full"] == planned


@pytest.mark.parametrize("name", PROGRAMS)
def test_nothing_is_eased_halted_or_left_open(name: str) -> None:
    kinds = {line.kind for line in rehearsed(name).records}

    assert not kinds & {"halted", "held", "eased", "paused", "unanswered", "device", "screen_denied"}


@pytest.mark.parametrize("name", PROGRAMS)
def test_the_time_under_tension_is_what_is_planned(name: str) -> None:
    begun = {line.fields["set_id"]: line.fields for line in rehearsed(name).records if line.kind == "set_begun"}
    for line in rehearsed(name).records:
        if line.kind == "set_ended":
            assert line.fields["tension_s"] == pytest.approx(begun[line.fields["set_id"]]["tension_planned_s"])


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
