"""Pain placed by yes and no: when the ladder is used, the bands it ends in, and what is written of them."""

from __future__ import annotations

from dataclasses import replace
from itertools import pairwise
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st
from scenes import BASE, DAY, RAISE, come_to, keys, lines, made

from coach.program.model import AskAfter, Program
from coach.session.events import On
from coach.session.ladder import bands, rungs, stated
from coach.session.plan import plan
from coach.session.state import Given, Question, State
from coach.testing import WatchedRun

ASKED = AskAfter.EACH_SET
ABOUT_PAIN = (Question.PAIN, Question.HALT_PAIN)


def asking(*, heard: bool = False, effort: AskAfter = AskAfter.NEVER, **limits: Any) -> WatchedRun:
    """Return a session that asks about pain after its first set: carry on to 3, ease to 5."""

    def asks(program: Program) -> Program:
        return replace(program, ask_pain=ASKED, ask_effort=effort)

    program = made(RAISE, change=asks, **({"pain_carry_on_to": 3, "pain_ease_to": 5} | limits))
    run = WatchedRun(replace(plan(program, (), DAY), numbers_heard=heard))
    return put(come_to(run, State.ASKING))


def put(run: WatchedRun) -> WatchedRun:
    """Let what is being said be said."""
    while run.agenda.talking:
        run.step()
    return run


def answer(run: WatchedRun, *replies: On) -> WatchedRun:
    for on in replies:
        assert put(run).say(on)
    return put(run)


@pytest.mark.parametrize(
    ("replies", "value", "leads_to"),
    [
        ((On.NO,), "none", State.RESTING),
        ((On.YES, On.NO), "1-3", State.RESTING),
        ((On.YES, On.YES, On.NO), "4-5", State.RESTING),
        ((On.YES, On.YES, On.YES), "6-10", State.CLOSING),
    ],
)
def test_yes_and_no_place_pain_in_its_band_which_is_read_back_and_acted_on(
    replies: tuple[On, ...], value: str, leads_to: State
) -> None:
    run = answer(asking(), *replies)
    assert run.session.state is State.CONFIRMING
    assert not lines(run, "answered")
    run.say(On.YES)

    assert run.session.state is leads_to
    assert [(line["value"], line["read_back"]) for line in lines(run, "answered")] == [(value, True)]
    assert [(line["above"], line["value"]) for line in lines(run, "ladder")] == list(
        zip((0, 3, 5), (on is On.YES for on in replies), strict=False)
    )
    assert bool(lines(run, "eased")) is (value == "4-5")


@pytest.mark.parametrize("silence", [On.SPOKE, None])
def test_silence_and_unclear_speech_on_the_ladder_are_never_no_pain(silence: On | None) -> None:
    run = asking()
    for _ in range(3):
        assert put(run).say(silence) if silence else put(run).step()

    assert run.session.state is State.PAUSED
    assert not lines(run, "answered")
    assert lines(run, "unanswered")[-1]["question"] == "pain"


def test_a_band_that_is_denied_is_asked_for_from_the_first_rung_again() -> None:
    run = answer(asking(), On.NO, On.NO)

    assert run.session.state is State.ASKING
    assert run.said[-1].key == "ladder_any"


@pytest.mark.parametrize("word", [On.PAUSE, On.STOP])
def test_a_band_with_an_interrupted_read_back_is_asked_for_again_rung_by_rung(word: On) -> None:
    run = answer(asking(), On.YES, On.NO)
    assert run.said[-1].key == "ladder_band"
    answer(run, word, On.READY, On.YES)

    assert run.said[-1].key == "ladder_above", "the band of before is not read back for the new answer"
    answer(run, On.YES, On.YES)
    assert (run.said[-1].key, dict(run.said[-1].values)) == ("ladder_band", {"low": 6, "high": 10})


def test_a_band_above_the_limit_that_is_denied_to_the_end_ends_the_session() -> None:
    run = asking()
    for _ in range(3):
        answer(run, On.YES, On.YES, On.YES, On.NO)

    assert run.session.end_why == "pain"
    assert [(line["value"], line["read_back"]) for line in lines(run, "answered")] == [("6-10", False)]


def test_a_number_by_key_is_still_taken_on_the_ladder() -> None:
    run = asking()
    run.say(On.NUMBER, 2)
    answer(run, On.YES)

    assert lines(run, "answered")[0]["value"] == 2


def test_a_number_denied_twice_leads_to_the_ladder_for_the_rest_of_the_session() -> None:
    run = asking(heard=True)
    for number in (9, 7):
        put(run).say(On.NUMBER, number)
        answer(run, On.NO)

    assert run.said[-1].key == "ladder_any"
    assert lines(run, "numbers_not_heard") == [{"question": "pain", "why": "denied"}]
    answer(run, On.YES, On.NO, On.YES)
    assert lines(run, "answered")[0]["value"] == "1-3"
    come_to(run, State.ASKING)
    assert run.said[-1].key == "ladder_any"


def test_a_number_not_understood_twice_leads_to_the_ladder_and_silence_does_not() -> None:
    run = answer(asking(heard=True), On.SPOKE)
    run.step()  # nobody says anything
    assert put(run).session.rung is None
    answer(run, On.SPOKE)

    assert run.session.rung == 0
    assert lines(run, "numbers_not_heard") == [{"question": "pain", "why": "not_understood"}]


def test_a_yes_or_no_not_understood_does_not_count_as_a_number_not_understood() -> None:
    program = made(RAISE, change=lambda one: replace(one, ask_reps=ASKED, ask_pain=ASKED))
    run = put(come_to(WatchedRun(plan(program, (), DAY)), State.ASKING))
    assert run.session.asked_about is Question.REPS
    answer(run, On.SPOKE)

    assert run.session.open_question.trouble == 0


def test_questions_that_need_a_number_are_left_out_and_the_record_says_why() -> None:
    run = answer(asking(effort=ASKED), On.NO, On.YES)

    assert run.session.state is State.RESTING
    assert "ask_effort" not in keys(run)
    assert lines(run, "unanswered") == [
        {"question": "effort", "prompts": 0, "set_id": 1, "because": "numbers_not_heard"}
    ]


def test_pain_told_in_a_set_is_placed_in_the_halts_own_words() -> None:
    run = WatchedRun(replace(plan(made(RAISE, pain_carry_on_to=3, pain_ease_to=5), (), DAY), numbers_heard=False))
    come_to(run, State.WORKING)
    run.say(On.PAIN)
    answer(run, On.YES, On.NO, On.YES)

    assert run.session.state is State.RECOVERING
    assert [key for key in keys(run) if "ladder" in key] == [
        "halt_ladder_above",
        "halt_ladder_above",
        "halt_ladder_band",
    ]
    assert lines(run, "halt_why")[-1]["pain"] == "4-5"
    assert lines(run, "set_ended")[-1]["why"] == "halted_pain"


@given(
    carry_on=st.integers(0, 10), more=st.integers(0, 10), question=st.sampled_from([Question.PAIN, Question.HALT_PAIN])
)
def test_the_bands_follow_each_other_up_to_the_worst_and_break_at_the_limits(
    carry_on: int, more: int, question: Question
) -> None:
    limits = replace(BASE.limits, pain_carry_on_to=carry_on, pain_ease_to=min(10, carry_on + more))
    found = bands(limits, question)

    assert len(found) == len(rungs(limits, question)) + 1
    assert found[-1][1] == 10
    assert all(low <= high for low, high in found)
    assert all(low == before + 1 for (_, before), (low, _) in pairwise(found))
    edges = {high for _, high in found}
    assert {limits.pain_carry_on_to, limits.pain_ease_to} <= edges
    assert found[0][0] in (0, 1)


@pytest.mark.parametrize(
    ("limits", "pain", "halt_pain"),
    [((3, 5), (0, 3, 5), (3, 5)), ((0, 0), (0,), (0,)), ((3, 10), (0, 3), (3,)), ((10, 10), (0,), (0,))],
)
def test_after_pain_was_told_any_pain_at_all_is_asked_only_if_a_limit_is_zero(
    limits: tuple[int, int], pain: tuple[int, ...], halt_pain: tuple[int, ...]
) -> None:
    written = replace(BASE.limits, pain_carry_on_to=limits[0], pain_ease_to=limits[1])

    assert (rungs(written, Question.PAIN), rungs(written, Question.HALT_PAIN)) == (pain, halt_pain)


@pytest.mark.parametrize(("low", "high", "written"), [(None, 4, 4), (0, 0, "none"), (1, 3, "1-3"), (6, 10, "6-10")])
def test_a_band_is_written_as_a_band_and_a_number_as_a_number(low: int | None, high: int, written: int | str) -> None:
    assert stated(Given(high, low)) == written
