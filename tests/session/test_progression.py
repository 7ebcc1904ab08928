"""The level and amount reached: decisions alone raise a level, sessions and gaps lower it, whatever the history."""

from __future__ import annotations

from dataclasses import replace
from datetime import date, timedelta
from random import Random
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from coach.cli.labels import Labels
from coach.program.model import AfterGap, Program, Range, Reps
from coach.program_files import read, shipped
from coach.session.past import Decision, PastExercise, PastSession, Verdict
from coach.session.plan import PlannedExercise, dose, plan, turns
from coach.session.progression import Lasting, LastingCause, in_order, lasting
from coach.session.proposals import proposals
from coach.testing import random_decisions, random_history, random_program
from coach.voice.pack import load_pack

DAY = date(2027, 1, 31)
LABELS = Labels(load_pack("en").screens)
ANKLE = read(shipped()["ankle_steady"])
LEVELS = ("both_hands", "fingertips", "heels_over_step")
HEEL = PastExercise("heel_lowering", "both_hands", 9, sets_planned=2, sets_in_full=2, pain=1, effort=4, unsteady=False)


def past(days_ago: int, *done: PastExercise) -> PastSession:
    day = DAY - timedelta(days=days_ago)
    return PastSession(day, "done", done or (HEEL,), began=f"{day}T10:00:00.000+00:00")


def unread(days_ago: int) -> PastSession:
    day = DAY - timedelta(days=days_ago)
    return PastSession(day, "", (), began=f"{day}T10:00:00.000+00:00", unread=True)


def decided(days_ago: int, verdict: str, to: str, hour: int = 12) -> Decision:
    day = DAY - timedelta(days=days_ago)
    at = f"{day}T{hour:02d}:00:00.000+00:00"
    return Decision("ankle_steady", "heel_lowering", Verdict(verdict), "", to, "Kim Rivers", "", at, day)


def heel(*events: PastSession | Decision, program: Program = ANKLE) -> PlannedExercise:
    history = tuple(one for one in events if isinstance(one, PastSession))
    decisions = tuple(one for one in events if isinstance(one, Decision))
    return plan(program, history, DAY, decisions).exercises[0]


def level(*events: PastSession | Decision) -> str:
    return LEVELS[heel(*events).level]


def keys(planned: PlannedExercise) -> list[str]:
    return [one.key for one in planned.because]


def test_a_decision_moves_the_level_up_with_its_amount_at_the_bottom_and_is_told_until_it_was_done() -> None:
    up = decided(2, "up", "fingertips")
    planned = heel(past(3), up)

    assert (planned.level, planned.target, planned.news) == (1, 8, ("news_up",))
    assert keys(planned) == ["because_decided_up", "because_bottom"]
    done = heel(past(3), up, past(1, replace(HEEL, level="fingertips", target=8)))
    assert (done.level, done.target, done.news) == (1, 9, ())


def test_a_decision_to_stay_is_told_is_the_reason_for_the_level_and_leaves_the_amount() -> None:
    planned = heel(past(3), decided(2, "stay", "both_hands"))

    assert (planned.level, planned.target, planned.news) == (0, 10, ("news_stay",))
    assert keys(planned) == ["because_decided_stay", "because_on"]


@pytest.mark.parametrize("verdict", ["up", "down"])
def test_a_step_without_effect_is_not_mentioned_and_the_amount_begins_at_the_bottom(verdict: str) -> None:
    planned = heel(past(3), decided(2, verdict, "both_hands"))

    assert (planned.level, planned.target, planned.news) == (0, 8, ())
    assert keys(planned) == ["because_start_level", "because_bottom"]


def test_a_session_at_a_higher_level_without_a_decision_raises_nothing() -> None:
    assert level(past(1, replace(HEEL, level="heels_over_step"))) == "both_hands"


def test_a_level_that_was_eased_stays_down_until_it_is_decided_up_again() -> None:
    high = replace(HEEL, level="fingertips")
    eased = replace(HEEL, eased=True)
    story: list[PastSession | Decision] = [decided(9, "up", "fingertips"), past(8, high), past(7, eased)]

    assert level(*story) == "both_hands"
    assert keys(heel(*story)) == ["because_lowered", "because_eased"]
    assert level(*story, past(6), past(5), past(4)) == "both_hands"
    assert level(*story, past(6), decided(5, "stay", "both_hands"), past(4)) == "both_hands"
    assert level(*story, past(6), decided(5, "up", "fingertips"), past(4, high)) == "fingertips"


def test_stay_and_down_never_raise_whatever_level_they_name() -> None:
    for verdict in ("stay", "down"):
        assert level(past(3), decided(1, verdict, "heels_over_step")) == "both_hands"


def test_one_decision_up_is_one_level_at_most() -> None:
    assert level(past(3), decided(1, "up", "heels_over_step")) == "fingertips"


def test_of_two_decisions_on_one_day_the_last_counts_alone() -> None:
    up, stay = decided(1, "up", "fingertips", hour=9), decided(1, "stay", "both_hands", hour=10)

    assert level(past(3), up, stay) == level(past(3), stay, up) == "both_hands"
    assert level(past(3), up, replace(up, at=stay.at)) == "fingertips"
    assert level(past(3), replace(up, day=DAY - timedelta(days=2)), replace(up, to_level=LEVELS[2])) == LEVELS[2]


def test_a_step_up_dated_in_the_future_waits_and_a_step_down_does_not() -> None:
    planned = heel(past(3), decided(-5, "up", "fingertips"))

    assert (planned.level, keys(planned)[-1]) == (0, "because_decision_future")
    assert level(past(3), decided(2, "up", "fingertips"), decided(-5, "down", "both_hands")) == "both_hands"


def test_a_decision_for_another_exercise_or_program_changes_nothing() -> None:
    up = decided(1, "up", "fingertips")

    assert level(past(3), replace(up, exercise="toe_reach")) == "both_hands"
    assert level(past(3), replace(up, program="other")) == "both_hands"


@pytest.mark.parametrize(
    ("after", "days_ago", "expected"),
    [
        (AfterGap.LEVEL_DOWN, 13, (1, 10, "because_on")),
        (AfterGap.LEVEL_DOWN, 14, (0, 8, "because_bottom")),
        (AfterGap.BOTTOM, 13, (1, 10, "because_on")),
        (AfterGap.BOTTOM, 14, (1, 8, "because_gap_amount")),
    ],
)
def test_after_a_gap_it_begins_lower_as_the_program_says(
    after: AfterGap, days_ago: int, expected: tuple[int, int, str]
) -> None:
    program = replace(ANKLE, schedule=replace(ANKLE.schedule, after_gap=after))
    story = (decided(21, "up", "fingertips"), past(days_ago, replace(HEEL, level="fingertips")))

    planned = heel(*story, program=program)

    assert (planned.level, planned.target, keys(planned)[-1]) == expected
    assert ("news_gap" in planned.news) is (days_ago == 14)


def test_at_the_easiest_level_a_gap_leads_to_the_bottom_of_the_range() -> None:
    planned = heel(past(20, replace(HEEL, target=12)))

    assert (planned.level, planned.target, keys(planned)[-1]) == (0, 8, "because_gap_amount")


def test_what_a_gap_took_stays_down_until_it_is_decided_up() -> None:
    story = (decided(29, "up", "fingertips"), past(28, replace(HEEL, level="fingertips")), past(5), past(4))

    assert level(*story) == "both_hands"
    assert heel(*story).news == ()


@pytest.mark.parametrize("pain", [4, None])
def test_sessions_that_hurt_or_whose_pain_is_not_known_do_not_end_a_gap(pain: int | None) -> None:
    high = replace(HEEL, level="fingertips")
    sore = [past(days, replace(high, pain=pain)) for days in range(1, 14)]

    assert level(decided(21, "up", "fingertips"), past(14, high), *sore) == "both_hands"
    assert level(decided(21, "up", "fingertips"), past(14, high), *sore, past(6, high)) == "fingertips"


@pytest.mark.parametrize(
    ("changes", "news", "cause", "pain"),
    [
        ({"pain": 4}, "news_lasting_pain", LastingCause.PAIN, 4),
        ({"unsteady": True}, "news_lasting_unsteady", LastingCause.UNSTEADY, 1),
        ({"pain": None}, "news_lasting_unknown", LastingCause.UNKNOWN, None),
    ],
)
def test_trouble_that_lasts_is_no_absence_holds_the_exercise_down_and_is_told_as_what_it_is(
    changes: dict[str, Any], news: str, cause: LastingCause, pain: int | None
) -> None:
    high = replace(HEEL, level="fingertips")
    trained = [past(days, replace(high, **changes)) for days in range(1, 20)]
    up, history = decided(21, "up", "fingertips"), (past(20, high), *trained)

    planned = heel(up, *history)

    assert (planned.level, planned.target, planned.news) == (0, 8, (news,))
    assert "because_lasting_level" in keys(planned)
    found = lasting(ANKLE, history, (up,), DAY)
    assert found == (Lasting(HEEL.exercise, cause, DAY - timedelta(days=20), 20, 19, pain, 3),)


def test_trouble_that_lasts_is_over_with_a_calm_session_or_a_decision_and_an_absence_is_a_gap() -> None:
    trained = [past(days, replace(HEEL, pain=4)) for days in range(1, 20)]

    assert heel(past(20), *trained).news == ("news_lasting_pain",)
    assert heel(past(20), *trained[1:], past(1)).news == ()
    assert heel(past(20), *trained, decided(0, "stay", "both_hands")).news == ("news_stay",)
    assert heel(past(40), past(14, replace(HEEL, pain=4))).news == ("news_gap",)
    assert heel(past(40), past(13, replace(HEEL, pain=4))).news == ("news_lasting_pain",)


def test_trouble_that_lasts_in_several_exercises_is_told_once_a_session() -> None:
    others = tuple(replace(HEEL, exercise=each.id, level=each.start_level, pain=4) for each in ANKLE.exercises)
    history = tuple(past(days, *others) for days in range(20))

    assert [one.news for one in plan(ANKLE, history, DAY).exercises] == [("news_lasting_pain",), (), ()]


@pytest.mark.parametrize(
    ("why", "target"),
    [("done", 10), ("time", 10), ("asked", 10), ("halts", 9), ("pain", 9), ("unsteady", 9), ("tired", 9),
     ("no_answer", 9), ("no_answer_halt", 9)],
)  # fmt: skip
def test_an_amount_grows_only_after_a_session_that_no_rule_and_no_silence_ended(why: str, target: int) -> None:
    assert heel(replace(past(1), why=why)).target == target


def test_a_decision_ends_a_gap() -> None:
    story = (decided(21, "up", "fingertips"), past(20, replace(HEEL, level="fingertips")))

    assert level(*story) == "both_hands"
    assert level(*story, decided(12, "stay", "fingertips")) == "fingertips"


@pytest.mark.parametrize(
    ("changes", "because"),
    [
        ({"eased": True, "pain": 3}, "because_eased"),
        ({"eased": True, "pain": 4}, "because_hurt"),
        ({"pain": 4, "unsteady": True}, "because_unsteady"),
    ],
)
def test_why_it_begins_at_the_bottom_again_is_told_with_its_worst_cause(changes: dict[str, Any], because: str) -> None:
    planned = heel(past(1, replace(HEEL, **changes)))

    assert (planned.target, keys(planned)[-1]) == (8, because)


def test_a_gap_ended_by_a_decision_is_not_mentioned_any_more() -> None:
    story = (decided(29, "up", "fingertips"), past(28, replace(HEEL, level="fingertips")))

    assert heel(*story).news == ("news_gap",)
    assert heel(*story, decided(5, "stay", "both_hands")).news == ("news_stay",)


def test_a_session_dated_in_the_future_ends_no_gap_and_makes_none() -> None:
    assert keys(heel(past(20), past(-900)))[-1] == "because_gap_amount"
    assert keys(heel(past(1), past(-900)))[-1] == "because_on"


def test_a_renamed_level_falls_to_the_safest_known_and_says_so() -> None:
    start_high = replace(ANKLE, exercises=(replace(ANKLE.exercises[0], start_level="fingertips"),))
    renamed = past(1, replace(HEEL, level="on_fingertips"))
    eased = past(1, replace(HEEL, level="with_both_hands", eased=True))

    at_start = heel(renamed, program=start_high)
    assert (at_start.level, keys(at_start)[-1]) == (1, "because_level_gone")
    assert heel(eased, program=start_high).level == 0
    assert heel(past(3), decided(2, "up", "gone")).level == 0
    assert keys(heel(past(3), decided(2, "up", "gone")))[-1] == "because_decision_gone"


def test_a_decision_down_to_a_level_that_is_gone_is_one_level_down() -> None:
    story = (decided(9, "up", "fingertips"), past(8, replace(HEEL, level="fingertips")), decided(7, "down", "gone"))

    assert level(*story) == "both_hands"


def test_a_smaller_range_of_a_new_version_is_kept_to() -> None:
    exercise = ANKLE.exercises[0]
    work = exercise.levels[0].dose.work
    assert isinstance(work, Reps)
    lower = replace(exercise.levels[0], dose=replace(exercise.levels[0].dose, work=replace(work, count=Range(4, 6))))
    smaller = replace(ANKLE, exercises=(replace(exercise, levels=(lower,), start_level=lower.id),))

    planned = heel(past(1), program=smaller)

    assert (planned.target, keys(planned)[-1]) == (6, "because_smaller_range")


def test_a_session_that_cannot_be_read_holds_the_level_and_the_amount_at_what_was_last_done() -> None:
    assert heel(past(2)).target == 10
    held = heel(past(2), unread(1))

    assert (held.level, held.target, keys(held)[-1]) == (0, 9, "because_unread")
    assert heel(past(3), unread(2), unread(1)).target == 9
    assert heel(past(3), unread(2), past(1)).target == 10, "what is known since then counts again"
    assert heel(past(2, replace(HEEL, pain=6)), unread(1)).target == 8
    assert heel(past(3), decided(2, "up", "fingertips"), unread(1)).news == ("news_up",)
    assert heel(unread(1)).target == 8


def test_a_session_that_cannot_be_read_ends_no_gap() -> None:
    assert "because_gap_amount" in keys(heel(past(40), unread(1)))


# -- after unsteadiness or a safety ending -----------------------------------------------------------------------------

STAND = PastExercise("one_leg_stand", "fingertips", 15, 4, 4, pain=0, effort=3, unsteady=False, least=15)


def standing_amount(*history: PastSession) -> tuple[int, str]:
    planned = plan(ANKLE, history, DAY).exercises[1]
    assert planned.exercise.id == STAND.exercise
    return planned.target, keys(planned)[-1]


def test_after_unsteadiness_in_one_exercise_no_amount_of_the_program_grows_next_time() -> None:
    shaky = replace(HEEL, unsteady=True)

    assert standing_amount(past(1, HEEL, STAND)) == (20, "because_on")
    assert standing_amount(past(1, shaky, STAND)) == (15, "because_held")
    assert standing_amount(past(2, HEEL, STAND), past(1, shaky)) == (15, "because_held")
    assert standing_amount(past(2, shaky, STAND), past(1, HEEL, STAND)) == (20, "because_on"), "it was done once more"
    assert standing_amount(past(3, HEEL, STAND), past(2, shaky), past(1, HEEL)) == (15, "because_held")


@pytest.mark.parametrize("why", ["pain", "unsteady", "halts", "screen", "no_answer_halt"])
def test_after_a_session_that_ended_for_safety_no_amount_of_the_program_grows_next_time(why: str) -> None:
    ended = replace(past(1), why=why)

    assert standing_amount(past(2, HEEL, STAND), ended) == (15, "because_held")
    assert standing_amount(past(2, HEEL, STAND), replace(ended, exercises=())) == (15, "because_held")
    assert standing_amount(past(2, HEEL, STAND), replace(ended, why="asked")) == (20, "because_on")


def test_unsteadiness_told_outside_of_any_exercise_holds_the_whole_program() -> None:
    assert standing_amount(past(2, HEEL, STAND), replace(past(1), gave_way=True)) == (15, "because_held")


# -- as many as stay steady -------------------------------------------------------------------------------------------

KNEE = read(shipped()["kneecap_steady"])
STEADY = next(one for one in KNEE.exercises if one.levels[0].dose.work.amount.steady)
"""A shipped exercise of as many as stay steady, 6 to 12, that joins later."""
ALONE = replace(KNEE, exercises=(replace(STEADY, joins_after=None),))


def as_many(target: int, least: int | None, **changes: Any) -> PastExercise:
    done = PastExercise(STEADY.id, STEADY.start_level, target, sets_planned=2, sets_in_full=2, pain=1, effort=4,
                        unsteady=False, least=least)  # fmt: skip
    return replace(done, **changes)


def steady_amount(*done: PastExercise) -> tuple[int, str]:
    history = tuple(past(len(done) - at, one) for at, one in enumerate(done))
    (planned,) = plan(ALONE, history, DAY).exercises
    return planned.target, keys(planned)[-1]


def test_as_many_as_stay_steady_begins_at_its_floor_and_follows_what_was_done() -> None:
    assert steady_amount() == (6, "because_bottom")
    assert steady_amount(as_many(6, 6)) == (7, "because_on")
    assert steady_amount(as_many(10, 8)) == (8, "because_as_many")
    assert steady_amount(as_many(10, 8), as_many(8, 8)) == (9, "because_on")
    assert steady_amount(as_many(10, 3)) == (6, "because_as_many")
    assert steady_amount(as_many(12, 12)) == (12, "because_top")


@pytest.mark.parametrize(
    "changes", [{"pain": 4}, {"unsteady": True}, {"eased": True}, {"eased": True, "pain": 6, "sets_in_full": 1}]
)
def test_as_many_as_stay_steady_obeys_easing_like_any_amount(changes: dict[str, Any]) -> None:
    assert steady_amount(as_many(10, 10, **changes))[0] == 6


def test_as_many_as_stay_steady_begins_at_its_floor_after_a_gap() -> None:
    (planned,) = plan(ALONE, (past(30, as_many(11, 11)),), DAY).exercises

    assert (planned.target, keys(planned)[-1]) == (6, "because_gap_amount")


# -- what holds for every history -------------------------------------------------------------------------------------


class Story:
    """A program, a history and decisions made by chance."""

    def __init__(self, seed: int) -> None:
        self.chance = Random(seed)
        self.program = random_program(self.chance)
        self.history = random_history(self.chance, self.program, DAY)
        self.decisions = random_decisions(self.chance, self.program, DAY)

    def planned(self, *more: PastSession) -> dict[str, PlannedExercise]:
        today = plan(self.program, (*self.history, *more), DAY, self.decisions)
        return {planned.exercise.id: planned for planned in today.exercises}

    def due(self, *more: PastSession) -> set[tuple[str, Verdict]]:
        found = proposals(self.program, (*self.history, *more), self.decisions, DAY)
        return {(one.exercise, one.verdict) for one in found if one.due}


stories = st.integers(0, 2**32).map(Story)


@given(stories)
def test_nothing_planned_is_more_than_the_program_says(story: Story) -> None:
    for planned in story.planned().values():
        within = dose(planned.exercise, planned.level).work.amount
        assert within.low <= planned.target <= within.high
        assert planned.because


@given(stories)
def test_every_reason_has_all_that_its_wording_names_and_levels_and_days_that_there_are(story: Story) -> None:
    today = plan(story.program, story.history, DAY, story.decisions)
    reasons = [*today.because, *(one for planned in today.exercises for one in planned.because)]
    known = {level.id for exercise in story.program.exercises for level in exercise.levels}

    for reason in reasons:
        values = dict(reason.values)
        assert LABELS.clause(reason)
        assert not {None, "None", ""} & set(values.values()), reason
        assert values.get("level", story.program.exercises[0].start_level) in known
        assert date.fromisoformat(str(values.get("day", DAY))) <= DAY + timedelta(days=365)
        assert int(values.get("target", 1)) > 0


@given(stories)
def test_no_level_is_higher_than_the_start_and_one_for_each_day_with_a_decision_up(story: Story) -> None:
    for planned in story.planned().values():
        ups = {d.day for d in story.decisions if d.exercise == planned.exercise.id and d.verdict is Verdict.UP}
        start = [level.id for level in planned.exercise.levels].index(planned.exercise.start_level)
        assert planned.level <= start + len(ups)


@given(stories, st.sampled_from((Verdict.STAY, Verdict.DOWN)))
def test_no_decision_to_stay_or_go_down_raises_a_level(story: Story, verdict: Verdict) -> None:
    before = story.planned()
    new = random_decisions(story.chance, story.program, DAY)[:1]
    story.decisions += tuple(
        replace(decision, verdict=verdict, day=DAY, at=f"{DAY}T23:59:59.000+00:00") for decision in new
    )

    for exercise, planned in story.planned().items():
        same_day = any(d.day == DAY and d.exercise == exercise for d in story.decisions[:-1])
        assert same_day or planned.level <= before[exercise].level


@given(stories)
def test_the_order_of_history_and_decisions_changes_nothing(story: Story) -> None:
    before = plan(story.program, story.history, DAY, story.decisions)
    history, decisions = list(story.history), list(story.decisions)
    story.chance.shuffle(history)
    story.chance.shuffle(decisions)

    assert plan(story.program, tuple(history), DAY, tuple(decisions)) == before


@given(stories, st.integers(0, 30))
def test_a_painful_session_put_in_anywhere_makes_nothing_harder(story: Story, days_ago: int) -> None:
    program = story.program
    done = tuple(
        PastExercise(
            exercise=exercise.id,
            level=(level := story.chance.choice(exercise.levels)).id,
            target=story.chance.randint(1, 30),
            sets_planned=len(turns(exercise, level, program.affected)),
            sets_in_full=len(turns(exercise, level, program.affected)),
            pain=story.chance.randint(program.limits.pain_carry_on_to + 1, 10),
            effort=None,
            unsteady=False,
        )
        for exercise in program.exercises
        if story.chance.random() < 0.8
    )
    before = story.planned()

    ended = story.chance.choice(("done", "done", "pain", "unsteady", "halts", "tired"))
    shaky = tuple(replace(one, unsteady=story.chance.random() < 0.3) for one in done)
    after = story.planned(PastSession(DAY - timedelta(days=days_ago), ended, shaky))

    assert set(after) <= set(before)
    for exercise, planned in after.items():
        was = before[exercise]
        assert (planned.level, planned.target) <= (was.level, was.target)


@given(stories, st.lists(st.integers(0, 60), min_size=1, max_size=3))
def test_a_session_that_cannot_be_read_makes_nothing_harder_wherever_it_lies(story: Story, days: list[int]) -> None:
    lost = [unread(days_ago) for days_ago in days]
    before = story.planned()
    due = story.due()

    after = story.planned(*lost)
    still = story.due(*lost)

    assert set(after) <= set(before), "one may join later by itself"
    for exercise, planned in after.items():
        assert (planned.level, planned.target) <= (before[exercise].level, before[exercise].target)
    assert still <= due | {(exercise, Verdict.ADMIT) for exercise in before}


@given(stories)
def test_pain_that_nobody_answered_is_never_better_than_no_pain(story: Story) -> None:
    story.program = replace(story.program, schedule=replace(story.program.schedule, gap_days=365))  # see the gaps above
    said_none = story.history
    silent = tuple(
        replace(one, exercises=tuple(replace(done, pain=None) for done in one.exercises)) for one in story.history
    )
    story.history = tuple(
        replace(one, exercises=tuple(replace(done, pain=0, pain_unanswered=False) for done in one.exercises))
        for one in said_none
    )
    best = story.planned()
    story.history = silent

    for exercise, planned in story.planned().items():
        assert (planned.level, planned.target) <= (best[exercise].level, best[exercise].target)


# -- what lies on an edge ---------------------------------------------------------------------------------------------


@pytest.mark.parametrize(("pain", "because"), [(3, "because_on"), (4, "because_hurt"), (0, "because_on")])
def test_pain_hurts_from_one_above_carry_on_to(pain: int, because: str) -> None:
    planned = heel(past(1, replace(HEEL, pain=pain)))

    assert ANKLE.limits.pain_carry_on_to == 3
    assert keys(planned)[-1] == because
    assert dict(planned.because[-1].values)["pain"] == pain


@pytest.mark.parametrize(("planned", "in_full", "target"), [(2, 2, 10), (2, 3, 10), (2, 1, 9), (1, 1, 10), (0, 0, 9)])
def test_an_amount_grows_once_every_planned_set_ran_in_full_and_there_was_one(
    planned: int, in_full: int, target: int
) -> None:
    assert heel(past(1, replace(HEEL, sets_planned=planned, sets_in_full=in_full))).target == target


@pytest.mark.parametrize(("least", "target"), [(None, 10), (9, 10), (8, 9)])
def test_an_amount_grows_only_if_no_set_fell_short_of_it(least: int | None, target: int) -> None:
    assert heel(past(1, replace(HEEL, least=least))).target == target


@pytest.mark.parametrize(("done", "target", "because"), [(11, 12, "because_on"), (12, 12, "because_top")])
def test_an_amount_grows_to_the_top_of_its_range_and_says_when_it_is_there(
    done: int, target: int, because: str
) -> None:
    planned = heel(past(1, replace(HEEL, target=done)))

    assert (planned.target, keys(planned)[-1]) == (target, because)


def test_at_a_level_above_the_one_reached_an_amount_neither_grows_nor_counts() -> None:
    planned = heel(past(1, replace(HEEL, level="fingertips", target=12)))

    assert (planned.level, planned.target, keys(planned)[-1]) == (0, 8, "because_same")


def test_sessions_of_one_day_without_an_hour_come_before_those_with_one() -> None:
    day = DAY - timedelta(days=1)
    morning = PastSession(day, "done", (replace(HEEL, target=12),), began=f"{day}T08:00:00.000+00:00")
    undated = PastSession(day, "done", (HEEL,))

    assert in_order((morning, undated)) == in_order((undated, morning)) == (undated, morning)


def test_a_decision_of_the_very_moment_of_a_session_counts_after_it() -> None:
    session = past(2)
    down = replace(decided(2, "down", "both_hands"), at=session.began)
    story = (decided(9, "up", "fingertips"), replace(session, exercises=(replace(HEEL, level="fingertips"),)), down)

    assert level(*story) == "both_hands"
    assert heel(*story).news == ("news_down",)


def test_a_session_that_cannot_be_read_and_was_the_first_of_all_begins_the_count_of_a_gap() -> None:
    assert keys(heel(unread(14)))[-1] == "because_gap_amount"
    assert keys(heel(unread(13)))[-1] != "because_gap_amount"
    assert keys(heel(unread(-900)))[-1] != "because_gap_amount"


def test_a_gap_before_a_session_lowers_it_although_it_went_well() -> None:
    up, high = decided(60, "up", "fingertips"), replace(HEEL, level="fingertips")

    assert level(up, past(59, high), past(30, high), past(29, high)) == "both_hands"
    assert level(up, past(59, high), unread(30), past(29, high)) == "both_hands"
    assert level(up, past(59, high), decided(30, "stay", "fingertips"), past(29, high)) == "both_hands"


def test_an_unread_session_holds_the_amount_of_the_last_one_within_the_range() -> None:
    assert heel(past(3, replace(HEEL, target=12)), past(2, replace(HEEL, target=9)), unread(1)).target == 9
    assert heel(past(2, replace(HEEL, target=3)), unread(1)).target == 8


def test_a_level_that_is_gone_is_never_higher_than_where_the_person_was() -> None:
    start_high = replace(ANKLE, exercises=(replace(ANKLE.exercises[0], start_level="fingertips"),))
    story = (past(3, replace(HEEL, level="both_hands")), past(2, replace(HEEL, level="on_fingertips")))

    assert heel(*story, program=start_high).level == 0


def test_a_decision_before_the_last_calm_session_does_not_lengthen_what_counts_as_a_gap() -> None:
    assert keys(heel(past(14), replace(decided(13, "stay", "both_hands"), day=DAY - timedelta(days=15))))[-1] == (
        "because_gap_amount"
    )
