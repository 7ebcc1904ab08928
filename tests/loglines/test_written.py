"""Every kind, field and word of the format is written by something: what nobody writes, nobody can read either."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import fields, replace
from functools import cache
from random import Random
from typing import Any, Literal, get_args, get_origin, get_type_hints

import pytest
from scenes import BASE, DAY, begun, come_to, made

from coach.loglines.changes import Decided, ProgramVersion
from coach.loglines.goals import GoalDropped, GoalSet
from coach.loglines.hearing import Heard
from coach.loglines.kinds import KINDS, Fact, Note
from coach.loglines.safety import Cleared, PlacedOnHold
from coach.program.model import AskAfter, Hold, Range
from coach.session.events import On
from coach.session.lines import session_begun
from coach.session.plan import Today, plan
from coach.session.state import State
from coach.testing import WatchedRun, for_somebody
from coach.testing.people import RandomPerson, live
from coach.testing.programs import random_program

SESSIONS = 250
"""Sessions by chance: with the scenes below they come to everything, and take a second or two."""

ELSEWHERE = (Heard, Note, Decided, ProgramVersion, PlacedOnHold, Cleared, GoalSet, GoalDropped)
"""Kinds that the engine, a caregiver and the clinician write; the tests of those hold that they do."""

INTERRUPTED = {
    ("set_ended", "why", "interrupted"),
    ("session_ended", "why", "interrupted"),
    ("session_ended", "because", ""),
}
"""Written at the next start; tests/logbook/test_store.py."""


def by_chance() -> Iterator[Fact]:
    for seed in range(SESSIONS):
        chance = Random(seed)
        today = for_somebody(plan(random_program(chance), (), DAY), numbers_heard=chance.random() < 0.6)
        run = WatchedRun(today)
        live(run, RandomPerson.any(chance))
        yield from (line.fact for line in run.records)


def by_script() -> Iterator[Fact]:
    """The rarest ends, each played once."""
    hold = made(Hold(Range(20, 30)), halts=1)
    for program, said in (
        (hold, (On.STOP, On.STOP, On.READY)),
        (hold, (On.STOP, On.BREAK)),
        (made(Hold(Range(20, 30))), (On.SPOKE,)),
        (made(Hold(Range(20, 30))), (On.MIC_LOST,)),
        (made(Hold(Range(20, 30))), (On.SPEAKER_LOST,)),
        (made(Hold(Range(20, 30))), (On.FINISH,)),
        (made(Hold(Range(20, 30))), (On.QUIT,)),
        (made(Hold(Range(20, 30))), (On.TOLD_TO_END,)),
        (made(Hold(Range(20, 30))), (On.HUNG_UP,)),
        (made(Hold(Range(20, 30))), (On.STOP,)),
    ):
        run = come_to(begun(program), State.WORKING)
        for word in said:
            run.say(word)
        while run.step():  # nobody answers any more
            pass
        yield from (line.fact for line in run.records)
    asks = made(Hold(Range(5, 9)), change=lambda program: replace(program, ask_pain=AskAfter.EACH_SET))
    run = come_to(begun(asks), State.ASKING)
    while run.session.state is State.ASKING and not run.session.by_ladder:  # not understood again: yes and no
        run.step()
        run.say(On.SPOKE)
    yield from (line.fact for line in run.records)


def told() -> Iterator[Fact]:
    """A day on which something is other than last time."""
    today = plan(BASE, (), DAY)
    planned = replace(today.exercises[0], news=("news_gap",))
    run = WatchedRun(replace(today, exercises=(planned, *today.exercises[1:]), first_session=False))
    live(run, RandomPerson(Random(1), odd=0.0, silent=0.0))
    yield from (line.fact for line in run.records)


def first_lines() -> Iterator[Fact]:
    for heard in (True, False):
        today: Today = replace(plan(BASE, (), DAY), numbers_heard=heard)
        line = session_begun(today, session="s", person="p", ears=("keys",), voice="v", device="d", app_version="1")
        yield line
        yield replace(line, continues="before")  # tests/session/test_taken_up.py holds when


@cache
def written() -> frozenset[tuple[str, str, object]]:
    """Return each kind with each of its fields that was written, and the word that stood in it."""
    names = {known: kind for kind, known in KINDS.items()}
    found: set[tuple[str, str, object]] = set()
    for it in (*by_chance(), *by_script(), *told(), *first_lines()):
        for field in fields(it):
            value: Any = getattr(it, field.name)
            if value != field.default:
                found.add((names[type(it)], field.name, ""))
            if isinstance(value, str):
                found.add((names[type(it)], field.name, value))
    return frozenset(found)


def words(hint: object) -> Iterable[str]:
    if get_origin(hint) is Literal:
        return [word for word in get_args(hint) if word]
    return [word for one in get_args(hint) for word in words(one)]


@pytest.mark.parametrize("kind", sorted(kind for kind, known in KINDS.items() if known not in ELSEWHERE))
def test_a_session_writes_every_field_of_the_kind_and_every_word_that_it_may_hold(kind: str) -> None:
    hints = get_type_hints(KINDS[kind])
    declared = {(kind, field.name, "") for field in fields(KINDS[kind])}
    declared |= {(kind, name, word) for name, hint in hints.items() for word in words(hint)}

    assert declared - written() - INTERRUPTED == set()
