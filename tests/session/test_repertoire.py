"""All that may be said: each once, what is needed first in front, nothing in vain."""

from __future__ import annotations

from datetime import date

import pytest

from coach.program_files import read, shipped
from coach.session.events import On
from coach.session.ideal import rehearse
from coach.session.plan import Today, plan
from coach.session.repertoire import repertoire
from coach.session.state import State
from coach.testing import SoundlessRun
from coach.voice.pack import load_pack
from coach.words.phrases import sentence

DAY = date(2027, 1, 11)
PROGRAMS = sorted(shipped())


def today(name: str) -> Today:
    return plan(read(shipped()[name]), (), DAY)


@pytest.mark.parametrize("name", PROGRAMS)
def test_every_phrase_is_there_once(name: str) -> None:
    said = repertoire(today(name))

    assert len(said) == len(set(said))


@pytest.mark.parametrize("name", PROGRAMS)
def test_the_whole_session_is_in_it(name: str) -> None:
    said = {sounding.phrase for sounding in rehearse(today(name)).soundings if sounding.phrase}

    assert said <= set(repertoire(today(name)))


def test_what_is_said_first_comes_first() -> None:
    run = SoundlessRun(today("ankle_steady"))
    run.run_until(State.CHECKING)
    run.say(On.READY)
    opening = [phrase for phrase in run.said if phrase.key not in ("text", "exercises_today")]

    assert set(opening) <= set(repertoire(today("ankle_steady"))[:60])


@pytest.mark.parametrize("name", PROGRAMS)
def test_it_is_small_enough_to_be_rendered_before_a_session(name: str) -> None:
    pack = load_pack("en")

    assert len({sentence(pack, phrase) for phrase in repertoire(today(name))}) < 500


def test_it_names_the_levels_below_todays_and_none_above() -> None:
    texts = {dict(phrase.values).get("text") for phrase in repertoire(today("ankle_steady"))}
    levels = today("ankle_steady").exercises[0].exercise.levels

    assert levels[0].setup in texts
    assert levels[1].setup not in texts
