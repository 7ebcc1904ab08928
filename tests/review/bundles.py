"""Bundles for the tests of FHIR, and what is looked up in them."""

from __future__ import annotations

import json
from collections.abc import Iterator
from dataclasses import replace
from datetime import UTC, datetime
from typing import Any

from fhir.resources.bundle import Bundle as BundleR5
from fhir.resources.R4B.bundle import Bundle as BundleR4
from pydantic import BaseModel

from coach.logbook import Line, SessionRecord, assemble
from coach.program.model import Program
from coach.review.fhir import VERSIONS, bundle
from coach.review.fhir.codes import Code
from coach.review.fhir.parts import Resource
from coach.review.measures import review
from coach.session.past import Clear, Decision, Goal
from coach.session.safety_holds import SafetyHold

Told = list[tuple[str, int, dict[str, Any]]]

MADE = datetime(2027, 2, 22, 20, tzinfo=UTC)
MODELS: dict[str, type[BaseModel]] = {"R4": BundleR4, "R5": BundleR5}


def assembled(told: Told, session: str = "20270111t093000z-1") -> SessionRecord:
    lines = [Line(n, "2027-01-11T09:30:00.000Z", at, kind, held) for n, (kind, at, held) in enumerate(told, start=1)]
    return replace(assemble(lines), session=session)


def bundle_of(
    *records: SessionRecord,
    version: str = "R4",
    full: bool = True,
    programs: dict[str, Program] | None = None,
    decisions: tuple[Decision, ...] = (),
    clears: tuple[Clear, ...] = (),
    goals: tuple[Goal, ...] = (),
    holds: tuple[SafetyHold, ...] = (),
    flaws: dict[str, tuple[str, ...]] | None = None,
) -> Resource:
    """Return the bundle of records, validated."""
    person = records[0].person if records else "mira"
    files = tuple((f"{number}.jsonl", one) for number, one in enumerate(records))
    found = review(person, files, programs=programs or {}, now=MADE, decisions=decisions, clears=clears, goals=goals)
    return validated(bundle(found, made=MADE, version=version, full=full, flaws=flaws, holds=holds), version)


def validated(told: Resource, version: str) -> Resource:
    """Check fields, fixed codes and targets of references against that version of FHIR. Raises ValueError."""
    read: Any = MODELS[version].model_validate(json.loads(json.dumps(told)))
    kinds = {entry["fullUrl"]: entry["resource"]["resourceType"] for entry in told["entry"]}
    wrong = [fault for entry in read.entry or () for fault in _faults(entry.resource, kinds)]
    if wrong:
        raise ValueError("; ".join(wrong))
    assert len(read.entry or ()) == len(told["entry"])
    return told


def _faults(held: BaseModel, kinds: dict[str, str]) -> Iterator[str]:
    """Yield what the model's own tables of codes and of reference targets do not allow; the library does not look."""
    for name, field in type(held).model_fields.items():
        value, extra = getattr(held, name, None), field.json_schema_extra
        if not isinstance(extra, dict) or value is None:
            continue
        allowed, targets = extra.get("enum_values"), extra.get("enum_reference_types")
        for one in value if isinstance(value, list) else [value]:
            if isinstance(allowed, list) and "+" not in allowed and one not in allowed:
                yield f"{type(held).__name__}.{name}: {one}"
            at = getattr(one, "reference", None)
            if isinstance(targets, list) and isinstance(at, str) and not {"Resource", kinds[at]} & set(targets):
                yield f"{type(held).__name__}.{name} to {kinds[at]}"
            if isinstance(one, BaseModel):
                yield from _faults(one, kinds)


def resources(told: Resource, kind: str = "") -> list[Resource]:
    held = [entry["resource"] for entry in told["entry"]]
    return [one for one in held if not kind or one["resourceType"] == kind]


def of_code(told: Resource, code: Code) -> list[Resource]:
    return [one for one in resources(told, "Observation") if one["code"] == code.concept]


def walk(held: object, place: str = "") -> Iterator[tuple[str, dict[str, Any]]]:
    """Yield each object of a resource with its place, such as "Observation.component.code"."""
    if isinstance(held, dict):
        yield place, held
        for name, value in held.items():
            yield from walk(value, f"{place}.{name}")
    elif isinstance(held, list):
        for value in held:
            yield from walk(value, place)


def coded(told: Resource) -> set[tuple[str, str, str]]:
    """Return system, code and what is shown of all that is coded."""
    return {
        (held["system"], held["code"], held.get("display", held.get("unit", "")))
        for _, held in walk(told)
        if "system" in held and "code" in held
    }


def plain(told: Resource) -> set[str]:
    """Return the places at which something stands without a code."""
    found = set()
    for one in resources(told):
        for place, held in walk(one, one["resourceType"]):
            if set(held) == {"text"} and not place.endswith((".note", ".name")):
                found.add(place.replace("code.concept", "code"))
            found |= {f"{place}.valueString" for name in held if name == "valueString"}
    return found


def both(*records: SessionRecord, **told: Any) -> list[Resource]:
    return [bundle_of(*records, version=version, full=full, **told) for version in VERSIONS for full in (True, False)]
