"""A line that is laid out wrong is named, with what to do; each of these used to be told as something else."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from coach.errors import ProgramError
from coach.program.load import load
from coach.program.nodes import Problems, compose

RIGHT = """\
format: 1
title: Small
exercises:
  - id: bend
    name: Knee bend
    dose:
      sets: 2
      reps: 8-12
      rest: 60 s
      phases: {lower: 3 s, rise: 2 s}
    levels:
      - id: easy
        setup: Stand tall.
        cue: Bend and rise.
"""

WRONG = {
    "a field a column less": ("    name:", "   name:", "5:4: this line begins in column 4, but the"),
    "a field a column more": ("    name:", "     name:", '5:6: this line is indented deeper than "id" above it'),
    "a block in the column of its list": ("    levels:", "  levels:", "11:3: this line begins in column 3, but the"),
    "a field of a level deeper": ("        cue", "          cue", '14:11: this line is indented deeper than "setup"'),
    "a field of a level less deep": ("        setup", "      setup", "13:7: this line begins in column 7, but the"),
    "a field of a level in the exercise": ("        cue", "    cue", '14:5: exercise has no field "cue"; it'),
    "a field of the exercise inside its dose": ("    name:", "    dose: {name:", "belongs to the exercise around it"),
    "no space after a dash": ("- id: bend", "-id: bend", '4:3: a space is missing after the "-"'),
    "no space after a colon": ("name: Knee", "name:Knee", '5:9: a space is missing after the ":"'),
    "no-break spaces": ("    name", "\u00a0\u00a0name", "5:1: this line holds an invisible character (U+00A0"),
    "one no-break space": ("    name", "   \u00a0name", "5:4: this line holds an invisible character (U+00A0"),
    "a no-break space after a colon": ("name: ", "name:\u00a0", "5:10: this line holds an invisible character (U+00A0"),
    "a wide space": ("    name", "\u3000\u3000name", "5:1: this line holds an invisible character (U+3000"),
    "a space without width": ("title", "\u200btitle", "2:1: this line holds an invisible character (U+200B"),
    "one inside braces": ("lower: 3 s", "lower: 3\u00a0s", "phases: lower holds an invisible character (U+00A0"),
    "a mark of the byte order": ("title", "\ufefftitle", "2:1: this line holds an invisible character (U+FEFF"),
}  # fmt: skip


@pytest.mark.parametrize(("old", "new", "told"), WRONG.values(), ids=WRONG.keys())
def test_a_line_laid_out_wrong_is_named_with_what_to_do(old: str, new: str, told: str) -> None:
    assert RIGHT.count(old) == 1
    wrong = (
        RIGHT.replace(old, new)
        if "{name:" not in new
        else RIGHT.replace("      sets: 2", "      sets: 2\n      name: x")
    )

    with pytest.raises(ProgramError) as caught:
        load(wrong, "small.yaml")

    assert told in str(caught.value)


def test_fields_beside_an_empty_block_are_sent_into_it() -> None:
    flat = RIGHT.replace("      sets", "    sets").replace("      reps", "    reps").replace("      rest", "    rest")

    with pytest.raises(ProgramError) as caught:
        load(flat.replace("      phases", "    phases"), "small.yaml")

    assert str(caught.value).count('it belongs to "dose": indent it deeper than that.') == 4


@pytest.mark.parametrize("mark", ["\ufeff", ""])
def test_a_mark_of_the_byte_order_may_begin_the_file(mark: str) -> None:
    assert load(mark + RIGHT, "small.yaml").title == "Small"


def test_running_text_may_hold_spaces_of_every_kind() -> None:
    text = RIGHT.replace("Stand tall.", "Stand\u00a0tall.\u3000Breathe.")

    assert load(text, "small.yaml").exercises[0].levels[0].setup == "Stand tall. Breathe."


@given(st.text("abc:-\n\r \u00a0\u2028\x85{}[]'\"#>|?", max_size=60))
def test_whatever_the_lines_are_a_problem_has_a_place_in_the_file(text: str) -> None:
    problems = Problems("x.yaml")

    compose(text, problems)

    assert all(line >= 1 and column >= 1 and "\n" not in sentence for line, column, sentence in problems.found)
