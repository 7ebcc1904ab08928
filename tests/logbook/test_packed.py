"""A record as JSON and back."""

from __future__ import annotations

import json
from dataclasses import replace
from datetime import date
from random import Random

import pytest

from coach.logbook import SessionRecord, assemble
from coach.logbook.fields import UnfitField
from coach.logbook.lines import encode, line_of, read_lines
from coach.logbook.packed import pack, unpack
from coach.session.commands import Record
from coach.session.lines import session_begun
from coach.session.plan import plan
from coach.testing import RandomPerson, WatchedRun, live, random_history, random_program


def random_record(seed: int) -> SessionRecord:
    """Return the record of a random session of a random program."""
    chance = Random(seed)
    program = random_program(chance)
    today = plan(program, random_history(chance, program, date(2027, 3, 1)), date(2027, 3, 1))
    run = WatchedRun(today)
    live(run, RandomPerson(chance, odd=0.3, silent=0.1))
    begun = session_begun(today, session="s", person="mira", ears=("keys",), voice="v", device="d", app_version="1")
    lines = (Record(0, begun), *run.records)
    texts, chain = [], "s"
    for n, one in enumerate(lines, start=1):
        text, chain = encode(line_of(n, "2027-03-01T09:00:00.000Z", one.at, one.fact), chain)
        texts.append(text)
    return assemble(read_lines("\n".join(texts) + "\n", "s").lines)


@pytest.mark.parametrize("seed", range(12))
def test_a_record_that_was_packed_comes_back_to_the_letter(seed: int) -> None:
    record = random_record(seed)

    back = unpack(SessionRecord, pack(record))

    assert back == record
    assert repr(back) == repr(record)


@pytest.mark.parametrize("other", [None, True, 1e400, float("nan"), "x", [], {}, [[]], 10**400, -1.5])
def test_a_value_of_another_type_is_refused_wherever_it_stands(other: object) -> None:
    values = json.loads(pack(random_record(3)))
    right = unpack(SessionRecord, json.dumps(values))
    for place in range(len(values)):
        text = json.dumps([*values[:place], other, *values[place + 1 :]])
        try:
            found = unpack(SessionRecord, text)
        except UnfitField:
            continue
        name = SessionRecord.__slots__[place]
        assert type(getattr(found, name)) in (type(getattr(right, name)), type(other)), name
        assert repr(found) == repr(unpack(SessionRecord, pack(found)))


def test_a_type_that_fits_once_does_not_let_another_through() -> None:
    record = random_record(3)
    packed = json.loads(pack(record))
    sets = SessionRecord.__slots__.index("sets")
    unpack(SessionRecord, json.dumps(packed))
    packed[sets][0][0] = "1"

    with pytest.raises(UnfitField):
        unpack(SessionRecord, json.dumps(packed))


@pytest.mark.parametrize("text", ["", "[", "null", "[]", "[" * 100_000, '{"session": "x"}', "NaN", "\x00"])
def test_what_is_no_record_is_refused(text: str) -> None:
    with pytest.raises(UnfitField):
        unpack(SessionRecord, text)


def test_a_whole_number_where_seconds_stand_becomes_seconds() -> None:
    record = replace(random_record(3), seconds=7.0)

    back = unpack(SessionRecord, pack(record).replace("7.0", "7", 1))

    assert back.seconds == 7.0
    assert type(back.seconds) is float
