"""A clause of the plan in plain words: the same facts without the names of the program file."""

from __future__ import annotations

import re

import pytest

from coach.cli.labels import Labels
from coach.session.past import Clause
from coach.voice.pack import languages, load_pack

PLAIN = [key for key in load_pack("en").screens if key.startswith("plain_")]


@pytest.mark.parametrize("language", languages())
@pytest.mark.parametrize("key", PLAIN)
def test_plain_words_ask_for_no_value_that_the_clause_lacks(language: str, key: str) -> None:
    screens = load_pack(language).screens
    names = [set(re.findall(r"{(\w+)}", screens[one])) for one in (key, key.removeprefix("plain_"))]

    assert names[0] <= names[1]
    assert "_" not in re.sub(r"{\w+}", "", screens[key])


def test_a_clause_without_plain_words_uses_those_of_the_record() -> None:
    labels = Labels(load_pack("en").screens)
    clause = Clause("because_future", (("n", 2),))

    assert labels.plain_clause(clause) == labels.clause(clause)
    assert labels.plain_clause(Clause("because_start_level", (("level", "x"),))) == "The level to begin with."
