from __future__ import annotations

import re
from collections.abc import Iterator

import pytest

from coach.program.load import load
from coach.program.model import (
    Action,
    AskAfter,
    Exercise,
    Guide,
    Hold,
    Program,
    Reach,
    Reps,
    Route,
    Sides,
)
from coach.program_files import read, shipped
from coach.testing.programs import UNSTEADY

HALTS = dict.fromkeys(("stop", "halt", "wait", "pause"), "")
PROGRAMS = [read(path, HALTS) for path in shipped().values()]
EXERCISES = [exercise for program in PROGRAMS for exercise in program.exercises]
WORKS = [level.dose.work for exercise in EXERCISES for level in exercise.levels]


def spoken(program: Program) -> Iterator[str]:
    yield from (program.title, program.call, program.cautions)
    yield from (question.ask for question in program.screen)
    for exercise in program.exercises:
        yield from (exercise.name, exercise.why)
        for level in exercise.levels:
            yield from (level.setup, level.cue, level.feel, *level.watch)


def test_six_programs_are_shipped_and_one_of_them_in_korean_too() -> None:
    assert list(shipped()) == [
        "ankle_steady",
        "desk_neck_back",
        "desk_neck_back_ko",
        "elbow_lowering",
        "kneecap_steady",
        "older_adult_balance",
        "trunk_endurance",
    ]


@pytest.mark.parametrize("program", PROGRAMS, ids=lambda program: program.id)
def test_a_shipped_program_leaves_nothing_out(program: Program) -> None:
    assert program.warnings == ()
    assert 3 <= len(program.exercises) <= 4
    for exercise in program.exercises:
        assert 2 <= len(exercise.levels) <= 4
        assert all(level.watch for level in exercise.levels)


@pytest.mark.parametrize("program", PROGRAMS, ids=lambda program: program.id)
def test_a_shipped_program_speaks_in_short_sentences(program: Program) -> None:
    for text in spoken(program):
        for sentence in re.split(r"(?<=[.?;])\s", text):
            assert len(sentence.split()) <= 25, sentence


def test_the_demo_program_is_three_exercises_of_two_sets() -> None:
    (program,) = (program for program in PROGRAMS if program.id == "ankle_steady")

    assert [level.dose.sets for exercise in program.exercises for level in exercise.levels[:1]] == [2, 2, 2]
    assert {type(exercise.levels[0].dose.work) for exercise in program.exercises} == {Reps, Hold, Route}


def test_between_them_the_programs_use_every_kind_of_work_and_every_amount() -> None:
    assert {type(work) for work in WORKS} == {Reps, Hold, Route}
    assert {type(work) for work in WORKS if work.amount.steady} == {Reps, Hold, Route}
    assert {type(work) for work in WORKS if work.amount.low < work.amount.high and not work.amount.steady} == {
        Reps,
        Hold,
        Route,
    }


def test_between_them_the_programs_use_every_side_mode_and_both_affected_sides() -> None:
    assert {exercise.sides for exercise in EXERCISES} == set(Sides)
    assert {program.affected for program in PROGRAMS} == {"left", "right", ""}


def test_between_them_the_programs_use_every_guide() -> None:
    assert {work.guide for work in WORKS if isinstance(work, Reps)} == set(Guide)


def test_between_them_the_programs_use_every_limit_and_action() -> None:
    limits = [program.limits for program in PROGRAMS]

    assert {each.unsteady for each in limits} == set(UNSTEADY)
    assert {each.tired for each in limits} == {
        Action.EASE,
        Action.END_SET,
        Action.END_EXERCISE,
        Action.END_SESSION,
    }
    assert {each.next_day_worse for each in limits} == {
        Action.NOTE,
        Action.EASE,
        Action.STEP_DOWN,
        Action.END_SESSION,
    }
    assert len({each.cut_sets for each in limits}) > 1
    assert len({each.halts for each in limits}) > 1
    assert len({each.minutes for each in limits}) > 1
    assert len({each.effort_ease_above for each in limits}) > 1
    assert len({(each.pain_carry_on_to, each.pain_ease_to) for each in limits}) > 1


def test_between_them_the_programs_ask_in_every_way() -> None:
    assert {program.ask_pain for program in PROGRAMS} == {AskAfter.EACH_SET, AskAfter.EACH_EXERCISE}
    assert {program.ask_effort for program in PROGRAMS} == set(AskAfter)
    assert {program.ask_reps for program in PROGRAMS} == set(AskAfter)
    assert {(question.answer, question.action) for program in PROGRAMS for question in program.screen} >= {
        (True, Action.HOLD),
        (True, Action.END_SESSION),
        (True, Action.EASE),
        (True, Action.NOTE),
        (False, Action.HOLD),
        (False, Action.EASE),
    }


def test_between_them_the_programs_use_schedules_reach_and_progression() -> None:
    assert len({(each.schedule.every_days, each.schedule.after_sore_days) for each in PROGRAMS}) >= 4
    assert {program.within_reach for program in PROGRAMS} == set(Reach)
    assert any(exercise.joins_after for exercise in EXERCISES)
    rules = [exercise.step_up for exercise in EXERCISES if exercise.step_up]
    assert {rule.at_top for rule in rules} == {True, False}
    assert {rule.unsteady for rule in rules} == {True, False}


@pytest.mark.parametrize("exercise", EXERCISES, ids=lambda exercise: exercise.id)
def test_a_harder_level_never_comes_with_a_higher_range(exercise: Exercise) -> None:
    highs = [level.dose.work.amount.high for level in exercise.levels]

    assert highs == sorted(highs, reverse=True)


def test_a_shipped_file_says_whom_it_is_for_and_loads_by_itself() -> None:
    for path in shipped().values():
        text = path.read_text(encoding="utf-8")

        assert text.startswith("# For ")
        assert load(text, path.name).id == path.stem
