"""Write the review as a table, one row per set, with a second table that explains the columns."""

from __future__ import annotations

import csv
from collections.abc import Callable
from dataclasses import dataclass
from io import StringIO

from coach.logbook import SetRecord
from coach.logbook.pain import span
from coach.loglines.kinds import Answer
from coach.review.blocks import shown_pain
from coach.review.figures import Review, Visit

Cell = str | int | float | None


@dataclass(frozen=True, slots=True)
class Column:
    """One column; the label "csv_" + its name explains it."""

    name: str
    unit: str
    """Unit or format of its values."""
    value: Callable[[Review, Visit, SetRecord], Cell]


COLUMNS: tuple[Column, ...] = (
    Column("person", "id", lambda review, _visit, _set: review.person),
    Column("session", "id", lambda _review, visit, _set: visit.record.session),
    Column("day", "YYYY-MM-DD", lambda _review, visit, _set: visit.day.isoformat()),
    Column("began", "ISO 8601", lambda _review, visit, _set: visit.began.isoformat(timespec="seconds")),
    Column("session_ended", "word", lambda _review, visit, _set: visit.record.why or None),
    Column("program", "id", lambda _review, visit, _set: visit.record.program),
    Column("program_digest", "SHA-256", lambda _review, visit, _set: visit.record.digest),
    Column("set_in_session", "number", lambda _review, _visit, one: one.set_id),
    Column("exercise", "id", lambda _review, _visit, one: one.exercise),
    Column("exercise_name", "text", lambda _review, visit, one: visit.record.name_of(one.exercise)),
    Column("level", "id", lambda _review, _visit, one: one.level),
    Column("set", "number", lambda _review, _visit, one: one.set),
    Column("side", "word", lambda _review, _visit, one: one.side or None),
    Column("unit", "word", lambda _review, _visit, one: one.unit),
    Column("prescribed_low", "unit", lambda _review, _visit, one: one.planned_low),
    Column("prescribed_high", "unit", lambda _review, _visit, one: one.planned_high),
    Column("counted", "unit", lambda _review, _visit, one: one.counted),
    Column("stated", "unit", lambda _review, _visit, one: one.stated),
    Column("tension_prescribed", "s", lambda _review, _visit, one: one.tension_planned_s),
    Column("tension", "s", lambda _review, _visit, one: one.tension_s),
    Column("set_ended", "word", lambda _review, _visit, one: one.why or None),
    Column("pain", "0-10 or a band, 4 to 5", lambda _review, _visit, one: _pain(one.pain)),
    Column("effort", "0-10", lambda _review, _visit, one: one.effort if isinstance(one.effort, int) else None),
    Column("worse_next_morning", "yes or no", lambda _review, visit, _set: _yes_no(visit.worse)),
    Column("pain_carries_on_to", "0-10", lambda _r, visit, _s: visit.limits.pain_carry_on_to if visit.limits else None),
    Column("pain_eases_to", "0-10", lambda _r, visit, _s: visit.limits.pain_ease_to if visit.limits else None),
)  # fmt: skip
"""The table of columns, from which the file and its dictionary are made. An empty cell: unknown, or not answered."""


def _yes_no(value: bool | None) -> Cell:
    return None if value is None else "yes" if value else "no"


def rows(review: Review) -> str:
    """Return the table as CSV; the first row holds the names."""
    held = [
        [column.value(review, visit, one) for column in COLUMNS] for visit in review.visits for one in visit.record.sets
    ]
    return _csv([[column.name for column in COLUMNS], *held])


def dictionary(meaning: Callable[[str], str]) -> str:
    """Return the meaning of each column as CSV; `meaning` returns the label of a key."""
    held: list[list[Cell]] = [[one.name, one.unit, meaning(f"csv_{one.name}")] for one in COLUMNS]
    return _csv([["column", "unit", "meaning"], *held])


def _csv(held: list[list[Cell]]) -> str:
    out = StringIO()
    csv.writer(out, lineterminator="\r\n").writerows([[_safe(cell) for cell in row] for row in held])
    return out.getvalue()


def _pain(answer: Answer) -> Cell:
    """Return a pain, a band in words: a spreadsheet would read "4-5" as a date."""
    between = span(answer)
    return shown_pain(between).replace("-", " to ") if between else None


def _safe(cell: Cell) -> Cell:
    """Return a cell that no spreadsheet takes for a formula."""
    formula = isinstance(cell, str) and (cell[:1] in ("\t", "\r") or cell.lstrip()[:1] in ("=", "+", "-", "@"))
    return f"'{cell}" if formula else cell
