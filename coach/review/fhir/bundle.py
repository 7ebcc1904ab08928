"""A person's review as a FHIR bundle: a summary or all details, as R4 or as R5.

A resource is made as R4 has it; where R5 differs it is changed at the end, so that both say the same. No profile is
claimed. Ids derive from person and session: the same records give the same resources. Times are in UTC.
"""

from __future__ import annotations

import json
from collections import Counter
from collections.abc import Callable, Iterable, Iterator, Mapping
from datetime import datetime
from pathlib import Path
from typing import Any

from coach.logbook.decisions import local_moment
from coach.outputs import write
from coach.review.fhir.codes import ASSEMBLER
from coach.review.fhir.details import details
from coach.review.fhir.parts import (
    Place,
    Resource,
    cleaned,
    coach_of,
    identifier,
    notes,
    patient_of,
    period,
    practitioner_of,
    resource,
    stamp,
    text,
)
from coach.review.fhir.session import MORNING_AFTER, ExportedSession
from coach.review.fhir.summary import summary
from coach.review.figures import Review
from coach.session.past import Clear, Decision
from coach.session.safety_holds import SafetyHold

VERSIONS = ("R4", "R5")
"""Versions of FHIR; the first is written unless the other is asked for."""

MACHINE = (
    "The coach times and counts aloud its own beats. It has no camera and no sensor on the body: it cannot know "
    "whether a repetition was done, or how well. What the person said was heard by a machine, which can mishear."
)
"""What stands where somebody asks how far a value may be trusted."""


def bundle(
    found: Review,
    *,
    made: datetime,
    version: str = VERSIONS[0],
    full: bool = False,
    flaws: Mapping[str, tuple[str, ...]] | None = None,
    holds: Iterable[SafetyHold] = (),
) -> Resource:
    """Return a review as a bundle of type "collection", made at the moment `made`.

    `full` gives each set, question, halt and easing of each session; otherwise there are at most four resources a
    session. `flaws` maps a session to the faults of its file; they go into the session's notes. `holds`: why nothing
    may begin now.
    """
    person = found.person
    sessions = [
        ExportedSession(person, visit, (flaws or {}).get(visit.record.session, ()), found.goals)
        for visit in found.visits
    ]
    told = [one for session in sessions for one in details(session)] if full else list(
        summary(found, sessions, made)
    )  # fmt: skip
    told += [*_decisions(found), *_goals(found), *_flags(person, holds)]
    people = [_patient(person), _coach(found, version), *_practitioners(found)]
    resources = [*people, *told, *_provenance(person, told, made)]
    change = AS_R5 if version == "R5" else {}
    entries = [
        {"fullUrl": f"urn:uuid:{one['id']}", "resource": cleaned(change.get(one["resourceType"], _same)(one))}
        for one in resources
    ]
    return {"resourceType": "Bundle", "type": "collection", "timestamp": stamp(made), "entry": entries}


def write_bundle(path: Path, told: Resource) -> None:
    """Write a bundle as JSON. Raises CoachError, which says what to do."""
    write(path, json.dumps(told, ensure_ascii=False, indent=1).encode("utf-8"))


def _patient(person: str) -> Resource:
    return resource("Patient", patient_of(person), identifier=[identifier("person", person)])


def _coach(found: Review, version: str) -> Resource:
    versions = dict.fromkeys(visit.record.app_version for visit in found.visits if visit.record.app_version.strip())
    return resource(
        "Device",
        coach_of(found.person),
        type=text("Voice-guided exercise coach: counts, does not see"),
        deviceName=[{"name": "home-session-coach", "type": "user-friendly-name"}],
        version=[{"value": one} for one in versions],
        note=notes([MACHINE, f"Written as FHIR {version}, without a profile."]),
    )


def _practitioners(found: Review) -> Iterator[Resource]:
    for name in dict.fromkeys([one.by for one in found.decisions] + [one.by for one in found.clears]):
        yield resource("Practitioner", practitioner_of(found.person, name), name=[{"text": name}])


def _decisions(found: Review) -> Iterator[Resource]:
    """Yield what clinicians decided: an order of theirs, of which the record does not say whether it still holds."""
    seen: Counter[str] = Counter()
    told: list[tuple[str, Decision | Clear]] = [(_decided(found, one), one) for one in found.decisions]
    told += [(f"cleared to go on after the sessions {', '.join(one.sessions)}", one) for one in found.clears]
    for words, one in told:
        what, by = f"decision {one.at} {words}", practitioner_of(found.person, one.by).reference
        yield resource(
            "ServiceRequest",
            Place(found.person, "", f"{what} {seen[what]}"),
            status="unknown",
            intent="order",
            code=text(f"Decided: {words}"),
            subject=patient_of(found.person).reference,
            authoredOn=stamp(local_moment(one.at)),
            requester=by,
            note=[{"authorReference": by, "text": one.note}] if one.note.strip() else None,
        )
        seen[what] += 1


def _decided(found: Review, one: Decision) -> str:
    levels = f"level {one.from_level}" if one.from_level == one.to_level else f"{one.from_level} to {one.to_level}"
    until = f", until {one.until.isoformat()}" if one.until else ""
    return f"{found.name_of(one.exercise)}: {one.verdict}, {levels}{until}"


def _goals(found: Review) -> Iterator[Resource]:
    """Yield what the person wants to do again, in their words; how near it is they say in the sessions."""
    for goal in found.goals:
        yield resource(
            "Goal",
            Place(found.person, "", f"goal {goal.id}"),
            lifecycleStatus="active",  # it stands until it is dropped, and then it is not here
            description=text(goal.text),
            subject=patient_of(found.person).reference,
            expressedBy=patient_of(found.person).reference,
        )


def _flags(person: str, holds: Iterable[SafetyHold]) -> Iterator[Resource]:
    """Yield a warning for each hold that lasts until a clinician clears it."""
    for hold in holds:
        if not hold.until_cleared:
            continue
        sign = hold.sign
        told = f"{sign.asked or MORNING_AFTER} {'yes' if sign.answer else 'no'}" if sign.why == "screen" else sign.why
        yield resource(
            "Flag",
            Place(person, hold.session, f"hold {sign.why} {sign.question}"),
            status="active",
            code=text(f"On hold: no session begins until a clinician clears it. {told}"),
            subject=patient_of(person).reference,
            author=coach_of(person).reference,
            period=period(local_moment(hold.began), None),
        )


def _provenance(person: str, told: Iterable[Resource], made: datetime) -> Iterator[Resource]:
    """Yield the statement of how all of this came about; none if there is nothing."""
    targets = [{"reference": f"urn:uuid:{one['id']}"} for one in told]
    if targets:
        yield resource(
            "Provenance",
            Place(person, "", "provenance"),
            target=targets,
            recorded=stamp(made),
            activity=text(MACHINE),
            agent=[{"type": ASSEMBLER.concept, "who": coach_of(person).reference}],
        )


def _renamed(old: str, new: str) -> Callable[[Resource], Resource]:
    return lambda one: {new if name == old else name: held for name, held in one.items()}


def _same(one: Resource) -> Resource:
    return one


def _device_as_r5(one: Resource) -> Resource:
    names = [{"value": each["name"], "type": each["type"]} for each in one["deviceName"]]
    held: dict[str, Any] = {name: told for name, told in one.items() if name != "deviceName"}
    return held | {"type": [one["type"]], "name": names}


AS_R5: Mapping[str, Callable[[Resource], Resource]] = {
    "Device": _device_as_r5,
    "Goal": _renamed("expressedBy", "source"),
    "Procedure": _renamed("performedPeriod", "occurrencePeriod"),
    "ServiceRequest": lambda one: one | {"code": {"concept": one["code"]}},
}
"""Where R5 has another shape than R4."""
