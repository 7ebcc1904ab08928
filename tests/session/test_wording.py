"""What is said on the way through a session, phrase by phrase."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import replace
from typing import Any

import pytest
from scenes import DAY, RAISE, made

from coach.loglines.changes import Told
from coach.loglines.kinds import Asked
from coach.program.model import Action, Hold, Range, Reach, Route, ScreenQuestion, Sides
from coach.session import entries
from coach.session.commands import Command, Record, Say
from coach.session.plan import NEXT_DAY, Today, plan
from coach.session.state import (
    Interruption,
    OpenExercise,
    OutOfOrder,
    Question,
    Screening,
    Session,
    State,
    begin,
)
from coach.session.wording import ask_ready, ask_screen, dose_key, rest_words, screen_answers
from coach.tempo.units import to_samples

FEVER = ScreenQuestion("fever", "Do you have a fever?", answer=True, action=Action.NOTE)
TODAY = plan(made(RAISE), (), DAY)


def now(today: Today = TODAY, **changes: Any) -> Session:
    return replace(begin(today), **changes)


def said(commands: Iterable[Command]) -> list[tuple[Any, ...]]:
    """Return the phrases, each its key and its values."""
    phrases = [command.phrase for command in commands if isinstance(command, Say)]
    return [(phrase.key, *(value for _, value in phrase.values)) for phrase in phrases]


def of_first_exercise(**changes: Any) -> Today:
    """Return a day on which the exercise, or (with `level_`) its level, is written so."""
    planned = TODAY.exercises[0]
    level = {name.removeprefix("level_"): value for name, value in changes.items() if name.startswith("level_")}
    rest = {name: value for name, value in changes.items() if not name.startswith("level_")}
    exercise = replace(planned.exercise, levels=(replace(planned.exercise.levels[0], **level),), **rest)
    return replace(TODAY, exercises=(replace(planned, exercise=exercise),))


@pytest.mark.parametrize("reach", Reach)
@pytest.mark.parametrize("first", [True, False])
def test_the_opening_tells_a_new_person_the_cautions_and_whoever_needs_it_who_is_to_be_near(
    first: bool, reach: Reach
) -> None:
    program = replace(TODAY.program, within_reach=reach, cautions="Mind the step.")
    session = now(replace(TODAY, program=program, first_session=first))

    cautions = [("cautions_general",), ("text", "Mind the step.")] if first else []
    near = [("someone_within_reach",)] if reach is Reach.ALWAYS or (first and reach is not Reach.NOT_NEEDED) else []
    assert said(entries.opening(session, 0)[1]) == [
        ("greeting", program.title), *cautions, *near, ("how_to_halt",), ("exercises_today", 1),
    ]  # fmt: skip


@pytest.mark.parametrize(
    ("answers", "told"),
    [
        ((True,), [("screen_all_yes",)]),
        ((False, False), [("screen_all_no",)]),
        ((False, True), [("screen_was_no", 1), ("screen_was_yes", 2), ("is_that_right",)]),
    ],
)
def test_the_answers_before_the_start_are_read_back_one_by_one_where_they_are_not_all_alike(
    answers: tuple[bool, ...], told: list[tuple[Any, ...]]
) -> None:
    assert said(screen_answers(now(screening=Screening(answers)))) == told


def test_a_question_before_the_start_is_the_therapists_but_the_one_about_the_morning_after() -> None:
    session = now(replace(TODAY, screen=(FEVER, replace(FEVER, id=NEXT_DAY))))

    assert said(ask_screen(session)) == [("text", FEVER.ask)]
    assert said(ask_screen(replace(session, screening=Screening((False,))))) == [("ask_next_day",)]


@pytest.mark.parametrize(
    ("sides", "turn", "told"),
    [
        (Sides.BOTH, 1, [("set", 2, 2), ("ask_ready",)]),
        (Sides.AFFECTED, 0, [("set", 1, 2), ("this_side_left",), ("ask_ready",)]),
        (Sides.EACH, 1, [("set", 1, 2), ("this_side_right",), ("ask_ready",)]),
        (Sides.ALTERNATING, 0, [("set", 1, 2), ("begin_with_left",), ("ask_ready",)]),
    ],
)
def test_the_next_set_is_told_with_its_side(sides: Sides, turn: int, told: list[tuple[Any, ...]]) -> None:
    program = made(RAISE, sides=sides, change=lambda program: replace(program, affected="left"))

    assert said(ask_ready(now(plan(program, (), DAY), exercise=OpenExercise(turn=turn)))) == told


@pytest.mark.parametrize("steady", [True, False])
def test_a_dose_is_told_in_its_unit_and_whether_it_ends_with_steadiness(steady: bool) -> None:
    amount, more = Range(3, 4, steady=steady), "_steady" * steady

    assert [dose_key(work) for work in (replace(RAISE, count=amount), Hold(amount), Route((), amount))] == [
        f"dose_reps{more}", f"dose_seconds{more}", f"dose_rounds{more}",
    ]  # fmt: skip


@pytest.mark.parametrize(
    ("equipment", "quiet", "told"),
    [
        (OutOfOrder(), False, False),
        (OutOfOrder(unwritten=True), False, True),
        (OutOfOrder(unwritten=True), True, False),
        (OutOfOrder(unwritten=True, unwritten_told=True), False, False),
    ],
)
def test_a_record_that_cannot_be_written_is_told_once_and_never_into_a_halt(
    equipment: OutOfOrder, quiet: bool, told: bool
) -> None:
    session = now(equipment=equipment, interruption=Interruption(State.WAITING, quiet=quiet))
    after, commands = entries.record_words(session)

    assert said(commands) == [("trouble_record",)] * told
    assert after.equipment.unwritten_told is (told or equipment.unwritten_told)


def test_an_exercise_is_introduced_with_its_number_its_name_and_what_it_needs_behind_what_is_out_of_order() -> None:
    today = of_first_exercise(name="Heel raise", needs=("a chair",), level_needs=("a step",))
    session, commands = entries.intro(now(today, equipment=OutOfOrder(unwritten=True)), 0)

    assert session.exercising
    assert said(commands) == [("trouble_record",), ("exercise", 1, "Heel raise", 1), ("you_need", "a chair, a step")]
    bare = of_first_exercise(name="Heel raise", needs=(), level_needs=())
    assert said(entries.intro(now(bare), 0)[1]) == [("exercise", 1, "Heel raise", 1)]


@pytest.mark.parametrize(
    ("news", "eased", "told"),
    [
        (("news_up",), False, ["news_up"]),
        (("news_up",), True, []),
        (("news_program", "news_up"), True, ["news_program"]),
        (("news_stay",), True, ["news_stay"]),
        ((), False, []),
    ],
)
def test_news_are_told_and_written_once_but_no_step_up_that_was_eased_again(
    news: tuple[str, ...], eased: bool, told: list[str]
) -> None:
    planned = plan(made(RAISE, RAISE), (), DAY)
    today = replace(planned, exercises=(replace(planned.exercises[0], news=news),))
    session, commands = entries.intro(now(today, levels=(0 if eased else 1,)), 0)

    assert [key for key, *_ in said(commands) if key.startswith("news_")] == told
    assert [command.fact for command in commands if isinstance(command, Record)] == [
        Told("exercise_0", tuple(told))
    ] * bool(told)
    assert session.introduced == 1
    assert not any(key.startswith("news_") for key, *_ in said(entries.intro(session, 0)[1]))


@pytest.mark.parametrize("feel", ["", "You should feel your calf."])
def test_where_it_should_be_felt_is_told_with_the_set_up(feel: str) -> None:
    session, commands = entries.setup(now(of_first_exercise(level_feel=feel), exercise=OpenExercise(new_setup=True)), 0)
    level = session.planned.exercise.levels[0]

    assert said(commands)[:-1] == [("text", level.setup), ("text", level.cue), *([("text", feel)] if feel else [])]
    assert not session.exercise.new_setup


WATCH = ("Keep it slow.", "Do not bounce.")


@pytest.mark.parametrize(
    ("exercise", "rest", "told"),
    [
        (OpenExercise(turn=0), 60, ["rest", WATCH[0]]),
        (OpenExercise(turn=1), 60, ["rest", WATCH[1]]),
        (OpenExercise(turn=2), 60, ["rest"]),  # no set comes after it
        (OpenExercise(turn=1, over="tired"), 60, ["rest"]),
        (OpenExercise(turn=0), 4, []),  # too short to be told
    ],
)
def test_a_usual_mistake_is_told_in_a_rest_before_another_set_of_the_exercise(
    exercise: OpenExercise, rest: float, told: list[str]
) -> None:
    planned = TODAY.exercises[0].exercise.levels[0]
    today = of_first_exercise(level_watch=WATCH, level_dose=replace(planned.dose, sets=3, rest=float(rest)))
    _, commands = entries.resting(now(today, introduced=1, exercise=exercise), 0)

    assert [value if key == "text" else key for key, value in said(commands)] == told


@pytest.mark.parametrize(("left", "told"), [(4.9, []), (5.0, [("rest", 5)]), (14.9, [("rest", 10)]), (-1, [])])
def test_what_is_left_of_a_rest_is_told_in_fives_and_never_too_much(left: float, told: list[tuple[Any, ...]]) -> None:
    session = now(rest_until=to_samples(100))

    assert said(rest_words(session, to_samples(100 - left))) == told


@pytest.mark.parametrize(("asked", "rung"), [(Question.PAIN, 0), (Question.HALT_PAIN, 0), (Question.REPS, None)])
def test_only_pain_is_asked_for_by_yes_and_no_and_the_question_is_written(asked: Question, rung: int | None) -> None:
    session, commands = entries.asking(now(by_ladder=True, asks=(asked,), sets_begun=3), 7)

    assert session.rung == rung
    assert commands[0] == Record(7, Asked(str(asked), 3))


@pytest.mark.parametrize(("introduced", "turn", "rest"), [(1, 0, 10.0), (1, 1, 60.0), (0, 0, 60.0)])
def test_the_rest_to_change_sides_comes_before_the_other_side_but_never_where_a_session_is_taken_up(
    introduced: int, turn: int, rest: float
) -> None:
    planned = TODAY.exercises[0].exercise.levels[0]
    dose = replace(planned.dose, sets=1, rest=60.0, change_sides=10.0)
    today = of_first_exercise(sides=Sides.EACH, level_dose=dose)

    assert entries.rest_seconds(now(today, introduced=introduced, exercise=OpenExercise(turn=turn))) == rest
