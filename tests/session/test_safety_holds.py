"""When a person is on hold, by what was told and what was cleared, and what a session says and does of it."""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from datetime import date, timedelta
from random import Random

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scenes import BASE, DAY, RAISE, begun, come_to, keys, lines, made

from coach.loglines.safety import SafetySign, SignWhy
from coach.program.model import NO_HOLD, Action, HoldRule, Program, ScreenQuestion
from coach.session.events import On
from coach.session.plan import plan
from coach.session.safety_holds import SafetyHold, SafetyOccasion, near_hold, safety_holds
from coach.session.state import State
from coach.testing import WatchedRun

TODAY = date(2027, 3, 1)
PAIN = SafetySign("pain", times=3, days=14)
FELL = SafetySign("screen", question="fell", asked="Have you fallen?", answer=True, call="Call the clinic.")
DIZZY = SafetySign("screen", effect="end_day", question="dizzy", asked="Dizzy?", answer=True)


def told(days_ago: int, *signs: SafetySign, name: str = "", whole: str = "", program: str = "a") -> SafetyOccasion:
    day = TODAY - timedelta(days=days_ago)
    session = name or f"s{days_ago}"
    return SafetyOccasion(session, whole or session, f"{day}T09:00:00+00:00", day, program, signs or (PAIN,))


def held(*occasions: SafetyOccasion, cleared: tuple[str, ...] = (), today: date = TODAY) -> list[str]:
    return [one.session for one in safety_holds(occasions, (), cleared, today)]


def test_a_red_flag_holds_at_once_and_for_ever_until_a_clear_that_names_its_session() -> None:
    fell = told(400, FELL)

    assert held(fell) == ["s400"]
    assert held(fell, cleared=("s399",)) == ["s400"]
    assert held(fell, cleared=("s400",)) == []


@pytest.mark.parametrize(("days_ago", "on_hold"), [((0, 5, 13), True), ((0, 5, 14), False), ((0, 5), False)])
def test_pain_above_the_limit_holds_after_so_many_sessions_in_so_many_days(
    days_ago: tuple[int, ...], on_hold: bool
) -> None:
    assert bool(held(*map(told, days_ago))) is on_hold


def test_a_session_counts_once_in_however_many_parts_and_however_often_it_was_told() -> None:
    parts = (told(1), told(1, PAIN, PAIN, name="p1", whole="s1"), told(1, name="p2", whole="s1"))

    assert held(*parts, told(0)) == []
    assert held(*parts, told(0), told(2)) == ["s0"]


def test_what_was_told_to_another_program_counts_and_each_sign_holds_by_the_rule_of_its_own() -> None:
    never = replace(PAIN, times=0)

    assert held(told(2, never, program="b"), told(1, never, program="b"), told(0)) == ["s0"]
    assert held(told(2), told(1), told(0, never)) == []


def test_after_a_clear_the_count_begins_anew() -> None:
    three = tuple(map(told, (5, 4, 3)))
    clear = ("s5", "s4", "s3")

    assert held(*three, told(2), told(1), cleared=clear) == []
    assert held(*three, told(2), told(1), told(0), cleared=clear) == ["s0"]


def test_a_session_that_comes_to_the_files_after_the_clear_holds_whatever_day_it_bears() -> None:
    assert held(told(9, FELL), told(30, FELL, name="copied"), cleared=("s9",)) == ["copied"]


def test_an_answer_that_ends_the_day_ends_this_one_alone_and_needs_no_clear() -> None:
    assert held(told(0, DIZZY)) == ["s0"]
    assert held(told(0, DIZZY), cleared=("s0",)) == ["s0"]
    assert held(told(1, DIZZY)) == []


def test_a_session_whose_day_nobody_knows_counts_as_of_any_day() -> None:
    undated = replace(told(0, name="undated"), began="", day=None)

    assert held(undated, told(40), told(41)) == ["undated", "s40"]
    assert held(replace(undated, signs=(FELL,))) == ["undated"]


def test_what_is_near_to_a_hold_is_what_one_more_session_of_today_makes_one() -> None:
    rules: list[tuple[SignWhy, HoldRule]] = [("pain", HoldRule(3, 14)), ("unsteady", HoldRule(1, 1))]

    assert near_hold(rules, (told(1),), (), TODAY) == ("unsteady",)
    assert near_hold(rules, (told(1), told(2)), (), TODAY) == ("pain", "unsteady")
    assert near_hold(rules, (told(1), told(2)), (), TODAY, within="s1") == ("unsteady",)
    assert near_hold(rules, (told(1), told(2)), ("s1",), TODAY) == ("unsteady",)
    assert near_hold([("pain", NO_HOLD)], (told(1), told(2)), (), TODAY) == ()


@dataclass
class Story:
    """A person's days by chance, with files that come and go; `lost` are those that cannot be read now."""

    chance: Random
    day: int = 0
    files: list[SafetyOccasion] = field(default_factory=list)
    lost: list[SafetyOccasion] = field(default_factory=list)
    kept: list[SafetyHold] = field(default_factory=list)
    cleared: set[str] = field(default_factory=set)

    def holds(self) -> list[SafetyHold]:
        today = TODAY + timedelta(days=self.day)
        found = safety_holds(self.files, self.kept, self.cleared, today)
        self.kept += [one for one in found if one not in self.kept]  # as every start and end does
        return [one for one in found if one.until_cleared]

    def step(self) -> str:
        chance = self.chance
        what = chance.choice(("session", "session", "session", "copy", "lose", "find", "wait", "clear"))
        if what in ("session", "copy"):
            ago = chance.randint(0, 30) if what == "copy" else 0
            signs = chance.choice(((), (PAIN,), (FELL,), (replace(PAIN, times=0),), (DIZZY,), (PAIN, FELL)))
            one = told(ago - self.day, *signs, name=f"f{len(self.files) + len(self.lost)}")
            self.files.append(replace(one, signs=signs, program=chance.choice("abc")))
        elif what == "lose" and self.files:
            self.lost.append(self.files.pop(chance.randrange(len(self.files))))
        elif what == "find" and self.lost:
            self.files.append(self.lost.pop())
        elif what == "wait":
            self.day += chance.choice((-3, 1, 1, 2, 30))
        elif what == "clear":
            self.cleared |= {one.session for one in self.holds()} | {one.session for one in self.files}
        return what


@given(st.integers(0, 10**9))
@settings(max_examples=150)
def test_once_on_hold_only_a_clear_leads_to_a_session_whatever_else_happens(seed: int) -> None:
    story = Story(Random(seed))
    before: set[str] = set()
    for _ in range(25):
        what = story.step()
        now = {one.session for one in story.holds()}
        assert before <= now or what == "clear"
        before = now


def on_answer(action: Action) -> Program:
    question = ScreenQuestion("fell", "Have you fallen?", answer=True, action=action)
    return made(RAISE, change=lambda program: replace(program, screen=(question,), call="Call the clinic."))


def answered(action: Action) -> WatchedRun:
    run = come_to(begun(on_answer(action)), State.SCREENING)
    while not run.say(On.YES):
        run.step()
    while run.step():
        pass
    return run


def test_a_red_flag_ends_in_words_that_say_who_clears_it_and_whom_to_call_and_names_no_next_day() -> None:
    run = answered(Action.HOLD)

    assert lines(run, "safety_sign") == [
        {"why": "screen", "question": "fell", "asked": "Have you fallen?", "answer": True, "call": "Call the clinic."}
    ]
    assert keys(run)[-4:] == ["end_screen", "on_hold", "text", "goodbye"]
    assert lines(run, "session_ended")[0]["next_in_days"] is None


def test_what_follows_from_an_answer_is_written_before_the_answer_itself() -> None:
    run = come_to(begun(on_answer(Action.HOLD)), State.SCREENING)
    while not run.say(On.YES):
        run.step()

    assert [type(line.fact).__name__ for line in run.records[-2:]] == ["SafetySign", "Answered"]


def test_an_answer_that_ends_the_day_is_written_and_the_next_session_is_named() -> None:
    run = answered(Action.END_SESSION)

    assert lines(run, "safety_sign")[0]["effect"] == "end_day"
    assert keys(run)[-4:] == ["end_screen", "text", "next_tomorrow", "goodbye"]


def unsteady(near: tuple[SignWhy, ...]) -> WatchedRun:
    program = made(RAISE, exercises=2, unsteady=Action.STEP_DOWN, hold_after_unsteady=HoldRule(3, 14))
    run = come_to(WatchedRun(replace(plan(program, (), DAY), near_hold=near)), State.WORKING)
    run.say(On.UNSTEADY)
    return run


def test_the_unsteadiness_that_puts_on_hold_ends_the_session_whatever_the_program_does_else() -> None:
    run = unsteady(("unsteady",))

    assert run.session.end_why == "unsteady"
    assert lines(run, "safety_sign") == [{"why": "unsteady", "times": 3, "days": 14, "call": BASE.call}]
    while run.step():
        pass
    assert keys(run)[-5:] == ["end_unsteady", "on_hold", "text", "sets_done", "goodbye"]


def test_one_that_does_not_is_written_once_however_often_it_is_told() -> None:
    run = unsteady(())
    run.say(On.UNSTEADY)

    assert run.session.end_why is None
    assert len(lines(run, "safety_sign")) == 1


def test_a_clear_is_told_once_at_the_beginning_and_noted() -> None:
    program = made(RAISE)
    run = WatchedRun(replace(plan(program, (), DAY), news=("news_cleared",)))
    come_to(run, State.WORKING)

    assert keys(run)[:2] == ["greeting", "news_cleared"]
    assert lines(run, "told") == [{"exercise": "", "news": ["news_cleared"]}]
