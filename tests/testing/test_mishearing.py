"""With failing ears, and over many days, the rules hold; and the watched run notices each broken rule."""

from __future__ import annotations

from collections import Counter
from dataclasses import replace
from datetime import timedelta
from random import Random
from typing import Any

import pytest
from budget import draws
from scenes import begun, come_to, made

from coach.ports import Hearing
from coach.program_files import read, shipped
from coach.session.plan import Today, plan
from coach.session.state import State
from coach.testing import (
    Faults,
    LivedDays,
    MisheardRun,
    RandomPerson,
    RuleBrokenError,
    WatchedRun,
    live,
    random_program,
)
from coach.testing.lived import FIRST_DAY
from coach.words.replies import Listening, Outcome, Understood

PARTS, EACH, PEOPLE = draws(1, 4), draws(200, 300), draws(50, 100)
PROGRAMS = [read(path) for path in shipped().values()]
GOOD = Faults()


def today_of(chance: Random) -> Today:
    program = chance.choice(PROGRAMS) if chance.random() < 0.5 else random_program(chance)
    return plan(program, (), FIRST_DAY)


@pytest.mark.parametrize("part", range(PARTS))
def test_the_rules_hold_whatever_the_ears_report(part: int) -> None:
    ends: Counter[str] = Counter()
    counted = unclear = 0
    for seed in range(part * EACH, part * EACH + EACH):
        chance = Random(seed)
        run = MisheardRun(today_of(chance), chance)
        try:
            live(run, RandomPerson.any(chance))
        except RuleBrokenError as broken:
            raise AssertionError(f"seed {seed}: {broken}") from broken
        assert run.over
        ends[str(run.session.end_why)] += 1
        counted += run.counted
        unclear += run.unclear

    assert ends["done"] > EACH / 15
    assert min(counted, unclear) > 3 * EACH


@pytest.mark.parametrize("part", range(draws(1, 3)))
def test_over_many_days_nothing_gets_harder_without_a_decision_or_after_a_bad_session(
    part: int,
) -> None:
    taken_up = raised = grown = 0
    ends: Counter[str] = Counter()
    for seed in range(part * PEOPLE, part * PEOPLE + PEOPLE):
        chance = Random(seed)
        program = chance.choice(PROGRAMS) if chance.random() < 0.5 else random_program(chance)
        someone = LivedDays(program, chance, MisheardRun)
        try:
            someone.live(chance.randint(1, 8))
        except RuleBrokenError as broken:
            raise AssertionError(f"seed {seed}: {broken}") from broken
        taken_up, raised, grown = taken_up + someone.taken_up, raised + someone.raised, grown + someone.grown
        ends += someone.ended

    assert min(taken_up, raised, grown) > PEOPLE / 20  # the cases that the rule covers did happen
    assert ends["interrupted"] > PEOPLE / 5


def test_good_ears_pass_on_everything_that_is_said() -> None:
    run = MisheardRun(plan(PROGRAMS[0], (), FIRST_DAY), Random(1), GOOD)

    live(run, RandomPerson(Random(1), odd=0.0, silent=0.0))

    assert run.session.end_why == "done"
    assert run.counted > run.unclear  # only talk longer than any reply is not understood


# -- what the watch must notice: a rule that cannot be broken proves nothing -------------------------------------------


def heard(ear: str, word: str, at: int) -> Hearing:
    return Hearing(ear, "word", word, 1.0, at - 8000, at, at)


def hearing(monkeypatch: pytest.MonkeyPatch, outcome: Outcome | None, *known: Hearing) -> MisheardRun:
    """Return a session that asks for "ready", whose ears report `known`, understood as `outcome`."""
    run = MisheardRun(begun_day(), Random(1), GOOD)
    come_to(run, State.CHECKING)
    run._coming += known

    def listen(state: Listening, _hearings: object, _now: int) -> tuple[Listening, tuple[Outcome, ...]]:
        return state, () if outcome is None else (outcome,)

    monkeypatch.setattr("coach.testing.mishearing.listen", listen)
    return run


def begun_day() -> Today:
    return begun(made(PROGRAMS[0].exercises[0].levels[0].dose.work)).session.today


def test_the_watched_run_notices_a_halt_that_halts_nothing(monkeypatch: pytest.MonkeyPatch) -> None:
    at = 60 * 16_000
    run = hearing(monkeypatch, None, heard("vosk", "stop", at))

    with pytest.raises(RuleBrokenError, match="a halt that any ear heard halts"):
        run.run_until(State.WORKING)


@pytest.mark.parametrize(
    ("others", "ear", "rule"),
    [
        ((), "vosk", "needs a second one"),
        (("no",), "taught", "contradict each other"),
    ],
)
def test_the_watched_run_notices_a_word_that_may_not_count(
    monkeypatch: pytest.MonkeyPatch, others: tuple[str, ...], ear: str, rule: str
) -> None:
    at = 60 * 16_000
    word = heard(ear, "ready", at)
    spoken = [heard("vosk", other, at) for other in others]
    run = hearing(monkeypatch, Understood("ready", None, ear, at, (*spoken, word)), *spoken, word)

    with pytest.raises(RuleBrokenError, match=rule):
        run.run_until(State.WORKING)


def planned_twice(*, higher: int = 0, more: int = 0) -> None:
    """Give the second day another plan than the real one."""
    days = LivedDays(PROGRAMS[0], Random(1), WatchedRunOf)
    today = plan(PROGRAMS[0], (), FIRST_DAY)
    days._check(today, FIRST_DAY)
    days._before = {one.exercise.id: one for one in today.exercises}
    first = today.exercises[0]
    days._check(
        replace(today, exercises=(replace(first, level=first.level + higher, target=first.target + more),)), FIRST_DAY
    )


def WatchedRunOf(today: Today, _chance: Random) -> WatchedRun:  # noqa: N802 - takes the place of a class
    return WatchedRun(today)


def test_lived_days_notice_a_level_that_rises_and_an_amount_that_grows_too_fast() -> None:
    with pytest.raises(RuleBrokenError, match="a level rises by a decision"):
        planned_twice(higher=1)
    with pytest.raises(RuleBrokenError, match="grows by one step"):
        planned_twice(more=2)
    with pytest.raises(RuleBrokenError, match="within its range"):
        planned_twice(more=1000)


def test_lived_days_notice_growth_after_a_session_that_hurt() -> None:
    days = LivedDays(PROGRAMS[0], Random(1), WatchedRunOf)
    today = plan(PROGRAMS[0], (), FIRST_DAY)
    days._before = {one.exercise.id: one for one in today.exercises}
    first = today.exercises[0]
    days._spoilt[first.exercise.id] = "pain 7"

    with pytest.raises(RuleBrokenError, match="nothing grows after"):
        days._check(replace(today, exercises=(replace(first, target=first.target + 1),)), FIRST_DAY)


@pytest.mark.parametrize(
    ("out", "rule"),
    [({"_out": "pain 7"}, "waits for a decision"), ({"_paused": FIRST_DAY + timedelta(days=1)}, "paused waits")],
)
def test_lived_days_notice_an_exercise_that_is_planned_although_it_is_out(out: dict[str, Any], rule: str) -> None:
    days = LivedDays(PROGRAMS[0], Random(1), WatchedRunOf)
    today = plan(PROGRAMS[0], (), FIRST_DAY)
    for name, why in out.items():
        getattr(days, name)[today.exercises[0].exercise.id] = why

    with pytest.raises(RuleBrokenError, match=rule):
        days._check(today, FIRST_DAY)
