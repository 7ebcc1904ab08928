"""Every kind of line survives being written and read; found by reflection, so that a new one cannot be forgotten."""

from __future__ import annotations

from dataclasses import MISSING, fields, is_dataclass
from typing import Any, get_args

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from coach.logbook import KINDS, encode, fields_of, line_of, read_lines
from coach.logbook.fields import UnfitField, fact
from coach.loglines import changes, goals, kinds, safety


def examples(kind: str) -> st.SearchStrategy[Any]:
    for hint, strategy in (
        (float, st.floats(allow_nan=False, allow_infinity=False)),
        (str, st.text(max_size=20)),
        (int, st.integers(-(2**60), 2**60)),
    ):
        st.register_type_strategy(hint, strategy)
    return st.from_type(KINDS[kind])


@pytest.mark.parametrize("kind", sorted(KINDS))
def test_a_line_of_each_kind_reads_back_equal(kind: str) -> None:
    @given(examples(kind))
    @settings(max_examples=25)
    def check(said: Any) -> None:
        text, _ = encode(line_of(1, "2027-01-11T09:30:00Z", 5, said), "s")
        reading = read_lines(text + "\n", "s")

        assert reading.problems == ()
        assert fact(kind, reading.lines[0].fields) == said

    check()


def test_every_class_of_the_format_stands_in_the_table() -> None:
    parts = {kinds.PlanEntry}
    every = (*vars(kinds).values(), *vars(changes).values(), *vars(safety).values(), *vars(goals).values())
    written = {known for known in every if isinstance(known, type) and is_dataclass(known)}

    assert written - parts == set(KINDS.values())
    assert set(get_args(kinds.Fact)) == set(KINDS.values())


@pytest.mark.parametrize("kind", sorted(KINDS))
def test_each_kind_says_what_it_is(kind: str) -> None:
    said = KINDS[kind].__doc__ or ""

    assert said
    assert not said.startswith(KINDS[kind].__name__ + "("), f"{kind} has no docstring of its own"


def test_a_field_that_lacks_its_default_makes_a_line_unfit() -> None:
    for kind, known in KINDS.items():
        needed = [field.name.removesuffix("_") for field in fields(known) if field.default is MISSING]
        if needed:
            with pytest.raises(UnfitField, match=f'it lacks "{needed[0]}"'):
                fact(kind, {})


def test_a_field_named_like_a_python_word_is_written_without_the_underscore() -> None:
    said = kinds.Eased("plank", "level", "knees", "wall", "asked")

    assert fields_of(said)["from"] == "knees"
