"""Generate the JSON Schema of a program file from the table of fields: editors complete and check by it."""

from __future__ import annotations

from typing import Any

from coach.program.fields import PROGRAM
from coach.program.shapes import schema_of


def schema() -> dict[str, Any]:
    """Return the JSON Schema (draft 2020-12) as plain dicts and lists.

    It checks the shape and spelling of each field. Only `load` checks rules between fields: ids that must exist, bands
    in order, the length of a rep.
    """
    head = {
        "$schema": "https://json-schema.org/draft/2020-12/schema",
        "title": "A program of home sessions",
    }
    return head | schema_of(PROGRAM)
