"""The record of a session keeps planned, counted and stated apart, and never fails on what a file lacks."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from coach.logbook import KINDS, Line, SessionRecord, assemble, fields_of
from coach.loglines.hearing import Heard
from coach.loglines.kinds import (
    KIND_OF,
    Answer,
    Answered,
    Fact,
    HaltExplained,
    NumberHeard,
    NumbersNotHeard,
    Ready,
    ScreenDenied,
    SetBegun,
    SetEnded,
    Unanswered,
)

Told = list[tuple[str, int, dict[str, Any]]]


def lines(told: Told) -> list[Line]:
    return [Line(n, "2027-01-11T09:30:00.000Z", at, kind, fields) for n, (kind, at, fields) in enumerate(told, 1)]


@pytest.fixture(scope="module")
def record(told: Told) -> SessionRecord:
    return assemble(lines(told))


def test_planned_counted_and_stated_stand_apart(record: SessionRecord) -> None:
    first = record.sets[0]

    assert (first.planned_low, first.planned_high, first.counted, first.stated) == (10, 12, 12, 10)
    assert (first.tension_planned_s, first.tension_s) == (84.0, 84.0)


def test_a_set_that_nobody_spoke_about_states_nothing(record: SessionRecord) -> None:
    assert record.sets[1].stated is None
    assert record.sets[1].effort is None


def test_all_done_states_what_was_counted(told: Told) -> None:
    yes = [(k, at, f | {"value": True} if f.get("question") == "reps" else f) for k, at, f in told]

    assert assemble(lines([row for row in yes if row[2].get("question") != "missed"])).sets[0].stated == 12


def test_each_set_has_its_pain_and_the_session_the_highest(record: SessionRecord) -> None:
    assert [one.pain for one in record.sets] == [3, 5]
    assert record.highest_pain == 5


def test_without_a_stated_pain_there_is_none_rather_than_zero(told: Told) -> None:
    silent = [row for row in told if row[2].get("question") != "pain"]

    assert assemble(lines(silent)).highest_pain is None


def test_a_pain_placed_by_yes_and_no_stays_in_words(told: Told) -> None:
    words = [(k, at, f | {"value": "above 5"} if f.get("question") == "pain" else f) for k, at, f in told]

    assert assemble(lines(words)).highest_pain == "above 5"


def test_a_halt_carries_the_word_the_place_and_the_reason(record: SessionRecord) -> None:
    (halt,) = record.halts

    assert (halt.word, halt.ear, halt.set, halt.rep, halt.phase) == ("stop", "taught", 2, 6, "lower")
    assert halt.why == "unsteady"


def test_pain_told_without_a_halt_before_it_is_a_halt(told: Told) -> None:
    told = [row for row in told if row[0] != "halted"]
    told = [(k, at, f | {"state": "working", "set_id": 2, "set": 2} if k == "halt_why" else f) for k, at, f in told]

    (halt,) = assemble(lines(told)).halts

    assert (halt.word, halt.why, halt.set_id) == ("unsteady", "unsteady", 2)


def test_the_pain_of_a_halt_joins_the_halt_that_it_explains(told: Told) -> None:
    at = next(i for i, row in enumerate(told) if row[0] == "halt_why")
    told = [*told[: at + 1], ("halt_why", told[at][1], {"why": "pain", "pain": 6}), *told[at + 1 :]]

    (halt,) = assemble(lines(told)).halts

    assert (halt.why, halt.pain) == ("pain", 6)


def test_only_whole_sets_count_as_done(record: SessionRecord) -> None:
    assert (record.sets_in_full, record.sets_planned) == (1, 3)


def test_words_are_counted_by_ear_and_by_use(record: SessionRecord) -> None:
    assert [(one.ear, one.heard, one.used) for one in record.heard] == [("keys", 1, 0), ("taught", 2, 2)]


def test_a_session_without_an_end_says_no_reason(told: Told) -> None:
    assert assemble(lines(told[:-1])).why == ""
    assert assemble(lines(told)).why == "unsteady"


def test_a_question_without_an_answer_is_kept_as_such(record: SessionRecord) -> None:
    effort = next(one for one in record.questions if one.question == "effort")

    assert (effort.answered, effort.value, effort.times) == (False, None, 3)


@given(data=st.data())
def test_any_lines_in_any_order_make_a_record(told: Told, data: st.DataObject) -> None:
    known = lines(told)
    some = data.draw(st.lists(st.sampled_from(known), max_size=30))

    record = assemble(some)

    assert {one.set_id for one in record.sets} == {
        line.fields["set_id"] for line in some if line.kind in ("set_begun", "set_ended")
    }


_json = st.recursive(
    st.none() | st.booleans() | st.integers() | st.floats() | st.text(max_size=5),
    lambda inner: st.lists(inner, max_size=3) | st.dictionaries(st.text(max_size=5), inner, max_size=3),
    max_leaves=5,
)


@given(data=st.data())
def test_any_value_in_any_field_makes_a_record(told: Told, data: st.DataObject) -> None:
    known = lines(told)
    at = data.draw(st.integers(0, len(known) - 1))
    name = data.draw(st.sampled_from(sorted(known[at].fields)))
    known[at] = replace(
        known[at], fields=dict(known[at].fields) | {name: data.draw(_json)}, at=data.draw(st.integers())
    )

    assemble(known)


@given(st.lists(st.tuples(st.sampled_from(sorted(KINDS)), st.dictionaries(st.text(max_size=5), _json, max_size=4))))
def test_lines_that_hold_nothing_they_should_make_an_empty_record(junk: list[tuple[str, dict[str, Any]]]) -> None:
    record = assemble([Line(1, "", 0, kind, fields) for kind, fields in junk])

    assert record.sets == ()


def assembled(*facts: Fact) -> SessionRecord:
    return assemble([Line(n, "", n * 100, KIND_OF[type(it)], fields_of(it)) for n, it in enumerate(facts, 1)])


def answered(question: str, value: Answer, attempts: int = 1) -> Answered:
    return Answered(question, value, "keys", True, attempts, 1)


NUMBER = NumberHeard("pain", 3, "keys")
HEARD = Heard("taught", "stop", 0.5, 0, 1, used=False)


@pytest.mark.parametrize(
    ("facts", "denied"),
    [
        ((), 0),
        ((ScreenDenied("keys"),), 1),
        ((NUMBER, NUMBER, NUMBER, answered("pain", 3, 3)), 2),
        ((NUMBER, answered("pain", 3), answered("reps", value=True), answered("screen.fever", value=True)), 0),
        ((answered("pain", 3),), 0),
        ((answered("pain", "4-5", 3),), 2),
        ((ScreenDenied("keys"), NUMBER, NUMBER, answered("pain", 3, 2), answered("halt_pain", "4-5", 2)), 3),
    ],
)
def test_what_was_read_back_and_not_confirmed_is_counted(facts: tuple[Fact, ...], denied: int) -> None:
    assert assembled(*facts).denied == denied


@pytest.mark.parametrize("later", [True, False])
def test_a_session_in_which_numbers_were_not_heard_says_so_from_whenever_on(later: bool) -> None:
    assert assembled(ScreenDenied("keys"), *((NumbersNotHeard("pain", "denied"),) if later else ())).ladder is later


def test_a_question_is_kept_with_whether_and_how_it_was_answered() -> None:
    said, silent = assembled(answered("pain", 3, 2), Unanswered("pain", 3, 1)).questions

    assert (said.answered, said.read_back, said.times, said.value) == (True, True, 2, 3)
    assert (silent.answered, silent.read_back, silent.times, silent.value) == (False, False, 3, None)


def test_a_halt_is_one_until_the_person_is_ready() -> None:
    told = assembled(
        HaltExplained("pain", ear="keys"), HaltExplained("pain", 4), Ready("keys"),
        HaltExplained("tired", ear="keys"), HaltExplained("unsteady", ear="keys"),
    )  # fmt: skip

    assert [(halt.why, halt.pain, halt.word) for halt in told.halts] == [
        ("pain", 4, "pain"),
        ("unsteady", None, "tired"),
    ]


@pytest.mark.parametrize(
    ("counted", "answers", "stated"),
    [
        (10, (answered("reps", value=True),), 10),
        (10, (answered("reps", value=False),), None),
        (10, (answered("reps", value=False), answered("missed", 3)), 7),
        (2, (answered("missed", 3),), 0),
        (10, (answered("missed", value=True),), None),
        (10, (answered("something", 3),), None),
        (None, (answered("missed", 3),), None),
    ],
)
def test_what_was_stated_follows_from_the_answers(
    counted: int | None, answers: tuple[Answered, ...], stated: int | None
) -> None:
    end = SetEnded(1, "heel", "hard", 1, "", "reps", 8, 12, counted or 0, 30.0, "done")
    begin = SetBegun(1, "heel", "hard", 1, "", "reps", 8, 12, "reps", 30.0)
    (one,) = assembled(*((begin,) if counted is None else (begin, end)), *answers).sets

    assert (one.counted, one.stated) == (counted, stated)


def test_the_words_of_an_ear_are_counted_and_those_that_nobody_could_use() -> None:
    words = [replace(HEARD, decision=decision) for decision in ("understood", "unclear", "disagreed", "late", "agreed")]

    (ear,) = assembled(*words).heard
    assert (ear.heard, ear.used, ear.unclear) == (5, 0, 2)


def test_how_long_a_session_was_is_its_last_sample() -> None:
    record = assembled(ScreenDenied("keys"), ScreenDenied("keys"))

    assert (record.seconds, record.rate) == (200 / 16_000, 16_000)
    assert assemble([]).seconds == 0
