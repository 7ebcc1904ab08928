"""A session that breaks off anywhere and is taken up: over both parts never more, or harder, than was planned."""

from __future__ import annotations

from collections import Counter
from dataclasses import replace
from datetime import UTC, date, datetime, timedelta
from random import Random
from typing import Any

import pytest
from budget import draws
from hypothesis import given, settings
from hypothesis import strategies as st
from scenes import RAISE, made

from coach.history import STILL_TODAY, broken_off, past
from coach.logbook import SessionRecord, joined
from coach.loglines.kinds import Answered, ScreenConfirmed, SessionEnded, SetBegun
from coach.program.model import Action, Program, Sides
from coach.program_files import read, shipped
from coach.session.commands import Say
from coach.session.events import On
from coach.session.plan import NEXT_DAY, TakenUp, Today, plan, turns
from coach.session.state import State
from coach.session.taken_up import Broken, BrokenExercise, ahead, take_up
from coach.tempo.units import to_samples
from coach.testing import RandomPerson, WatchedRun, live, random_history, random_program, record_of

BEGAN = datetime(2027, 1, 11, 9, 30, tzinfo=UTC)
DAY = date(2027, 1, 11)
PROGRAMS = [read(path) for path in shipped().values()]


def lived(today: Today, chance: Random) -> WatchedRun:
    run = WatchedRun(today)
    live(run, RandomPerson.any(chance))
    return run


def broken_at(run: WatchedRun, today: Today, keep: int, name: str = "a", began: datetime = BEGAN) -> SessionRecord:
    """Return the record of a session that was killed after so many lines."""
    return record_of(today, [one for one in run.records if not isinstance(one.fact, SessionEnded)][:keep], name, began)


def most_of(today: Today) -> Counter[tuple[str, str]]:
    """Return how many sets of each exercise and side are planned."""
    return Counter(
        (p.exercise.id, "+".join(s for s in sides if s))
        for p in today.exercises
        for _, sides in turns(p.exercise, p.exercise.levels[p.level], today.side)
    )


@settings(max_examples=draws(50, 150), deadline=None)
@given(st.integers(0, 2**32))
def test_over_all_parts_there_are_never_more_sets_nor_harder_ones_than_planned(seed: int) -> None:
    chance = Random(seed)
    program = chance.choice(PROGRAMS) if chance.random() < 0.5 else random_program(chance)
    history = random_history(chance, program, DAY)
    first = plan(program, history, DAY)
    planned = {p.exercise.id: p for p in first.exercises}
    today: Today | None = first
    records: list[SessionRecord] = []
    ran = 0.0
    for part in range(4):
        assert today is not None
        run = lived(today, chance)
        lines = [one for one in run.records if not isinstance(one.fact, SessionEnded)]
        began = BEGAN + timedelta(hours=part)
        records.append(broken_at(run, today, chance.randint(0, len(lines)), str(part), began))
        ran += records[-1].seconds
        broken = broken_off(records, program.id, began + timedelta(minutes=50))
        now = plan(program, (*history, *past(records, program.id)), DAY)
        today = take_up(now, broken) if broken else None
        if today is None:
            break
        assert all(question.id != NEXT_DAY for question in today.screen)
        assert len(today.screen) == len(program.screen)
        assert ahead(today)

    begun = [one for record in records for one in record.sets]
    if len(records) > 1 and not records[0].sets:
        return  # nothing had begun: the session began anew
    counted = Counter((one.exercise, one.side) for one in begun)
    assert all(counted[key] <= most for key, most in most_of(first).items())
    assert set(counted) <= set(most_of(first))
    assert len({(one.exercise, one.set, one.side) for one in begun}) == len(begun), "a set is done twice"
    lowest: dict[str, int] = {}
    for one in begun:
        exercise = planned[one.exercise].exercise
        level = [each.id for each in exercise.levels].index(one.level)
        assert level <= lowest.get(one.exercise, planned[one.exercise].level)
        lowest[one.exercise] = level
        assert (
            one.planned_high <= planned[one.exercise].target * (2 if "+" in one.side else 1)
            or level < planned[one.exercise].level
        )
    (whole,) = (one.record for one in joined(records))
    assert whole.sets_planned == sum(most_of(first).values())
    assert len({one.set_id for one in whole.sets}) == len(whole.sets) == len(begun)


def small() -> Program:
    return read(shipped()["ankle_steady"])


def calm(today: Today) -> WatchedRun:
    run = WatchedRun(today)
    live(run, RandomPerson(Random(0), odd=0.0, silent=0.0))
    return run


def until(run: WatchedRun, state: State) -> None:
    """Let somebody who is well answer until the session is in `state`."""
    person = RandomPerson(Random(2), odd=0.0, silent=0.0)
    while run.session.state is not state:
        assert not run.over, "an unusual answer ended it: take another chance"
        person.move(run)


def in_the_middle(**changes: Any) -> tuple[Today, SessionRecord]:
    """Return a plan and its session, killed in the middle of its second set."""
    today = plan(small(), (), DAY)
    run = calm(today)
    keep = [at for at, one in enumerate(run.records) if isinstance(one.fact, SetBegun)][1] + 1
    return today, replace(broken_at(run, today, keep), **changes)


def left_of(record: SessionRecord, *, hours: float = 0.5) -> Today | None:
    program = small()
    broken = broken_off([record], program.id, BEGAN + timedelta(hours=hours))
    return take_up(plan(program, past([record], program.id), DAY), broken) if broken else None


def test_what_is_left_is_what_did_not_begin() -> None:
    _, record = in_the_middle()

    left = left_of(record)

    assert left is not None
    assert len(record.sets) == 2
    assert sum(one.sets for one in ahead(left)) == record.sets_planned - 2


def test_the_screen_then_pain_then_a_whole_rest_come_before_the_first_set_and_its_set_up_is_said() -> None:
    _, record = in_the_middle()
    left = left_of(record)
    assert left is not None
    assert left.taken_up is not None

    run = calm(left)

    states = list(dict.fromkeys(state for _, state, _ in run.commands))
    wanted = [
        State.SCREENING,
        State.SCREEN_CHECK,
        State.ASKING,
        State.CONFIRMING,
        State.RESTING,
        State.INTRO,
        State.SETUP,
    ]
    assert [state for state in states if state in wanted] == wanted
    first = next(one for one in run.records if isinstance(one.fact, SetBegun))
    confirmed = next(one for one in run.records if isinstance(one.fact, ScreenConfirmed))
    place = left.exercises[left.taken_up.exercise_index]
    assert first.at - confirmed.at >= to_samples(place.exercise.levels[place.level].dose.rest)
    assert "taken_up" in {one.phrase.key for _, _, one in run.commands if isinstance(one, Say)}
    at, pain = next(
        (one.at, one.fact) for one in run.records if isinstance(one.fact, Answered) and one.fact.question == "pain"
    )
    assert (pain.set_id, at < first.at) == (0, True)


def test_silence_about_pain_begins_no_work_when_taken_up() -> None:
    _, record = in_the_middle()
    left = left_of(record)
    assert left is not None
    run = WatchedRun(left)
    until(run, State.ASKING)

    while not run.over and run.step():
        pass

    assert run.over
    assert not [one for one in run.records if isinstance(one.fact, SetBegun)]


def hurts_most(left: Today) -> WatchedRun:
    """Take up what is left; to the question about pain before it goes on, the answer is 10."""
    run = WatchedRun(left)
    until(run, State.ASKING)
    while run.agenda.talking:
        run.step()
    run.say(On.NUMBER, 10)
    while run.agenda.talking:
        run.step()
    run.say(On.YES)
    return run


def test_pain_above_the_limit_ends_what_is_taken_up() -> None:
    _, record = in_the_middle()
    left = left_of(record)
    assert left is not None
    run = hurts_most(left)

    assert run.session.end_why == "pain"


@pytest.mark.parametrize(("hours", "offered"), [(-0.1, False), (0.5, True), (5.9, True), (24.0, False), (48.0, False)])
def test_only_a_session_of_today_or_of_the_last_hours_is_taken_up(hours: float, offered: bool) -> None:
    _, record = in_the_middle()

    assert (left_of(record, hours=hours) is not None) is offered


def test_past_midnight_a_session_of_the_last_hours_is_still_the_same() -> None:
    _, record = in_the_middle()
    late = replace(record, began=datetime(2027, 1, 11, 23, 50).astimezone().astimezone(UTC).isoformat())
    soon = datetime(2027, 1, 12, 0, 10).astimezone()

    assert broken_off([late], late.program, soon) is not None
    assert broken_off([late], late.program, soon + STILL_TODAY) is None


@pytest.mark.parametrize("why", ["done", "pain", "unsteady", "asked", "screen", "time", "halts", "no_answer", ""])
def test_a_session_that_the_person_or_a_rule_ended_is_not_taken_up(why: str) -> None:
    _, record = in_the_middle(why=why)

    assert left_of(record) is None


def test_nothing_is_left_of_a_session_that_was_changed_since() -> None:
    _, record = in_the_middle(digest="0" * 64)

    assert left_of(record) is None


@pytest.mark.parametrize("why", ["pain", "unsteady", ""])
def test_an_exercise_in_which_somebody_halted_for_more_than_a_break_does_not_go_on(why: str) -> None:
    today, record = in_the_middle()
    run = WatchedRun(today)
    until(run, State.WORKING)
    run.say(On.STOP)
    halts = record_of(today, run.records, "a", BEGAN).halts
    told = replace(record, halts=(replace(halts[0], why=why, pain=2 if why == "pain" else None),))

    left = left_of(told)

    limits = small().limits
    if why == "unsteady" and limits.unsteady == "end_session":
        assert left is None
    else:
        assert left is not None
        assert left.taken_up is not None
        assert left.taken_up.over
        assert ahead(left)[0].planned.exercise.id != record.sets[0].exercise


@pytest.mark.parametrize("fewer", [0, 1])
def test_an_exercise_in_which_as_many_sets_were_cut_as_the_program_allows_does_not_go_on(fewer: int) -> None:
    _, record = in_the_middle()
    broken = broken_off([record], record.program, BEGAN + timedelta(hours=0.5))
    assert broken is not None
    cut = small().limits.cut_sets - fewer
    exercises = (replace(broken.exercises[0], cut=cut), *broken.exercises[1:])

    left = take_up(plan(small(), past([record], record.program), DAY), replace(broken, exercises=exercises))

    assert left is not None
    assert left.taken_up is not None
    assert left.taken_up.over == ("" if fewer else "cut_sets")
    assert left.taken_up.cut_sets == cut


def test_pain_that_was_told_and_never_measured_ends_the_day() -> None:
    today, record = in_the_middle()
    run = WatchedRun(today)
    until(run, State.WORKING)
    run.say(On.PAIN)
    halts = record_of(today, run.records, "a", BEGAN).halts

    assert left_of(replace(record, halts=halts)) is None


def test_the_parts_are_one_session_for_the_plan() -> None:
    today, record = in_the_middle()
    left = left_of(record)
    assert left is not None
    then = record_of(left, calm(left).records, "b", BEGAN + timedelta(hours=1), closed=False)

    (one,) = past([then, record], today.program.id)

    assert one.why == "done"
    assert one.session == "a"
    assert [each.sets_planned for each in one.exercises] == [
        len(most_turns(today, each.exercise)) for each in one.exercises
    ]
    assert one.exercises[0].sets_in_full == one.exercises[0].sets_planned - 1, "the set it broke off in is not whole"
    assert one.next_in_days == then.next_in_days


def test_pain_that_is_told_before_it_goes_on_counts_for_what_was_done_before() -> None:
    today, record = in_the_middle()
    left = left_of(record)
    assert left is not None
    run = hurts_most(left)
    while run.step():
        pass
    then = record_of(left, run.records, "b", BEGAN + timedelta(hours=1), closed=False)

    (before,) = past([record], today.program.id)
    (one,) = past([then, record], today.program.id)

    assert [each.exercise for each in one.exercises] == [each.exercise for each in before.exercises]
    assert {each.pain for each in before.exercises} != {each.pain for each in one.exercises} == {10}


def most_turns(today: Today, name: str) -> list[Any]:
    (planned,) = [p for p in today.exercises if p.exercise.id == name]
    return list(turns(planned.exercise, planned.exercise.levels[planned.level], today.side))


def test_a_session_that_continues_a_missing_one_stays_on_its_own() -> None:
    _, record = in_the_middle()

    lone = replace(record, continues="gone")
    other = replace(record, session="b", continues="a", program="another")

    assert [one.record for one in joined([lone])] == [lone]
    assert [one.record for one in joined([record, other])] == [record, other]


# -- case by case: two exercises of two levels, 3-4 reps, two sets each; the first set of the first had begun --


def planned_now(**limits: Any) -> Today:
    return plan(made(RAISE, RAISE, exercises=2, **limits), (), DAY)


def cut_off(today: Today, of_first: dict[str, Any] | None = None, **changes: Any) -> Broken:
    one = BrokenExercise("exercise_0", "level_1", 4, "level_1", 4, begun=((1, ""),))
    exercises = (replace(one, **(of_first or {})), replace(one, exercise="exercise_1", begun=()))
    return replace(Broken("first", today.program.digest, 60.0, exercises), **changes)


def going_on(today: Today, of_first: dict[str, Any] | None = None, **changes: Any) -> TakenUp:
    left = take_up(today, cut_off(today, of_first, **changes))
    assert left is not None
    assert left.taken_up is not None
    return left.taken_up


HALT = ("exercise_1", "break")


@pytest.mark.parametrize(
    ("told", "goes_on"),
    [
        ({"worst_pain": 5}, True),
        ({"worst_pain": 6}, False),
        ({"pain_open": True}, False),
        ({"halts": (HALT,) * 2}, True),
        ({"halts": (HALT,) * 3}, False),
        ({"seconds": 1199.9}, True),
        ({"seconds": 1200.0}, False),
    ],
)
def test_it_goes_on_only_within_the_limits_of_the_program(told: dict[str, Any], goes_on: bool) -> None:
    today = planned_now(pain_carry_on_to=3, pain_ease_to=5, halts=3, minutes=20)

    assert (take_up(today, cut_off(today, **told)) is not None) is goes_on


@pytest.mark.parametrize("why", ["unsteady", "tired"])
@pytest.mark.parametrize("action", [Action.END_EXERCISE, Action.END_SESSION])
def test_what_ends_a_session_by_the_program_ends_one_that_broke_off(why: str, action: Action) -> None:
    ends = {"unsteady": Action.END_EXERCISE, "tired": Action.END_EXERCISE, why: action}
    today = planned_now(**ends)

    goes_on = take_up(today, cut_off(today, halts=(("exercise_0", why),))) is not None
    assert goes_on is (action is Action.END_EXERCISE)


def test_what_would_end_a_session_ends_none_in_which_it_was_not_told() -> None:
    strict = planned_now(unsteady=Action.END_SESSION, tired=Action.END_SESSION, pain_carry_on_to=0, pain_ease_to=0)

    assert going_on(strict).sore is False
    assert going_on(strict, worst_pain=0).sore is False


@pytest.mark.parametrize("changes", [{"exercise": "gone"}, {"planned_level": "gone"}, {"level": "gone"}])
def test_a_session_with_an_exercise_gone_from_the_program_does_not_go_on(changes: dict[str, str]) -> None:
    today = planned_now()

    assert take_up(today, cut_off(today, changes)) is None
    assert take_up(today, cut_off(today, {"begun": ()})) is None


@pytest.mark.parametrize(
    ("told", "sore"),
    [
        ({}, False),
        ({"worst_pain": 3}, False),
        ({"worst_pain": 4}, True),
        ({"next_day_worse": True}, True),
        ({"halts": (("exercise_1", "unsteady"),)}, True),
        ({"halts": (("exercise_1", "tired"),)}, False),
    ],
)
def test_what_was_sore_before_it_broke_off_stays_known(told: dict[str, Any], sore: bool) -> None:
    today = planned_now(pain_carry_on_to=3, pain_ease_to=5, unsteady=Action.STEP_DOWN, halts=3)

    assert going_on(today, **told).sore is sore


@pytest.mark.parametrize(
    ("halts", "over"),
    [
        ((), ""),
        ((("exercise_0", "break"),), ""),
        ((("exercise_1", "pain"),), ""),
        ((("exercise_0", ""),), "halted_unexplained"),
        ((("exercise_0", "break"), ("exercise_0", "pain"), ("exercise_0", "tired")), "pain"),
    ],
)
def test_a_halt_for_more_than_a_break_ends_its_own_exercise_with_its_cause(
    halts: tuple[tuple[str, str], ...], over: str
) -> None:
    today = planned_now(halts=9, tired=Action.END_SET)

    assert going_on(today, halts=halts).over == over
    assert going_on(today, {"over": "eased"}, halts=halts).over == "eased"


@pytest.mark.parametrize(
    ("of_first", "level", "target"),
    [
        ({}, 1, 4),
        ({"target": 2}, 1, 2),
        ({"planned_target": 3}, 1, 3),
        ({"level": "level_0"}, 0, 3),
        ({"level": "level_0", "target": 2}, 0, 2),
        ({"planned_target": 99, "target": 99}, 1, 4),
        ({"target": 0}, 1, 1),
    ],
)
def test_it_goes_on_with_the_easiest_that_was_planned_or_eased_to(
    of_first: dict[str, Any], level: int, target: int
) -> None:
    today = planned_now()
    high = replace(today, exercises=tuple(replace(one, target=4) for one in today.exercises))

    taken = going_on(high, of_first)

    assert (taken.levels[0], taken.targets[0]) == (level, target)
    assert (taken.levels[1], taken.targets[1]) == (1, 4)


@pytest.mark.parametrize(("now", "goes_on_with"), [((1, 3), (1, 3)), ((0, 4), (0, 3)), ((0, 2), (0, 2))])
def test_the_rest_of_a_session_is_as_easy_as_todays_plan(now: tuple[int, int], goes_on_with: tuple[int, int]) -> None:
    today = planned_now()
    first, second = today.exercises

    taken = going_on(replace(today, exercises=(replace(first, level=now[0], target=now[1]), second)))

    assert list(zip(taken.levels, taken.targets, strict=True)) == [goes_on_with, (1, 3)]


def test_an_exercise_not_in_todays_plan_stays_within_its_range() -> None:
    taken = going_on(replace(planned_now(), exercises=()), {"planned_target": 99, "target": 99})

    assert taken.targets == (4, 4)


@pytest.mark.parametrize(("written", "kept"), [(99, 4), (4, 4), (0, 1)])
def test_the_plan_is_told_as_it_was_within_its_range_and_news_only_of_what_had_not_begun(
    written: int, kept: int
) -> None:
    today = planned_now()
    today = replace(today, exercises=tuple(replace(one, news=(one.exercise.id,)) for one in today.exercises))

    left = take_up(today, cut_off(today, {"planned_target": written}))

    assert left is not None
    first, second = left.exercises
    assert (first.level, first.target, first.news) == (1, kept, ())
    assert (second.level, second.target, second.news) == (1, 4, ("exercise_1",))
    assert [one.key for one in first.because] == ["because_taken_up"]
    assert left.first_session is False


def test_what_is_carried_over_is_what_was_recorded() -> None:
    today = planned_now(halts=3, cut_sets=2)

    taken = going_on(today, {"begun": ((1, ""),), "cut": 1, "stretch": 1.25}, halts=(HALT,), seconds=77.0)

    assert taken == TakenUp(
        "first", 0, 0, (1, 1), (3, 3), over="", stretch=1.25, cut_sets=1, halts=1, seconds=77.0, sore=False
    )  # fmt: skip
    assert going_on(today, {"stretch": 0.5}).stretch == 1.0


@pytest.mark.parametrize(
    ("sides", "side", "begun", "sets"),
    [
        (Sides.EACH, "", "right", 3),
        (Sides.EACH, "", "left", 2),
        (Sides.EACH, "left", "left", 3),
        (Sides.ALTERNATING, "", "right+left", 1),
        (Sides.AFFECTED, "left", "left", 1),
    ],
)
def test_it_goes_on_after_the_side_that_began(sides: Sides, side: str, begun: str, sets: int) -> None:
    today = replace(plan(made(RAISE, RAISE, exercises=2, sides=sides), (), DAY), side=side)

    left = take_up(today, cut_off(today, {"begun": ((1, begun),)}))

    assert left is not None
    assert ahead(left)[0].sets == sets


@pytest.mark.parametrize("over", ["", "eased"])
def test_what_is_ahead_is_the_rest_of_its_exercise_and_all_that_follow_as_easy_as_they_were_made(over: str) -> None:
    today = plan(made(RAISE, RAISE, sets=(2, 3), exercises=3), (), DAY)
    before = TakenUp(
        "first", 1, 0, (1, 0, 1), (4, 2, 3), over=over, stretch=1.0, cut_sets=0, halts=0, seconds=60.0, sore=False
    )  # fmt: skip

    found = ahead(replace(today, taken_up=before))

    assert [(one.planned.exercise.id, one.planned.level, one.planned.target, one.sets) for one in found] == [
        *([] if over else [("exercise_1", 0, 2, 1)]), ("exercise_2", 1, 3, 3),
    ]  # fmt: skip


def test_after_a_set_that_is_not_in_the_plan_its_exercise_is_over() -> None:
    today = planned_now()

    left = take_up(today, cut_off(today, {"begun": ((1, ""), (7, "left"))}))

    assert left is not None
    assert left.taken_up is not None
    assert left.taken_up.turn == 1
    assert [(one.planned.exercise.id, one.sets) for one in ahead(left)] == [("exercise_1", 2)]
