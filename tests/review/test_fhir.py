"""A bundle validates, keeps planned, counted and stated apart, and codes only what was answered with a number."""

from __future__ import annotations

import json
from collections import Counter
from dataclasses import replace
from datetime import UTC, date, datetime, timedelta
from pathlib import Path
from typing import Any

import pytest
from bundles import (
    MADE,
    Told,
    assembled,
    both,
    bundle_of,
    coded,
    of_code,
    plain,
    resources,
    validated,
    walk,
)
from hypothesis import given, settings
from hypothesis import strategies as st
from lived import BUSY, Lived, lived

from coach.cli.manual import manual_of, topics
from coach.errors import CoachError
from coach.logbook import SessionRecord
from coach.logbook.logged import logged
from coach.loglines.kinds import Answer
from coach.loglines.safety import SafetySign
from coach.program_files import read, shipped
from coach.review.fhir import VERSIONS, bundle, codes, write_bundle
from coach.review.fhir.parts import Resource
from coach.session.goals import MOST_GOALS
from coach.session.past import Clear, Decision, Goal, Verdict
from coach.session.safety_holds import SafetyHold


@pytest.fixture
def record(told: Told) -> SessionRecord:
    return assembled(told)


def answered(told: Told, value: Answer, question: str = "pain") -> Resource:
    lines = [row if row[0] != "answered" else (row[0], row[1], row[2] | {"value": value, "question": question})
             for row in told]  # fmt: skip
    return bundle_of(assembled(lines))


def decision(verdict: Verdict = Verdict.UP, by: str = "Kim Rivers", note: str = "", at: str = "08") -> Decision:
    to = "fingertips" if verdict is Verdict.UP else "both_hands"
    when = f"2027-01-19T{at}:00:00.000Z"
    return Decision("steadier_ankle", "heel_lowering", verdict, "both_hands", to, by, note, when, date(2027, 1, 19))


@pytest.mark.parametrize("version", VERSIONS)
def test_a_session_validates_in_both_versions_of_fhir(record: SessionRecord, version: str) -> None:
    told = bundle_of(record, version=version)

    assert [len(resources(told, kind)) for kind in ("Patient", "Device", "Procedure", "ServiceRequest")] == [1, 1, 1, 1]


def test_r4_is_written_unless_another_version_is_asked_for(record: SessionRecord) -> None:
    r4, r5 = bundle_of(record), bundle_of(record, version="R5")

    assert "performedPeriod" in resources(r4, "Procedure")[0]
    assert "occurrencePeriod" in resources(r5, "Procedure")[0]
    with pytest.raises(ValueError, match="performedPeriod"):
        validated(r4, "R5")


@pytest.mark.parametrize("version", VERSIONS)
def test_a_wrong_structure_would_not_validate(record: SessionRecord, version: str) -> None:
    told = bundle_of(record, version=version)
    resources(told, "Observation")[0]["status"] = ["final"]

    with pytest.raises(ValueError, match="status"):
        validated(told, version)


def test_a_wrong_target_of_a_reference_would_not_validate(record: SessionRecord) -> None:
    told = bundle_of(record)
    one = resources(told, "Observation")[0]
    one["performer"] = [one["device"]]

    with pytest.raises(ValueError, match="performer to Device"):
        validated(told, "R4")


def test_a_pain_that_was_a_number_is_an_integer_without_a_unit(record: SessionRecord) -> None:
    pains = of_code(bundle_of(record), codes.PAIN)

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
    (effort,) = of_code(bundle_of(record), codes.EFFORT)

    assert effort["dataAbsentReason"]["coding"][0]["code"] == "unknown"
    assert [name for name in effort if name.startswith("value")] == []


def test_a_question_that_was_not_put_is_not_asked(told: Told) -> None:
    lines: Told = [row if row[0] != "unanswered" else (row[0], row[1], row[2] | {"because": "numbers_not_heard"})
                   for row in told]  # fmt: skip

    (effort,) = of_code(bundle_of(assembled(lines)), codes.EFFORT)

    assert effort["dataAbsentReason"]["coding"][0]["code"] == "not-asked"


def test_effort_is_an_integer_too(told: Told) -> None:
    efforts = of_code(answered(told, 6, "effort"), codes.EFFORT)

    assert {one["valueInteger"] for one in efforts if "dataAbsentReason" not in one} == {6}


def test_yes_and_no_are_booleans(record: SessionRecord) -> None:
    (asked,) = [one for one in resources(bundle_of(record)) if one.get("code", {}).get("text") == (
        "Asked: screen.new_injury"
    )]  # fmt: skip

    assert asked["valueBoolean"] is False


def test_planned_counted_and_stated_are_resources_of_their_own(record: SessionRecord) -> None:
    told = bundle_of(record)
    (patient,), (device,) = resources(told, "Patient"), resources(told, "Device")
    (plan,) = resources(told, "ServiceRequest")
    by = {f"urn:uuid:{patient['id']}": "person", f"urn:uuid:{device['id']}": "coach"}

    seen = [
        (by[one.get("performer", [one["device"]])[0]["reference"]], one["code"]["text"].split(":")[0])
        for one in resources(told, "Observation")
        if one["code"]["text"].startswith(("Set:", "Said to have been done:"))
    ]

    assert (plan["quantityRange"]["low"]["value"], plan["quantityRange"]["high"]["value"]) == (10, 15)
    assert seen == [("coach", "Set"), ("person", "Said to have been done"), ("coach", "Set")]


REPS = {"unit": "reps", "system": codes.UCUM, "code": "{reps}"}


def test_the_numbers_are_those_of_the_record(record: SessionRecord) -> None:
    told = bundle_of(record)

    counted = [one["component"][0]["valueQuantity"] for one in resources(told) if "component" in one]
    stated = [one["valueQuantity"] for one in resources(told) if one.get("code", {}).get("text", "").startswith("Said")]
    assert counted == [REPS | {"value": 12}, REPS | {"value": 5}]
    assert stated == [REPS | {"value": 10}]
    (duration,) = of_code(told, codes.DURATION)
    assert duration["valueQuantity"] == {  # from 40 s to 246 s
        "value": 3.43, "unit": "minutes", "system": "http://unitsofmeasure.org", "code": "min",
    }  # fmt: skip


def test_a_count_that_is_not_known_has_no_number(told: Told) -> None:
    lines = [row for row in told if row[0] != "set_ended"]

    told_ = bundle_of(assembled(lines))

    parts = [part for one in resources(told_) for part in one.get("component", ())]
    assert [part["valueQuantity"] for part in parts if "valueQuantity" in part] == []
    assert sum("dataAbsentReason" in part for part in parts) == 4


def everything(told: Told) -> list[Resource]:
    """Return bundles in which everything occurs that can: both versions, summary and details."""
    hold: Told = [(kind, at, held | {"kind": "hold", "unit": "seconds"} if kind == "set_begun" else held)
                  for kind, at, held in told]  # fmt: skip
    rounds: Told = [(kind, at, held | {"kind": "route", "unit": "rounds"} if kind == "set_begun" else held)
                    for kind, at, held in told]  # fmt: skip
    unasked: Told = [("unanswered", 1, {"question": "effort", "prompts": 0, "because": "numbers_not_heard"})]
    banded: Told = [("halt_why", 1, {"why": "pain", "pain": "9-10"})]
    efforts: Told = [("answered", 141, {"question": "effort", "value": 6, "ear": "taught", "read_back": False,
                                        "attempts": 1, "set_id": 1})]  # fmt: skip
    unknown = [row for row in told if row[0] != "set_ended"]
    stories = (told, hold, rounds, [*told, *unasked], [*told, *banded], [*told, *efforts], unknown)
    records = [assembled(one, f"s{number}") for number, one in enumerate(stories)]
    nothing = replace(records[0], session="nothing", sets=(), questions=(), halts=(), steps=())
    goals = (Goal("g1", "dig in the garden for an hour"),)
    decisions = (decision(note="steady for two weeks"),)
    return both(*records, nothing, decisions=decisions, goals=goals, holds=(held(),))


def held(**told: Any) -> SafetyHold:
    began = "2027-01-11T09:30:00.000Z"
    sign = SafetySign("screen", question="new_injury", asked=ASKED, answer=True)
    return SafetyHold("s1", began, date(2027, 1, 11), "steadier_ankle", replace(sign, **told))


def test_every_code_is_in_the_table_and_every_code_of_the_table_is_used(told: Told) -> None:
    used = set().union(*map(coded, everything(told)))

    assert used == {(one.system, one.code, one.display) for one in (*codes.CONCEPTS, *codes.UNITS.values())}


def test_every_code_has_what_it_shows(told: Told) -> None:
    for one in everything(told):
        assert [held for _, held in walk(one) if "code" in held and "system" in held
                and not (held.get("display") or held.get("unit"))] == []  # fmt: skip
        assert [held for place, held in walk(one) if place.endswith(".coding") and not held["display"]] == []


def test_every_place_of_a_plain_text_stands_in_the_table_and_every_one_of_the_table_is_used(told: Told) -> None:
    kept = lived("ankle_steady", BUSY)  # its program names the affected side

    places = set().union(*map(plain, [*everything(told), *both(*kept_records(kept), programs=kept.programs)]))

    assert places == set(codes.TEXTS)


def kept_records(one: Lived, most: int = 3) -> list[SessionRecord]:
    return [logged(session).record for _, session in one.files[:most]]


def test_the_manual_holds_the_table_of_what_is_coded_and_what_is_text() -> None:
    assert codes.table() in topics(manual_of("en"))["fhir"][1]


def test_loinc_codes_are_those_that_the_evidence_names() -> None:
    named = {code.code: code.display or code.text for code in codes.CONCEPTS if code.system == codes.LOINC}

    assert {code: words.lower().split(" -")[0].split(" 0")[0] for code, words in named.items()} == {
        "72514-3": "pain severity",
        "82289-0": "perceived exertion",
        "73985-4": "exercise activity",
        "55411-3": "exercise duration",
    }


def test_ids_are_the_same_each_time_and_no_two_are_alike(record: SessionRecord) -> None:
    records = [record, replace(record, session="other")]
    decisions = (decision(), decision(), decision(at="09"))

    told = bundle_of(*records, decisions=decisions)

    ids = [one["id"] for one in resources(told)]
    assert told == bundle_of(*records, decisions=decisions)
    assert len(set(ids)) == len(ids)
    other = bundle_of(*(replace(one, person="bo") for one in records))
    assert set(ids) & {one["id"] for one in resources(other)} == set()


def test_every_reference_is_in_the_bundle(told: Told) -> None:
    for one in everything(told):
        pointed = {held["reference"] for _, held in walk(one) if "reference" in held}

        assert pointed <= {entry["fullUrl"] for entry in one["entry"]}


def test_the_person_is_known_by_the_local_id_alone(record: SessionRecord) -> None:
    (patient,) = resources(bundle_of(record), "Patient")

    assert set(patient) == {"resourceType", "id", "identifier"}
    assert patient["identifier"] == [{"system": "urn:home-session-coach:person", "value": "mira"}]


@pytest.mark.parametrize(
    ("why", "sets", "status"),
    [("done", True, "completed"), ("pain", True, "stopped"), ("", True, "unknown"), ("screen", False, "not-done"),
     ("", False, "unknown")],
)  # fmt: skip
def test_how_a_session_ended_is_its_status(record: SessionRecord, why: str, sets: bool, status: str) -> None:
    one = replace(record, why=why, sets=record.sets if sets else ())

    (procedure,) = resources(bundle_of(one), "Procedure")

    assert procedure["status"] == status


def test_what_is_wrong_with_a_file_is_reported_in_its_session(record: SessionRecord) -> None:
    told = bundle_of(record, flaws={record.session: ("line 9 was changed",)})

    (procedure,) = resources(told, "Procedure")
    assert {"text": "Of the session's file: line 9 was changed."} in procedure["note"]


@given(
    text=st.text(max_size=30),
    began=st.sampled_from(["0001-01-01T00:00:00+23:00", "2027-01-11T09:30:00", "1999-12-31T23:59:59-11:00"]),
    seconds=st.floats(0, 1e15),
    full=st.booleans(),
    version=st.sampled_from(VERSIONS),
)
def test_whatever_a_file_holds_the_bundle_validates(
    told: Told, text: str, began: str, seconds: float, full: bool, version: str
) -> None:
    record = assembled(told)
    sets = tuple(replace(one, exercise=text, level=text, unit=text, side=text) for one in record.sets)
    strange = replace(
        record, session=text, title=text, began=began, seconds=seconds, sets=sets, notes=((text, text),), why=text,
        because=text, written_by=text, app_version=text,
    )  # fmt: skip
    decisions = (replace(decision(by=text, note=text), exercise=text), replace(decision(), at=began))

    bundle_of(strange, version=version, full=full, decisions=decisions)


def figures(told: Resource) -> dict[str, Counter[str]]:
    """Return, for each resource, all its values, amounts and times, by any name."""
    found: dict[str, Counter[str]] = {}
    for one in resources(told):
        held = found.setdefault(one["id"], Counter())
        for _, part in walk(one):
            held.update(
                f"{value}" for name, value in part.items()
                if name not in ("resourceType", "id") and not isinstance(value, (dict, list))
            )  # fmt: skip
    return found


@settings(max_examples=4)
@given(seed=st.integers(1, 40), program=st.sampled_from(sorted(shipped())), full=st.booleans())
def test_the_same_story_has_the_same_figures_in_both_versions(seed: int, program: str, full: bool) -> None:
    one = lived(program, replace(BUSY, days=12), seed)
    found = one.review(decisions=(decision(),))

    r4, r5 = (validated(bundle(found, made=MADE, version=each, full=full), each) for each in VERSIONS)

    (device,) = resources(r4, "Device")
    first, second = figures(r4), figures(r5)
    assert first.pop(device["id"]).total() == second.pop(device["id"]).total()  # its name is shaped otherwise
    assert first == second
    assert sum(each.total() for each in first.values()) > 100


# -- who, where, when, how ---------------------------------------------------------------------------------------------


def test_what_was_decided_names_who_decided_when_and_why(record: SessionRecord) -> None:
    told = bundle_of(record, decisions=(decision(note="steady for two weeks"), decision(Verdict.STAY, at="09")))

    (practitioner,) = resources(told, "Practitioner")
    orders = [one for one in resources(told, "ServiceRequest") if one["intent"] == "order"]
    by = {"reference": f"urn:uuid:{practitioner['id']}"}
    assert set(practitioner) == {"resourceType", "id", "name"}
    assert practitioner["name"] == [{"text": "Kim Rivers"}]
    assert [(one["code"]["text"], one["requester"], one["authoredOn"]) for one in orders] == [
        ("Decided: Heel raise with slow lowering: up, both_hands to fingertips", by, "2027-01-19T08:00:00.000Z"),
        ("Decided: Heel raise with slow lowering: stay, level both_hands", by, "2027-01-19T09:00:00.000Z"),
    ]
    assert orders[0]["note"] == [{"authorReference": by, "text": "steady for two weeks"}]


def test_a_pause_says_until_when_and_a_clear_names_who_cleared(record: SessionRecord) -> None:
    day = date(2027, 1, 20)
    pause = replace(decision(Verdict.PAUSE), until=date(2027, 2, 1))
    clear = Clear(("s1", "s2"), "Rowan Hill", "seen today", "2027-01-20T08:00:00.000Z", day)

    told = bundle_of(record, decisions=(pause,), clears=(clear,))

    names = {f"urn:uuid:{one['id']}": one["name"][0]["text"] for one in resources(told, "Practitioner")}
    orders = [one for one in resources(told, "ServiceRequest") if one["intent"] == "order"]
    assert [(names[one["requester"]["reference"]], one["code"]["text"]) for one in orders] == [
        ("Kim Rivers", "Decided: Heel raise with slow lowering: pause, level both_hands, until 2027-02-01"),
        ("Rowan Hill", "Decided: cleared to go on after the sessions s1, s2"),
    ]
    assert orders[1]["note"][0]["text"] == "seen today"


def test_a_goal_is_in_the_persons_words_and_how_near_it_is_what_they_said(told: Told) -> None:
    rated = {"question": "goal.g1", "value": 4, "ear": "taught", "read_back": True, "attempts": 1}
    records = assembled(
        [*told, ("answered", 20, rated), ("answered", 21, rated | {"question": "goal.old", "value": 7})]
    )
    goals = (Goal("g1", "dig in the garden for an hour"),)

    for version, by in (("R4", "expressedBy"), ("R5", "source")):
        short, full = (bundle_of(records, version=version, full=each, goals=goals) for each in (False, True))
        for one in (short, full):
            (patient,), (goal,) = resources(one, "Patient"), resources(one, "Goal")
            assert goal["description"] == {"text": "dig in the garden for an hour"}
            assert goal[by] == {"reference": f"urn:uuid:{patient['id']}"}
        near = {part["code"]["text"]: part["valueInteger"] for _, part in walk(short) if "valueInteger" in part
                and part["code"]["text"].startswith("How near")}  # fmt: skip
        assert near == {"How near this is, 0-10: dig in the garden for an hour": 4,
                        "How near this is, 0-10: a goal that was dropped since": 7}  # fmt: skip
        asked = {one["code"]["text"]: one["valueInteger"] for one in resources(full, "Observation")
                 if one["code"]["text"].startswith("Asked: How near")}  # fmt: skip
        assert asked == {f"Asked: {words}": number for words, number in near.items()}


def test_a_hold_is_a_warning_until_it_is_cleared_and_one_of_the_day_is_not(record: SessionRecord) -> None:
    holds = (held(), held(asked="", question="next_day"), held(why="pain", asked=""), held(effect="end_day"))

    for version in VERSIONS:
        flags = resources(bundle_of(record, version=version, holds=holds), "Flag")
        assert [one["code"]["text"].partition("clears it. ")[2] for one in flags] == [
            f"{ASKED} yes", "Was the pain worse on the morning after the session before? yes", "pain",
        ]  # fmt: skip
        assert {(one["status"], one["period"]["start"]) for one in flags} == {("active", "2027-01-11T09:30:00.000Z")}


def test_nothing_that_leaves_is_an_order_to_carry_out(record: SessionRecord) -> None:
    told = bundle_of(record, decisions=(decision(),))

    assert {one["status"] for one in resources(told, "ServiceRequest")} == {"unknown"}


def test_what_a_machine_made_is_said_once_for_all_and_what_it_cannot_know(told: Told) -> None:
    for one in everything(told):
        (provenance,), (device,) = resources(one, "Provenance"), resources(one, "Device")
        made = {each["reference"] for each in provenance["target"]}

        assert made == {entry["fullUrl"] for entry in one["entry"] if entry["resource"]["resourceType"] not in (
            "Patient", "Practitioner", "Device", "Provenance"
        )}  # fmt: skip
        assert provenance["agent"][0]["who"] == {"reference": f"urn:uuid:{device['id']}"}
        assert "it cannot know whether a repetition was done" in provenance["activity"]["text"]
        assert provenance["recorded"] == "2027-02-22T20:00:00.000Z"


def test_the_sides_stand_where_the_program_or_the_set_names_them(record: SessionRecord) -> None:
    program = replace(read(shipped()["ankle_steady"]), affected="right")
    told = bundle_of(record, programs={record.digest: program})

    sites = {one["code"]["text"].partition(":")[0]: one["bodySite"] for one in resources(told) if "bodySite" in one}
    assert (
        sites
        == {  # the sets tell which side is affected; a program written for the other side does not overrule them
            "Home exercise session, guided by voice": [{"text": "Left side (affected)"}],
            "Planned": [{"text": "Left side (affected)"}],
            "Set": {"text": "Left side"},
            "Said to have been done": {"text": "Left side"},
        }
    )


def test_pain_has_no_place_because_nobody_asked_where(told: Told) -> None:
    pains = [pain for one in everything(told) for pain in of_code(one, codes.PAIN)]

    assert [pain for pain in pains if "bodySite" in pain] == []
    assert pains


def test_every_time_has_its_zone(told: Told) -> None:
    times = ("start", "end", "effectiveDateTime", "authoredOn", "recorded", "timestamp", "time")
    for one in everything(told):
        found = [held[name] for _, held in walk(one) for name in times if isinstance(held.get(name), str)]

        assert found
        assert [time for time in found if not time.endswith("Z")] == []


def test_an_answer_says_how_it_was_given(record: SessionRecord) -> None:
    pains = of_code(bundle_of(record), codes.PAIN)

    assert {one["method"]["text"] for one in pains} == {"Answered by: taught, read back to the person"}


def test_what_nobody_did_is_marked_as_test_data(record: SessionRecord) -> None:
    marked = [{"security": [codes.TEST_DATA.coding]}]
    for device, meta in (("virtual room", marked), ("recording a.wav", marked), ("Built-in Microphone", [])):
        told = bundle_of(replace(record, device=device))

        own = [one for one in resources(told) if one["resourceType"] in ("Procedure", "Observation")]
        assert own
        assert [one["meta"] for one in own if "meta" in one] == marked * len(own) * len(meta)
        assert meta == [] or [one.get("meta") for one in own] == meta * len(own)


ASKED = "Have you had a new fall or twisted the ankle since last time?"


def test_the_question_that_ended_a_session_is_given_with_its_end(told: Told) -> None:
    lines: Told = [row if row[0] != "answered" else (row[0], row[1], row[2] | {"value": True}) for row in told]
    older = replace(assembled(lines), why="screen", because="", sets=())
    newer = replace(older, signs=(SafetySign("screen", question="new_injury", asked=ASKED, answer=True),))
    program = read(shipped()["ankle_steady"])

    for one, programs in ((older, {older.digest: program}), (newer, {})):
        (procedure,) = resources(bundle_of(one, programs=programs), "Procedure")
        assert procedure["statusReason"]["text"] == f"screen: {ASKED} yes"


# -- the summary -------------------------------------------------------------------------------------------------------

WEEKS = 6


def every_day(program: str) -> Lived:
    """Return six weeks with a session on each day, whatever the program's schedule says, all unlike."""
    one = lived(program, replace(BUSY, days=12))
    spare = [logged(session).record for _, session in one.files]
    days = []
    for day in range(7 * WEEKS):
        began = datetime(2027, 1, 11, 9, tzinfo=UTC) + timedelta(days=day)
        name = began.strftime("%Y%m%dt%H%M%Sz-1")
        days.append((f"{name}.jsonl", replace(spare[day % len(spare)], session=name, began=began.isoformat())))
    until = one.true.begins + timedelta(days=7 * WEEKS - 1)
    return replace(one, files=tuple(days), true=replace(one.true, until=until))


@pytest.mark.parametrize("program", sorted(shipped()))
def test_six_weeks_of_a_session_a_day_are_at_most_200_entries(program: str) -> None:
    one = every_day(program)
    raised = tuple(
        replace(decision(), exercise=exercise.id, to_level=level.id)
        for exercise in one.true.program.exercises for level in exercise.levels[1:]
    )  # fmt: skip
    goals = tuple(Goal(f"g{number}", "climb the stairs") for number in range(MOST_GOALS))
    found = replace(one.review(decisions=raised), goals=goals)

    told = validated(bundle(found, made=MADE, holds=(held(),)), "R4")

    assert len(resources(told, "Procedure")) == 7 * WEEKS
    assert sum(item["intent"] == "order" for item in resources(told, "ServiceRequest")) == len(raised)
    assert len(told["entry"]) <= 200


def sums(told: Resource, words: str) -> Counter[str]:
    """Return the amounts of the components of a session that are called so, by unit."""
    found: Counter[str] = Counter()
    for one in resources(told, "Observation"):
        for part in one.get("component", ()):
            if "partOf" in one and part["code"].get("text", "").startswith(words) and "valueQuantity" in part:
                found[part["valueQuantity"]["unit"]] += part["valueQuantity"]["value"]
    return found


@settings(max_examples=4)
@given(seed=st.integers(1, 40), program=st.sampled_from(sorted(shipped())))
def test_summary_details_and_review_have_the_same_figures(seed: int, program: str) -> None:
    found = lived(program, replace(BUSY, days=12), seed).review()

    short, full = (bundle(found, made=MADE, full=each) for each in (False, True))

    counted = Counter({one.unit: one.counted for one in found.work.amounts})
    assert +sums(short, "Counted by the coach") == +sums(full, "Counted by the coach") == +counted
    assert sums(short, "Sets begun") == Counter(sets=found.work.sets_begun)
    stated = Counter({one.unit: one.stated for one in found.work.amounts if one.sets_stated})
    assert +sums(short, "Said by the person") == +stated
    pains = [one.get("valueInteger") for one in of_code(short, codes.PAIN)]
    assert [pain for pain in pains if pain is not None] == [
        visit.record.highest_pain for visit in found.visits if isinstance(visit.record.highest_pain, int)
    ]


def test_a_pain_that_nobody_told_is_no_zero_in_the_summary(told: Told) -> None:
    never: Told = [row for row in told if row[2].get("question") != "pain"]
    silent: Told = [*never, ("unanswered", 141, {"question": "pain", "prompts": 3, "set_id": 1})]

    for lines, why in ((silent, codes.NO_ANSWER), (never, codes.NOT_ASKED)):
        (pain,) = of_code(bundle_of(assembled(lines), full=False), codes.PAIN)
        assert pain["dataAbsentReason"] == why.concept
        assert [name for name in pain if name.startswith("value")] == []


def test_a_band_of_pain_stays_a_band_in_the_summary(told: Told) -> None:
    lines: Told = [row if row[0] != "answered" or row[2]["question"] != "pain" else
                   (row[0], row[1], row[2] | {"value": "4-5"}) for row in told]  # fmt: skip

    (pain,) = of_code(bundle_of(assembled(lines), full=False), codes.PAIN)

    assert pain["valueString"] == "4-5"


# -- the file ----------------------------------------------------------------------------------------------------------


def test_a_person_without_sessions_has_a_bundle_too() -> None:
    assert [one["resourceType"] for one in resources(bundle_of())] == ["Patient", "Device"]


def test_a_bundle_is_written_whole_or_the_error_says_why_not(record: SessionRecord, tmp_path: Path) -> None:
    told = bundle_of(record)
    write_bundle(tmp_path / "out.json", told)

    assert json.loads((tmp_path / "out.json").read_text("utf-8")) == told
    with pytest.raises(CoachError, match="Cannot write"):
        write_bundle(tmp_path / "none" / "out.json", told)
