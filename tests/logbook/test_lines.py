"""A line is written, sealed and read back; whatever is done to a file shows and never stops the reading."""

from __future__ import annotations

import json
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from coach.logbook import Line, assemble, encode, read_lines
from coach.logbook.lines import FRAME, LONGEST, MOST_STRANGE, VERSION

Told = list[tuple[str, int, dict[str, Any]]]
SESSION = "20270111t093000z-1"


def written(told: Told, session: str = SESSION) -> str:
    chain, texts = session, []
    for n, (kind, at, fields) in enumerate(told, start=1):
        held = fields | {"session": session} if kind == "session_begun" else fields
        text, chain = encode(Line(n, f"2027-01-11T09:30:{n:02d}.000Z", at, kind, held), chain)
        texts.append(text + "\n")
    return "".join(texts)


@pytest.fixture(scope="module")
def text(told: Told) -> str:
    return written(told)


def test_every_line_of_a_session_reads_back_as_it_was_written(told: Told, text: str) -> None:
    reading = read_lines(text, SESSION)

    assert reading.problems == ()
    assert [(line.kind, line.at) for line in reading.lines] == [(kind, at) for kind, at, _ in told]
    assert [dict(line.fields) for line in reading.lines[1:]] == [fields for _, _, fields in told[1:]]


def test_the_chain_can_be_checked_without_this_program(text: str) -> None:
    from hashlib import sha256

    chain = SESSION
    for line in text.splitlines():
        body, _, stated = line.rpartition(',"chain":')
        chain = sha256((chain + body + "}").encode()).hexdigest()
        assert json.loads(stated.removesuffix("}")) == chain


@given(data=st.data())
def test_a_file_cut_at_any_byte_keeps_every_whole_line_and_names_the_torn_one(text: str, data: st.DataObject) -> None:
    raw = text.encode()
    cut = data.draw(st.integers(0, len(raw)))
    left = raw[:cut]

    reading = read_lines(left.decode("utf-8", "surrogateescape"), SESSION)

    assert len(reading.lines) == left.count(b"\n")
    assert bool(reading.torn) == bool(left and not left.endswith(b"\n"))
    assert [problem.line for problem in reading.problems] == ([left.count(b"\n") + 1] if reading.torn else [])
    assemble(reading.lines)


@given(data=st.data())
def test_any_byte_that_is_changed_shows(text: str, data: st.DataObject) -> None:
    raw = bytearray(text.encode())
    place = data.draw(st.integers(0, len(raw) - 1))
    raw[place] = data.draw(st.integers(0, 255).filter(lambda byte: byte != raw[place]))

    reading = read_lines(bytes(raw).decode("utf-8", "surrogateescape"), SESSION)

    assert reading.problems
    changed = text.encode()[:place].count(b"\n") + 1
    assert changed in {problem.line for problem in reading.problems}
    assemble(reading.lines)


@given(data=st.data())
def test_a_line_that_is_taken_out_shows_unless_it_was_the_last(text: str, data: st.DataObject) -> None:
    lines = text.splitlines(keepends=True)
    gone = data.draw(st.integers(0, len(lines) - 2))
    del lines[gone]

    reading = read_lines("".join(lines), SESSION)

    assert [problem.line for problem in reading.problems] == [gone + 1]


@given(data=st.data())
def test_two_lines_that_change_places_show(text: str, data: st.DataObject) -> None:
    lines = text.splitlines(keepends=True)
    first = data.draw(st.integers(0, len(lines) - 2))
    lines[first], lines[first + 1] = lines[first + 1], lines[first]

    assert read_lines("".join(lines), SESSION).problems


def test_a_file_under_another_sessions_name_shows(text: str) -> None:
    assert [problem.line for problem in read_lines(text, "20270111t093000z-2").problems] == [1]


def test_one_change_is_reported_at_its_own_line_only(text: str) -> None:
    changed = text.replace('"value":3,', '"value":1,')
    assert changed != text

    assert [problem.line for problem in read_lines(changed, SESSION).problems] == [9]


def test_a_forged_line_with_a_chain_of_its_own_shows_at_the_next_line(told: Told, text: str) -> None:
    lines = text.splitlines(keepends=True)
    before = json.loads(lines[7])["chain"]
    kind, at, fields = told[8]
    forged, _ = encode(Line(9, "2027-01-11T09:30:09.000Z", at, kind, fields | {"value": 0}), before)
    lines[8] = forged + "\n"

    assert [problem.line for problem in read_lines("".join(lines), SESSION).problems] == [10]


@given(st.text(max_size=200))
def test_no_text_at_all_stops_the_reading(junk: str) -> None:
    reading = read_lines(junk)

    assert all(problem.text for problem in reading.problems)
    assemble(reading.lines)


@pytest.mark.parametrize("junk", ["[" * 5000 + "\n", "9" * 5000 + "\n", "null\n", "[]\n", '{"v":true}\n', "\n"])
def test_json_that_is_not_a_line_is_reported(junk: str) -> None:
    assert [problem.text for problem in read_lines(junk).problems] == ["is not a line of a logbook"]


def test_a_newer_format_is_named_and_still_read() -> None:
    text, _ = encode(Line(1, "2027-01-11T09:30:00Z", 0, "note", {"text": "hello", "by": "coach"}, v=VERSION + 1), "s")

    reading = read_lines(text + "\n", "s")

    assert [line.fields["text"] for line in reading.lines] == ["hello"]
    assert "newer version" in reading.problems[0].text
    assert len(reading.problems) == 1


def test_a_field_that_a_later_program_added_is_no_problem() -> None:
    """The seal is the writer's, so a line with one more field is built by hand."""
    from hashlib import sha256

    body = '{"v":1,"n":1,"t":"2027-01-11T09:30:00Z","at":0,"line":"note","text":"a","by":"coach","mood":"calm"}'
    sealed = body[:-1] + f',"chain":"{sha256(("s" + body).encode()).hexdigest()}"' + "}\n"

    reading = read_lines(sealed, "s")

    assert reading.problems == ()
    assert reading.lines[0].fields["mood"] == "calm"


@pytest.mark.parametrize(
    ("kind", "fields", "named"),
    [
        ("nothing_known", {}, "nothing_known"),
        ("note", {"text": "a"}, '"by"'),
        ("note", {"text": 4, "by": "coach"}, '"text"'),
        ("device", {"what": "lost"}, "mic_lost"),
        ("number_heard", {"question": "pain", "value": True, "ear": "keys"}, '"value"'),
        ("heard", {"ear": "k", "word": "stop", "score": float("nan"), "began": 0, "ended": 0, "used": True}, '"score"'),
    ],
)
def test_a_line_that_does_not_fit_its_kind_is_reported_when_read(kind: str, fields: dict[str, Any], named: str) -> None:
    text, _ = encode(Line(1, "2027-01-11T09:30:00Z", 0, kind, fields), "s")

    (problem,) = read_lines(text + "\n", "s").problems

    assert "cannot be used" in problem.text
    assert named in problem.text


def test_no_field_has_the_name_of_a_key_that_every_line_has() -> None:
    from dataclasses import fields

    from coach.logbook import KINDS

    clashes = [
        f"{kind}.{field.name}" for kind, known in KINDS.items() for field in fields(known) if field.name in FRAME
    ]

    assert clashes == []


def test_a_line_that_is_too_long_is_none_and_those_around_it_are_read() -> None:
    one, chain = encode(Line(1, "2027-01-11T09:30:00Z", 0, "ready", {"ear": "keys"}), "s")
    two, _ = encode(Line(2, "2027-01-11T09:30:01Z", 1, "ready", {"ear": "keys"}), chain)
    reading = read_lines(f"{one}\n[{'0,' * LONGEST}0]\n{two}\n", "s")

    assert [line.n for line in reading.lines] == [1, 2]
    assert [(problem.line, problem.text) for problem in reading.problems] == [(2, "is not a line of a logbook")]


def test_a_file_that_is_mostly_not_a_logbook_is_read_and_reported_in_part() -> None:
    one, _ = encode(Line(1, "2027-01-11T09:30:00Z", 0, "ready", {"ear": "keys"}), "s")
    reading = read_lines(one + "\n" * (100 * MOST_STRANGE), "s")

    assert len(reading.lines) == 1
    assert len(reading.problems) == MOST_STRANGE + 1
    assert "and all after it were not read" in reading.problems[-1].text
