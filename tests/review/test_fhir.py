"""A bundle validates, keeps planned, counted and stated apart, and codes only what was answered with a number."""

from __future__ import annotations

import json
from collections.abc import Iterator
from dataclasses import replace
from datetime import date
from pathlib import Path
from typing import Any

import pytest
from fhir.resources.bundle import Bundle
from hypothesis import given
from hypothesis import strategies as st

from coach.errors import CoachError
from coach.logbook import Line, SessionRecord, assemble
from coach.loglines.kinds import Answer
from coach.review import codes
from coach.review.fhir import Resource, bundle, write_bundle

Told = list[tuple[str, int, dict[str, Any]]]


def assembled(told: Told, session: str = "20270111t093000z-1") -> SessionRecord:
    lines = [Line(n, "2027-01-11T09:30:00.000Z", at, kind, held) for n, (kind, at, held) in enumerate(told, start=1)]
    return replace(assemble(lines), session=session)


@pytest.fixture
def record(told: Told) -> SessionRecord:
    return assembled(told)


def resources(told: Resource, kind: str = "") -> list[Resource]:
    held = [entry["resource"] for entry in told["entry"]]
    return [one for one in held if not kind or one["resourceType"] == kind]


def of_code(told: Resource, code: codes.Code) -> list[Resource]:
    return [one for one in resources(told, "Observation") if one["code"] == code.concept]


def validated(told: Resource) -> Resource:
    """Check the structure against FHIR R5, and that nothing is lost on the way in and out."""
    read = Bundle.model_validate(json.loads(json.dumps(told)))
    assert read.entry is not None
    assert len(read.entry) == len(told["entry"])
    return told


def answered(told: Told, value: Answer, question: str = "pain") -> Resource:
    lines = [row if row[0] != "answered" else (row[0], row[1], row[2] | {"value": value, "question": question})
             for row in told]  # fmt: skip
    return validated(bundle("mira", [assembled(lines)]))


def test_a_session_validates_as_r5(record: SessionRecord) -> None:
    told = validated(bundle("mira", [record]))

    assert [len(resources(told, kind)) for kind in ("Patient", "Device", "Procedure", "ServiceRequest")] == [1, 1, 1, 1]
    assert Bundle.get_resource_type() == "Bundle"


def test_a_wrong_structure_would_not_validate(record: SessionRecord) -> None:
    told = bundle("mira", [record])
    resources(told, "Observation")[0]["status"] = ["final"]

    with pytest.raises(ValueError, match="status"):
        validated(told)


def test_a_pain_that_was_a_number_is_an_integer_without_a_unit(record: SessionRecord) -> None:
    pains = of_code(bundle("mira", [record]), codes.PAIN)

    assert [one["valueInteger"] for one in pains] == [3, 5]
    assert pains[0]["code"]["coding"] == [
        {
            "system": "http://loinc.org",
            "code": "72514-3",
            "display": "Pain severity - 0-10 verbal numeric rating [Score] - Reported",
        }
    ]


@pytest.mark.parametrize("value", ["4-5", "none", "1-3", 11, -1, 2**70])
def test_an_answer_off_the_scale_stays_text(told: Told, value: Answer) -> None:
    pains = of_code(answered(told, value), codes.PAIN)

    assert [(one.get("valueString"), "valueInteger" in one) for one in pains] == [(str(value), False)] * len(pains)
    assert pains


def test_a_missing_answer_gives_a_reason_and_no_value(record: SessionRecord) -> None:
    (effort,) = of_code(validated(bundle("mira", [record])), codes.EFFORT)

    assert effort["dataAbsentReason"]["coding"][0]["code"] == "unknown"
    assert [name for name in effort if name.startswith("value")] == []


def test_a_question_that_was_never_put_has_the_reason_not_asked(told: Told) -> None:
    lines: Told = [row if row[0] != "unanswered" else (row[0], row[1], row[2] | {"because": "numbers_not_heard"})
                   for row in told]  # fmt: skip

    (effort,) = of_code(validated(bundle("mira", [assembled(lines)])), codes.EFFORT)

    assert effort["dataAbsentReason"]["coding"][0]["code"] == "not-asked"


def test_effort_is_an_integer_too(told: Told) -> None:
    efforts = of_code(answered(told, 6, "effort"), codes.EFFORT)

    assert {one["valueInteger"] for one in efforts if "dataAbsentReason" not in one} == {6}


def test_yes_and_no_are_booleans(record: SessionRecord) -> None:
    (asked,) = [one for one in resources(bundle("mira", [record])) if one.get("code", {}).get("text") == (
        "Asked: screen.new_injury"
    )]  # fmt: skip

    assert asked["valueBoolean"] is False


def test_planned_counted_and_stated_are_resources_of_their_own(record: SessionRecord) -> None:
    told = bundle("mira", [record])
    (patient,), (device,) = resources(told, "Patient"), resources(told, "Device")
    (plan,) = resources(told, "ServiceRequest")
    by = {f"urn:uuid:{patient['id']}": "person", f"urn:uuid:{device['id']}": "coach"}

    seen = [
        (by[one["performer"][0]["reference"]], one["code"]["text"].split(":")[0])
        for one in resources(told, "Observation")
        if one["code"]["text"].startswith(("Set:", "Said to have been done:"))
    ]

    assert (plan["quantityRange"]["low"]["value"], plan["quantityRange"]["high"]["value"]) == (10, 15)
    assert seen == [("coach", "Set"), ("person", "Said to have been done"), ("coach", "Set")]


def test_the_numbers_are_those_of_the_record(record: SessionRecord) -> None:
    told = bundle("mira", [record])

    counted = [one["component"][0]["valueQuantity"] for one in resources(told) if "component" in one]
    stated = [one["valueQuantity"] for one in resources(told) if one.get("code", {}).get("text", "").startswith("Said")]
    assert counted == [{"value": 12, "unit": "reps"}, {"value": 5, "unit": "reps"}]
    assert stated == [{"value": 10, "unit": "reps"}]
    (duration,) = of_code(told, codes.DURATION)
    assert duration["valueQuantity"] == {  # from 40 s to 246 s
        "value": 3.43, "unit": "min", "system": "http://unitsofmeasure.org", "code": "min",
    }  # fmt: skip


def test_a_count_that_is_not_known_has_no_number(told: Told) -> None:
    lines = [row for row in told if row[0] != "set_ended"]

    told_ = validated(bundle("mira", [assembled(lines)]))

    parts = [part for one in resources(told_) for part in one.get("component", ())]
    assert [part["valueQuantity"] for part in parts if "valueQuantity" in part] == []
    assert sum("dataAbsentReason" in part for part in parts) == 4


def coded(held: object) -> Iterator[tuple[str, str, str]]:
    if isinstance(held, dict):
        if "system" in held and "code" in held:
            yield held["system"], held["code"], held.get("display", "")
        for value in held.values():
            yield from coded(value)
    elif isinstance(held, list):
        for value in held:
            yield from coded(value)


def test_every_code_is_in_the_table_and_every_code_of_the_table_is_used(told: Told, record: SessionRecord) -> None:
    hold: Told = [(kind, at, held | {"kind": "hold", "unit": "seconds"} if kind == "set_begun" else held)
                  for kind, at, held in told]  # fmt: skip
    unasked: Told = [("unanswered", 1, {"question": "effort", "prompts": 0, "because": "numbers_not_heard"})]

    used = set(coded(bundle("mira", [record, assembled([*hold, *unasked], "other")])))

    assert used == {(code.system, code.code, code.display) for code in codes.CODES}


def test_loinc_codes_are_those_that_the_evidence_names() -> None:
    named = {code.code: code.display or code.text for code in codes.CODES if code.system == codes.LOINC}

    assert {code: words.lower().split(" -")[0].split(" 0")[0] for code, words in named.items()} == {
        "72514-3": "pain severity",
        "82289-0": "perceived exertion",
        "73985-4": "exercise activity",
        "55411-3": "exercise duration",
    }


def test_ids_are_the_same_each_time_and_no_two_are_alike(record: SessionRecord) -> None:
    copied = [record, record, replace(record, session="other")]

    told = bundle("mira", copied)

    ids = [one["id"] for one in resources(told)]
    assert told == bundle("mira", copied)
    assert len(set(ids)) == len(ids)
    assert set(ids) & {one["id"] for one in resources(bundle("bo", copied))} == set()


def test_every_reference_is_in_the_bundle(record: SessionRecord) -> None:
    told = bundle("mira", [record])

    def references(held: object) -> Iterator[str]:
        if isinstance(held, dict):
            yield from [held["reference"]] if "reference" in held else []
            held = list(held.values())
        if isinstance(held, list):
            for value in held:
                yield from references(value)

    assert set(references(told["entry"])) <= {entry["fullUrl"] for entry in told["entry"]}


def test_the_person_is_known_by_the_local_id_alone(record: SessionRecord) -> None:
    (patient,) = resources(bundle("mira", [record]), "Patient")

    assert set(patient) == {"resourceType", "id", "identifier"}
    assert patient["identifier"] == [{"system": "urn:home-session-coach:person", "value": "mira"}]


def test_since_leaves_out_what_was_before(record: SessionRecord) -> None:
    later = replace(record, session="later", began="2027-02-01T00:00:00.000Z")

    told = bundle("mira", [record, later], since=date(2027, 2, 1))

    assert [one["identifier"][0]["value"] for one in resources(told, "Procedure")] == ["later"]


@pytest.mark.parametrize(
    ("why", "sets", "status"),
    [("done", True, "completed"), ("pain", True, "stopped"), ("", True, "unknown"), ("screen", False, "not-done"),
     ("", False, "unknown")],
)  # fmt: skip
def test_how_a_session_ended_is_its_status(record: SessionRecord, why: str, sets: bool, status: str) -> None:
    one = replace(record, why=why, sets=record.sets if sets else ())

    (procedure,) = resources(validated(bundle("mira", [one])), "Procedure")

    assert procedure["status"] == status


def test_what_is_wrong_with_a_file_is_reported_in_its_session(record: SessionRecord) -> None:
    told = validated(bundle("mira", [record], flaws={record.session: ("line 9 was changed",)}))

    (procedure,) = resources(told, "Procedure")
    assert {"text": "Of the session's file: line 9 was changed."} in procedure["note"]


@given(
    text=st.text(max_size=30),
    began=st.sampled_from(["", "yesterday", "0001-01-01T00:00:00+23:00", "2027-01-11T09:30:00", "9999-12-31"]),
    seconds=st.floats(0, 1e15),
)
def test_whatever_a_file_holds_the_bundle_validates(told: Told, text: str, began: str, seconds: float) -> None:
    record = assembled(told)
    sets = tuple(replace(one, exercise=text, level=text, unit=text) for one in record.sets)
    strange = replace(
        record, session=text, title=text, began=began, seconds=seconds, sets=sets, notes=((text, text),), why=text
    )

    validated(bundle(text, [strange]))


def test_a_person_without_sessions_has_a_bundle_too() -> None:
    assert len(validated(bundle("mira", []))["entry"]) == 2


def test_a_bundle_is_written_whole_or_the_error_says_why_not(record: SessionRecord, tmp_path: Path) -> None:
    told = bundle("mira", [record])
    write_bundle(tmp_path / "out.json", told)

    assert json.loads((tmp_path / "out.json").read_text("utf-8")) == told
    with pytest.raises(CoachError, match="Cannot write"):
        write_bundle(tmp_path / "none" / "out.json", told)
