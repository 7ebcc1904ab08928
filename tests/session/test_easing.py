"""What is made easier, for which exercises, and how it is told."""

from __future__ import annotations

from dataclasses import replace

import pytest
from scenes import BASE, RAISE, begun, come_to, keys, lines, made

from coach.program.model import AskAfter, Program
from coach.session.events import On
from coach.session.state import State

TOLD = {"eased_level", "eased_amount", "exercise_over"}


def swollen(program: Program) -> Program:
    """Let it ask before the start what eases all of the day."""
    return replace(program, screen=(replace(BASE.screen[1], id="swollen"),))


def test_an_answer_before_the_start_eases_each_exercise_by_one_step_and_begins_with_the_first() -> None:
    run = come_to(begun(made(RAISE, RAISE, exercises=3, change=swollen)), State.SCREENING)
    run.say(On.YES)
    run.say(On.YES)
    come_to(run, State.INTRO)

    assert [(line["exercise"], line["what"], line["to"], line["because"]) for line in lines(run, "eased")] == [
        (f"exercise_{number}", "level", "level_0", "screen.swollen") for number in range(3)
    ]
    assert (run.session.levels, run.session.exercise.index) == ((0, 0, 0), 0)


def test_pain_told_before_the_start_eases_each_exercise_by_the_limit_of_the_program() -> None:
    program = made(RAISE, RAISE, exercises=2, change=swollen, pain_carry_on_to=3, pain_ease_to=5)
    run = come_to(begun(program), State.SCREENING)
    run.say(On.STOP)
    run.say(On.PAIN)
    run.say(On.NUMBER, 5)
    run.say(On.YES)

    assert run.session.state is State.RECOVERING
    assert [(line["exercise"], line["because"]) for line in lines(run, "eased")] == [
        ("exercise_0", "limits.pain.ease_to"), ("exercise_1", "limits.pain.ease_to"),
    ]  # fmt: skip


def test_an_effort_above_the_limit_eases_the_sets_to_come_with_its_cause() -> None:
    asks = lambda program: replace(program, ask_effort=AskAfter.EACH_SET)  # noqa: E731
    run = come_to(begun(made(RAISE, change=asks, effort_ease_above=6)), State.ASKING)
    run.say(On.NUMBER, 7)
    run.say(On.YES)

    assert [(line["what"], line["because"]) for line in lines(run, "eased")] == [("amount", "limits.effort.ease_above")]


@pytest.mark.parametrize("state", [State.WAITING, State.WORKING])
@pytest.mark.parametrize(("levels", "told"), [(1, "eased_amount"), (2, "eased_level")])
def test_the_coach_says_whether_the_next_set_has_another_level_or_fewer_reps(
    state: State, levels: int, told: str
) -> None:
    run = come_to(begun(made(*(RAISE,) * levels)), state)
    run.say(On.EASIER)

    assert [key for key in keys(run) if key in TOLD] == [told]
    assert told != "eased_amount" or ("n", 2) in [value for said in run.said for value in said.values]


@pytest.mark.parametrize(("levels", "leads_to"), [(1, State.WAITING), (2, State.SETUP)])
@pytest.mark.parametrize("state", [State.WAITING, State.RESTING])
def test_an_easier_level_is_set_up_again_and_fewer_reps_are_not(state: State, levels: int, leads_to: State) -> None:
    run = come_to(begun(made(*(RAISE,) * levels)), State.RESTING)
    come_to(run, state)
    run.say(On.EASIER)
    if state is State.RESTING:
        run.step()
        while run.session.state is State.RESTING:
            run.step()

    assert run.session.state is leads_to


def test_slower_is_written_with_its_cause_and_both_tempos() -> None:
    run = come_to(begun(made(RAISE)), State.WAITING)
    run.say(On.SLOWER)
    run.say(On.SLOWER)

    common = {"exercise": "exercise_0", "what": "slower", "because": "asked"}
    assert lines(run, "eased") == [
        common | {"from": "1", "to": "1.25"}, common | {"from": "1.25", "to": "1.5625"},
    ]  # fmt: skip
