"""What a later plan is told of a session, and parts of a session that broke off as one."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import pytest

from coach.logbook import SessionRecord, assemble
from coach.logbook.joined import joined
from coach.logbook.logged import brief_of
from coach.logbook.session_record import EarRecord, EasedRecord, HaltRecord, QuestionRecord, SetRecord
from coach.loglines.kinds import PlanEntry
from coach.session.past import PastExercise

PLAN = PlanEntry("heel", "hard", 2, "", "Heel raise", "reps", 8, 12, 10, "reps", "both together")
SET = SetRecord(
    set_id=1, exercise="heel", level="hard", set=1, side="", kind="reps", unit="reps", planned_low=8, planned_high=10,
    counted=10, stated=None, tension_planned_s=None, tension_s=None, why="done", pain=1, effort=4, began_at=100,
    ended_at=200,
)  # fmt: skip
SECOND = replace(SET, set_id=2, set=2, pain=2, effort=6)
HALT = HaltRecord(50, "working", "heel", 1, 1, 3, "lower", "", "stop", "keys", "break", None)
DONE = PastExercise("heel", "hard", 10, sets_planned=2, sets_in_full=2, pain=2, effort=6, unsteady=False, least=10)


def session(**changes: Any) -> SessionRecord:
    written: dict[str, Any] = {"session": "s", "plan": (PLAN,), "sets": (SET, SECOND)}
    return replace(assemble([]), **(written | changes))


def asked(question: str, set_id: int, value: int | str | bool | None) -> QuestionRecord:
    return QuestionRecord(10, question, set_id, value, value is not None, "keys", True, 1)


def eased(what: str, after: str, because: str, exercise: str = "heel") -> EasedRecord:
    return EasedRecord(10, exercise, what, "hard", after, because)


def done(**changes: Any) -> PastExercise:
    (one,) = brief_of(session(**changes)).exercises
    return one


def test_what_went_as_planned_is_told_with_its_worst_pain_and_effort() -> None:
    assert done() == DONE


def test_an_exercise_without_a_set_that_began_is_none_of_the_session() -> None:
    other = replace(PLAN, exercise="toe", level="gone", sets=5, target=3)

    assert [one.exercise for one in brief_of(session(plan=(other, PLAN))).exercises] == ["heel"]
    assert done(plan=(other, PLAN)) == DONE


def test_without_a_plan_its_sets_tell_what_was_planned() -> None:
    told = done(plan=(), sets=(SET, replace(SECOND, level="easy", planned_high=7)))

    assert (told.level, told.target, told.sets_planned) == ("hard", 10, 2)


@pytest.mark.parametrize(
    ("steps", "level", "is_eased"),
    [
        ((), "hard", False),
        ((eased("slower", "1.25", "asked"),), "hard", False),
        ((eased("amount", "6", "asked"),), "hard", True),
        ((eased("level", "easy", "asked"),), "easy", True),
        ((eased("level", "easy", "asked", "toe"),), "hard", False),
        ((eased("level", "easy", "limits.pain.ease_to"), eased("level", "easiest", "asked")), "easiest", True),
        ((eased("level", "easy", "screen.fever"),), "hard", True),
        ((eased("level", "easy", "screen.next_day"),), "easy", True),
    ],
)
def test_an_easier_level_lasts_unless_an_answer_of_the_day_asked_for_it(
    steps: tuple[EasedRecord, ...], level: str, is_eased: bool
) -> None:
    assert done(steps=steps) == replace(DONE, level=level, eased=is_eased)


@pytest.mark.parametrize(
    ("halts", "unsteady", "pain"),
    [
        ((HALT,), False, 2),
        ((replace(HALT, why="unsteady"), HALT), True, 2),
        ((replace(HALT, why="unsteady", exercise=""),), True, 2),
        ((replace(HALT, why="unsteady", exercise="toe"),), False, 2),
        ((replace(HALT, why="pain", pain=4),), False, 4),
        ((replace(HALT, why="pain", pain="4-5", exercise=""),), False, 5),
        ((replace(HALT, why="pain", pain=9, exercise="toe"),), False, 2),
    ],
)
def test_a_halt_counts_for_its_exercise_and_outside_of_any_for_each(
    halts: tuple[HaltRecord, ...], unsteady: bool, pain: int
) -> None:
    assert done(halts=halts) == replace(DONE, unsteady=unsteady, pain=pain)


@pytest.mark.parametrize(("whys", "unsteady"), [(("done", "halted_unsteady"), True), (("done", "halted_tired"), False)])
def test_a_set_that_unsteadiness_ended_says_so(whys: tuple[str, str], unsteady: bool) -> None:
    told = done(sets=tuple(replace(one, why=why) for one, why in zip((SET, SECOND), whys, strict=True)))

    assert told == replace(DONE, unsteady=unsteady, sets_in_full=1)


@pytest.mark.parametrize(
    ("changes", "unanswered"),
    [
        ({"doubtful": True}, True),
        ({"sets": (replace(SET, pain=None), SECOND)}, False),
        ({"sets": (SET, replace(SECOND, pain=None))}, True),
        ({"questions": (asked("pain", 1, 1), asked("pain", 2, 2))}, False),
        ({"questions": (asked("pain", 1, None), asked("pain", 2, 2))}, True),
        ({"questions": (asked("pain", 1, None), asked("pain", 1, 1))}, False),
        ({"questions": (asked("halt_pain", 0, None),)}, True),
        ({"questions": (asked("pain", 7, None),)}, False),
        ({"questions": (asked("effort", 1, None),)}, False),
    ],
)
def test_pain_is_unanswered_where_it_is_open_of_its_last_set_or_of_any_that_was_asked(
    changes: dict[str, Any], unanswered: bool
) -> None:
    assert done(**changes).pain_unanswered is unanswered


def test_pain_told_before_any_set_counts_for_every_exercise() -> None:
    assert done(questions=(asked("pain", 0, 4), asked("pain", 7, 9))).pain == 4


@pytest.mark.parametrize(
    ("sets", "least"),
    [
        ((SET, replace(SECOND, counted=9)), 9),
        ((SET, replace(SECOND, stated=7)), 7),
        ((SET, replace(SECOND, counted=9, stated=12)), 9),
        ((SET, replace(SECOND, counted=None)), None),
        ((SET, replace(SECOND, counted=19, side="left+right")), 9),
        ((replace(SET, counted=8), replace(SECOND, side="left")), 8),
    ],
)
def test_the_least_of_an_exercise_is_what_each_side_did_in_its_poorest_set(
    sets: tuple[SetRecord, ...], least: int | None
) -> None:
    assert done(sets=sets).least == least


@pytest.mark.parametrize(
    ("values", "worse"), [((), None), ((True,), True), ((True, False), False), ((None,), None), ((3,), None)]
)
def test_the_last_answer_about_the_morning_after_counts(values: tuple[Any, ...], worse: bool | None) -> None:
    answers = tuple(asked("screen.next_day", 0, value) for value in values)
    other = asked("screen.fever", 0, value=True)

    assert brief_of(session(questions=(*answers, other))).next_day_worse is worse


def test_a_part_that_was_taken_up_goes_on_with_the_numbers_and_the_time_of_the_first() -> None:
    ears = (EarRecord("keys", 3, 2, 1),)
    parts = {"rate": 1000, "seconds": 60.0, "program": "ankle"}
    first = session(began="1", why="quit", heard=ears, denied=1, holds=2, pauses=3, **parts)
    second = session(began="2", why="done", continues="s", heard=(*ears, EarRecord("taught", 5, 4)), denied=1, holds=2,
                     pauses=3, ladder=True, next_in_days=2, doubtful=True, halts=(HALT,),
                     questions=(asked("pain", 1, 2), asked("pain", 0, 2)), steps=(eased("amount", "6", "asked"),),
                     devices=((7, "mic_lost"),), told=(("heel", "news_up"),), notes=(("a cushion", "caregiver"),),
                     exercise_ends=(("heel", "done"),), **parts)  # fmt: skip
    second = replace(second, session="t", sets=(replace(SET, began_at=None), SECOND))

    (whole,) = (one.record for one in joined([second, first]))

    assert [one.set_id for one in whole.sets] == [1, 2, 3, 4]
    assert [(one.began_at, one.ended_at) for one in whole.sets[2:]] == [(None, 60_200), (60_100, 60_200)]
    assert [(one.at, one.set_id) for one in whole.halts] == [(60_050, 3)]
    assert [(one.at, one.set_id) for one in whole.questions] == [(60_010, 3), (60_010, 0)]
    assert [one.at for one in whole.steps] == [60_010]
    assert whole.devices == ((60_007, "mic_lost"),)
    assert whole.heard == (EarRecord("keys", 6, 4, 2), EarRecord("taught", 5, 4))
    assert (whole.seconds, whole.denied, whole.holds, whole.pauses, whole.parts) == (120.0, 2, 4, 6, 2)
    assert (whole.session, whole.why, whole.next_in_days, whole.ladder, whole.doubtful) == ("s", "done", 2, True, True)
    assert (whole.told, whole.notes, whole.exercise_ends) == (second.told, second.notes, second.exercise_ends)
    assert (first.ladder, first.doubtful, first.parts) == (False, False, 1)


@pytest.mark.parametrize("part", [0, 1])
def test_what_holds_of_one_part_holds_of_the_whole(part: int) -> None:
    first = session(began="1", ladder=part == 0, doubtful=part == 0)
    second = session(began="2", session="t", continues="s", ladder=part == 1, doubtful=part == 1)

    assert [(one.record.ladder, one.record.doubtful) for one in joined([first, second])] == [(True, True)]


def test_sessions_come_in_order_and_one_that_continues_another_programs_stands_by_itself() -> None:
    first = session(began="1", program="ankle")
    other = replace(first, session="t", began="2", program="knee", continues="s")

    assert [one.record for one in joined([other, first])] == [first, other]
