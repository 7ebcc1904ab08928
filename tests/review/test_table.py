"""The table of sets: one table of columns makes the file and its dictionary."""

from __future__ import annotations

import csv
from io import StringIO

import pytest
from lived import BUSY, lived

from coach.review.table import COLUMNS, _pain, _safe, dictionary, rows
from coach.voice.pack import languages, load_pack


def test_names_of_columns_are_unique() -> None:
    assert len({column.name for column in COLUMNS}) == len(COLUMNS)


@pytest.mark.parametrize("language", languages())
def test_every_column_is_explained_in_every_language(language: str) -> None:
    screens = load_pack(language).screens
    meant = list(csv.reader(StringIO(dictionary(screens.__getitem__))))

    assert [row[0] for row in meant[1:]] == [column.name for column in COLUMNS]
    explained = {key.removeprefix("csv_") for key in screens if key.startswith("csv_")}
    assert explained == {column.name for column in COLUMNS}


def test_an_unknown_value_is_an_empty_cell_and_never_zero() -> None:
    review = lived("trunk_endurance", BUSY).review(programs={})
    held = list(csv.DictReader(StringIO(rows(review))))

    sets = [one for visit in review.visits for one in visit.record.sets]
    assert [row["effort"] == "" for row in held] == [one.effort is None for one in sets]
    assert {row["pain_eases_to"] for row in held} == {""}


@pytest.mark.parametrize("text", [" =1+1", "=1+1", "+1", "-1", "@x", "\tx"])
def test_no_text_is_taken_for_a_formula(text: str) -> None:
    assert _safe(text) == f"'{text}"
    assert _safe(-1) == -1
    assert _safe("plain") == "plain"


def test_a_spreadsheet_does_not_take_a_band_of_pain_for_a_date() -> None:
    assert [_pain(told) for told in ("4-5", "none", 3, None)] == ["4 to 5", "0", "3", None]
