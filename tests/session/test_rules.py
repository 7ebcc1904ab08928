"""The clinician's limits: bands of pain, easing, days to the next session."""

from __future__ import annotations

from dataclasses import replace
from datetime import date
from random import Random

import pytest
from hypothesis import given
from hypothesis import strategies as st

from coach.program_files import read, shipped
from coach.session.plan import days_to_next, plan
from coach.session.rules import Band, band, ease, fewer
from coach.session.state import OpenExercise, begin
from coach.testing import random_history, random_program

DAY = date(2027, 1, 11)
ANKLE = read(shipped()["ankle_steady"])


def test_every_pain_has_its_band() -> None:
    limits = replace(ANKLE.limits, pain_carry_on_to=3, pain_ease_to=5)

    assert [band(limits, pain) for pain in range(11)] == [Band.CARRY_ON] * 4 + [Band.EASE] * 2 + [Band.END] * 5


@pytest.mark.parametrize(("target", "easier"), [(12, 8), (3, 2), (2, 1), (1, 1)])
def test_fewer_is_two_thirds_and_at_least_one(target: int, easier: int) -> None:
    assert fewer(target) == easier


def test_easing_takes_a_lower_level_first_with_no_more_than_before() -> None:
    session = begin(plan(ANKLE, (), DAY)).with_target(0, 7)
    session = replace(session, levels=(0, 2, 0), targets=(7, 20, 3), exercise=OpenExercise(1))

    eased = ease(session)

    assert eased is not None
    after, what, change = eased
    assert (what, change) == ("level", ("slow_head_turns", "hands_free"))
    assert (after.levels, after.targets) == ((0, 1, 0), (7, 15, 3))


def test_without_a_lower_level_easing_takes_fewer() -> None:
    eased = ease(begin(plan(ANKLE, (), DAY)))

    assert eased is not None
    assert eased[1:] == ("amount", ("8", "5"))


def test_where_nothing_is_easier_nothing_changes() -> None:
    assert ease(begin(plan(ANKLE, (), DAY)).with_target(0, 1)) is None


@given(st.integers(0, 2**32))
def test_easing_again_and_again_ends_and_never_makes_anything_harder(seed: int) -> None:
    chance = Random(seed)
    program = random_program(chance)
    today = plan(program, random_history(chance, program, DAY), DAY)
    session = begin(today)
    steps = 0
    while today.exercises and (eased := ease(session)) is not None:
        after, what, _ = eased
        works = [session.planned.exercise.levels[s.level].dose.work for s in (session, after)]
        if type(works[0]) is type(works[1]):
            assert after.target <= session.target
        assert 1 <= after.target <= works[1].amount.high
        assert (after.level, what) in ((session.level - 1, "level"), (session.level, "amount"))
        session, steps = after, steps + 1

        assert steps < 30


def test_a_sore_body_gets_its_longer_rest() -> None:
    assert (days_to_next(ANKLE, sore=False), days_to_next(ANKLE, sore=True)) == (1, 2)
