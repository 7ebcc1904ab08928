"""What people do wrong, as far as the session alone can show what comes of it; the whole list is in tests/RISKS.md."""

from __future__ import annotations

from dataclasses import replace
from random import Random

import pytest
from scenes import RAISE, begun, come_to, lines, made, work_until

from coach.program.model import AskAfter
from coach.session.events import On
from coach.session.plan import Today, plan
from coach.session.state import State
from coach.tempo.units import to_samples
from coach.testing import RandomPerson, WatchedRun, random_program
from coach.testing.lived import FIRST_DAY
from coach.words.replies import KEYS


def asked(after: AskAfter = AskAfter.EACH_SET) -> WatchedRun:
    """Return a session of one exercise that asks about pain and effort after each set."""
    return begun(made(RAISE, change=lambda program: replace(program, ask_pain=after, ask_effort=after)))


def until_asked(run: WatchedRun, question: str) -> WatchedRun:
    """Go on until it is asked about `question`, and the question has been put."""
    while run.session.state is not State.ASKING or run.session.asked_about != question or run.agenda.talking:
        if run.session.state in (State.CHECKING, State.WAITING):
            run.say(On.READY)
        assert run.step()
    return run


def answered(run: WatchedRun, number: int, confirmed: On = On.YES) -> None:
    run.say(On.NUMBER, number)
    while run.agenda.talking:
        run.step()
    run.say(confirmed)


@pytest.mark.parametrize("state", [State.CHECKING, State.WAITING, State.WORKING, State.ASKING, State.RESTING])
def test_whoever_leaves_or_falls_asleep_begins_no_set_and_the_session_ends_by_itself(state: State) -> None:
    run = asked()
    if state in (State.ASKING, State.RESTING):
        until_asked(run, "pain")
    if state is State.RESTING:
        answered(run, 1)
        run = until_asked(run, "effort")
        answered(run, 3)
    come_to(run, state)
    begun_before, left_at = len(lines(run, "set_begun")), run.now

    while run.step():
        pass

    assert run.over
    assert run.session.end_why in ("no_answer", "not_heard")
    assert len(lines(run, "set_begun")) == begun_before
    assert run.now - left_at < to_samples(10 * 60.0)


def test_a_halt_that_was_meant_for_the_dog_costs_a_break_and_a_rep_begun_and_nothing_else() -> None:
    run = work_until(asked(), On.PHASE, 2, 1)
    run.say(On.STOP)
    run.say(On.BREAK)
    run.say(On.READY)
    come_to(run, State.SET_END)

    (ended,) = lines(run, "set_ended")
    assert (ended["why"], ended["counted"], ended["planned_high"]) == ("done", 3, 3)
    assert not lines(run, "eased")


def test_the_question_and_the_read_back_name_what_is_asked_about() -> None:
    run = until_asked(asked(), "pain")
    answered(run, 2)
    run = until_asked(run, "effort")
    run.say(On.NUMBER, 6)

    keys = [phrase.key for phrase in run.said]
    assert [key for key in keys if key.endswith(("_pain", "_effort"))] == [
        "ask_pain", "read_back_pain", "ask_effort", "read_back_effort",
    ]  # fmt: skip


def test_an_effort_said_where_pain_was_asked_for_ends_the_session_only_once_it_is_confirmed_as_pain() -> None:
    wrong, right = until_asked(asked(), "pain"), until_asked(asked(), "pain")
    answered(wrong, 7)
    answered(right, 7, On.NO)
    until_asked(right, "pain")
    answered(right, 1)

    assert wrong.session.end_why == "pain"
    assert not right.session.end_why
    assert [line["value"] for line in lines(right, "answered") if line["question"] == "pain"] == [1]


@pytest.mark.parametrize("seed", range(20))
def test_a_cat_on_the_keyboard_breaks_no_rule(seed: int) -> None:
    chance = Random(seed)
    program = random_program(chance)
    today: Today = plan(program, (), FIRST_DAY)
    run, person = WatchedRun(today), RandomPerson(chance, odd=0.0, silent=0.2)

    for _ in range(3000):
        if run.over:
            break
        if chance.random() < 0.2:
            reply = KEYS[chance.choice(sorted(KEYS))]
            run.say(*((On.NUMBER, int(reply[1:])) if reply[1:].isdecimal() else (On(reply), 0)))
        else:
            person.move(run)
    else:
        run.say(On.QUIT)

    assert run.over


def test_a_hand_that_rests_on_the_space_bar_halts_once_and_begins_nothing() -> None:
    run = come_to(asked(), State.WORKING)
    for _ in range(40):
        run.say(On.STOP)

    assert (run.session.halts, run.session.state) == (1, State.HALTED)
    assert len(lines(run, "halted")) == 1
