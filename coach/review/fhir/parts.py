"""The small parts of which every resource is made: ids, values, quantities, times."""

from __future__ import annotations

import json
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import UTC, datetime
from typing import Any
from uuid import NAMESPACE_URL, uuid5

from coach.loglines.kinds import Answer
from coach.program.model import SCALE
from coach.review.fhir.codes import NO_ANSWER, NOT_KNOWN, UNITS, Code

Resource = dict[str, Any]

LOCAL = "urn:home-session-coach"
"""Namespace of the ids of people and sessions, which are unique in this home only."""


@dataclass(frozen=True, slots=True)
class Place:
    """The subject of a resource, from which its id derives."""

    person: str
    session: str
    """Empty: it belongs to no session."""
    what: str

    @property
    def id(self) -> str:
        """The id, the same on each export."""
        return str(uuid5(NAMESPACE_URL, json.dumps([LOCAL, self.person, self.session, self.what])))

    @property
    def reference(self) -> Resource:
        """A reference to it inside the bundle."""
        return {"reference": f"urn:uuid:{self.id}"}


def patient_of(person: str) -> Place:
    return Place(person, "", "patient")


def coach_of(person: str) -> Place:
    return Place(person, "", "device")


def practitioner_of(person: str, name: str) -> Place:
    return Place(person, "", f"practitioner {name}")


def resource(kind: str, place: Place, **fields: Any) -> Resource:  # noqa: ANN401 - JSON
    """Return a resource without empty fields, which FHIR does not allow."""
    held = {name: value for name, value in fields.items() if value not in (None, "", [], {})}
    return {"resourceType": kind, "id": place.id, **held}


def cleaned(held: Any) -> Any:  # noqa: ANN401 - JSON
    """Return the value without characters that FHIR forbids in text, and without blank texts."""
    if isinstance(held, dict):
        return {name: cleaned(value) for name, value in held.items()}
    if isinstance(held, list):
        return [cleaned(value) for value in held]
    if isinstance(held, str):
        return "".join(sign if sign.isprintable() else " " for sign in held).strip() or "?"
    return held


def text(words: str) -> Resource:
    """Return a concept without a code."""
    return {"text": words}


def notes(lines: Sequence[str]) -> list[Resource]:
    return [{"text": line} for line in lines]


def identifier(what: str, value: str) -> Resource:
    return {"system": f"{LOCAL}:{what}", "value": value or "unknown"}


def quantity(number: float, unit: str) -> Resource:
    """Return a quantity; a unit that is not in the table is text."""
    known = UNITS.get(unit)
    return {"value": number, "unit": unit} | ({"system": known.system, "code": known.code} if known else {})


def value(answer: Answer) -> Resource:
    """Return an answer as a value: a number of 0-10 as an integer, yes and no as a boolean, anything else as text."""
    if isinstance(answer, bool):
        return {"valueBoolean": answer}
    if isinstance(answer, int) and answer in SCALE:
        return {"valueInteger": answer}
    if answer is None or not str(answer).strip():
        return absent(NO_ANSWER)
    return {"valueString": str(answer)}


def absent(why: Code) -> Resource:
    return {"dataAbsentReason": why.concept}


def component(code: str | Code, **told: Any) -> Resource:  # noqa: ANN401 - JSON
    return {"code": code.concept if isinstance(code, Code) else text(code), **told}


def number(code: str | Code, amount: float | None, unit: str) -> Resource:
    """Return a component with a quantity, or with the reason why there is none."""
    told = absent(NOT_KNOWN) if amount is None else {"valueQuantity": quantity(amount, unit)}
    return component(code, **told)


def stamp(moment: datetime | None) -> str | None:
    """Return a moment in UTC, to the millisecond; None if it lies outside of the years that UTC has."""
    try:
        return moment.astimezone(UTC).isoformat(timespec="milliseconds").replace("+00:00", "Z") if moment else None
    except (OverflowError, ValueError):
        return None


def period(begun: datetime | None, ended: datetime | None) -> Resource:
    """Return the period; one that would end before it begins has no end."""
    start, end = stamp(begun), stamp(ended)
    return ({"start": start} if start else {}) | ({"end": end} if start and end and end >= start else {})
