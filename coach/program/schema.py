"""The JSON Schema of a program file, generated from the table of fields, so that an editor completes and checks."""

from __future__ import annotations

from typing import Any

from coach.program.fields import PROGRAM
from coach.program.shapes import schema_of


def schema() -> dict[str, Any]:
    """Return the JSON Schema (draft 2020-12), made of plain dicts and lists.

    It checks shape and spelling of each field. What spans fields (ids that must exist, bands in order, the length
    of a rep) only `load` can tell.
    """
    head = {
        "$schema": "https://json-schema.org/draft/2020-12/schema",
        "title": "A program of home sessions",
    }
    return head | schema_of(PROGRAM)
