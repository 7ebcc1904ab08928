"""Export a person's sessions as a FHIR R5 bundle, with separate resources for plan, count and statement.

The plan is a ServiceRequest. What the coach counted is an Observation by the coach (a Device); what the person stated
is an Observation by the person (a Patient, known by the local id only). All are part of the session's Procedure. A
pain or an effort is an integer only if the answer was a number of 0-10; a band stays text, and a missing answer becomes
a reason for its absence. Ids derive from person and session: the same records give the same bundle.
"""

from __future__ import annotations

import json
from collections import Counter
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from datetime import UTC, date, datetime, timedelta
from pathlib import Path
from typing import Any
from uuid import NAMESPACE_URL, uuid5

from coach.logbook import HaltRecord, PlanEntry, QuestionRecord, SessionRecord, SetRecord
from coach.logbook.pain import is_pain
from coach.loglines.kinds import Answer
from coach.outputs import write
from coach.program.model import SCALE
from coach.review.codes import (
    ACTIVITY,
    DURATION,
    EFFORT,
    EXERCISE_ACTIVITY,
    IN_MINUTES,
    IN_SECONDS,
    NO_ANSWER,
    NOT_ASKED,
    PAIN,
    SURVEY,
    Code,
)

Resource = dict[str, Any]

LOCAL = "urn:home-session-coach"
"""Namespace of the ids of people and sessions, which are unique in this home only."""

STATUS = {"done": "completed", "": "unknown"}
"""A session's end to the status of its Procedure; any other end is "stopped"."""


def bundle(
    person_id: str,
    records: Iterable[SessionRecord],
    since: date | None = None,
    flaws: Mapping[str, tuple[str, ...]] | None = None,
) -> Resource:
    """Return a person's sessions from the day `since` (UTC) as a bundle of type "collection".

    `flaws` maps a session to the faults of its file; they go into the session's notes. A session without a readable
    beginning has no day; it is left out only if `since` is given.
    """
    patient = _resource("Patient", _Place(person_id), identifier=[_identifier("person", person_id)])
    device = _resource(
        "Device", _Place(person_id, "", "device"), type=[_text("Voice-guided exercise coach: counts, does not see")]
    )
    resources = [patient, device]
    seen: Counter[str] = Counter()
    for record in records:
        if since is None or (_moment(record, 0) or datetime.min.replace(tzinfo=UTC)).date() >= since:
            resources += _Session(
                person_id, record, seen[record.session], (flaws or {}).get(record.session, ())
            ).resources()
            seen[record.session] += 1
    entries = [{"fullUrl": f"urn:uuid:{one['id']}", "resource": _clean(one)} for one in resources]
    return {"resourceType": "Bundle", "type": "collection", "entry": entries}


def write_bundle(path: Path, told: Resource) -> None:
    """Write a bundle as JSON. Raises CoachError, which says what to do."""
    write(path, json.dumps(told, ensure_ascii=False, indent=1).encode("utf-8"))


@dataclass(frozen=True, slots=True)
class _Place:
    """The subject of a resource, from which its id derives."""

    person: str
    session: str = ""
    what: str = "patient"
    copy: int = 0
    """Number of earlier sessions with the same id, from 0: each copy of a file is a session of its own."""

    @property
    def id(self) -> str:
        names = [LOCAL, self.person, self.session, self.what, *([self.copy] if self.copy else ())]
        return str(uuid5(NAMESPACE_URL, json.dumps(names)))

    @property
    def reference(self) -> dict[str, str]:
        return {"reference": f"urn:uuid:{self.id}"}


class _Session:
    """The resources of one session."""

    def __init__(self, person: str, record: SessionRecord, copy: int, flaws: tuple[str, ...]) -> None:
        self.person, self.record, self.copy, self.flaws = person, record, copy, flaws
        self.patient, self.device = _Place(person), _Place(person, "", "device")

    def resources(self) -> Iterator[Resource]:
        yield self._procedure()
        for number, planned in enumerate(self.record.plan, start=1):
            yield self._request(number, planned)
        for exercise in dict.fromkeys(one.exercise for one in self.record.sets):
            yield from self._exercise(exercise)
        for one in self.record.sets:
            yield from self._set(one)
        for number, question in enumerate(self.record.questions, start=1):
            if question.question not in ("reps", "missed"):  # these are part of what was stated for a set
                yield self._question(number, question)
        for number, halt in enumerate(self.record.halts, start=1):
            yield from self._halt(number, halt)
        for number, step in enumerate(self.record.steps, start=1):
            value = f"{step.what}: {step.before} to {step.after} ({step.because})"
            yield self._counted(f"eased {number}", self._about("Made easier", step.exercise), step.at, value=value)

    def _procedure(self) -> Resource:
        record = self.record
        begun, ended = _moment(record, 0), _moment(record, round(record.seconds * record.rate))
        notes = [f"Program: {record.title} ({record.program}, version {record.digest})."]
        notes += [f"Of the session's file: {flaw}." for flaw in self.flaws]
        told = [{"text": note} for note in notes] + [
            {"text": text, "authorString": by} for text, by in record.notes if text.strip() and by.strip()
        ]
        ended_as = STATUS.get(record.why, "stopped")
        return _resource(
            "Procedure",
            self._place("session"),
            identifier=[_identifier("session", record.session)],
            status=ended_as if record.sets or not record.why else "not-done",
            statusReason=_text(record.why or "the end of the session is missing from its record"),
            code=_text("Home exercise session, guided by voice"),
            subject=self.patient.reference,
            occurrencePeriod=_period(begun, ended),
            basedOn=[self._place(f"plan {number}").reference for number, _ in enumerate(record.plan, start=1)],
            note=told,
        )

    def _request(self, number: int, planned: PlanEntry) -> Resource:
        unit = planned.unit or "of a set"
        because = f" Because: {planned.because}." if planned.because else ""
        within = {"low": _quantity(planned.low, unit), "high": _quantity(planned.high, unit)}
        return _resource(
            "ServiceRequest",
            self._place(f"plan {number}"),
            status="unknown",  # the record says what was done, not what became of the request
            intent="plan",
            subject=self.patient.reference,
            code={"concept": _text(f"Planned: {planned.name or planned.exercise}, level {planned.level}")},
            quantityRange=within if 0 <= planned.low <= planned.high and planned.high else None,
            note=[{"text": f"Sets planned: {planned.sets}. Of each today: {planned.target} {unit}.{because}"}],
        )

    def _exercise(self, exercise: str) -> Iterator[Resource]:
        sets = [one for one in self.record.sets if one.exercise == exercise]
        begins = [one.began_at for one in sets if one.began_at is not None]
        ends = [one.ended_at for one in sets if one.ended_at is not None]
        at = min(begins, default=0)
        name = _text(self.record.name_of(exercise))
        yield self._counted(f"exercise {exercise}", EXERCISE_ACTIVITY.concept, at, valueCodeableConcept=name)
        if begins and ends and max(ends) > at:
            minutes = round((max(ends) - at) / self.record.rate / 60, 2)
            yield self._counted(
                f"duration {exercise}",
                DURATION.concept,
                at,
                valueQuantity=_quantity(minutes, IN_MINUTES),
                note=[{"text": f"Exercise: {self.record.name_of(exercise)}"}],
            )

    def _set(self, one: SetRecord) -> Iterator[Resource]:
        unit: str | Code = IN_SECONDS if one.unit == "seconds" else one.unit
        side = f", {one.side}" if one.side else ""
        what = f"{self.record.name_of(one.exercise)}, level {one.level}, set {one.set}{side}"
        parts = [
            _component("Counted by the coach; not proof that it was done", one.counted, unit),
            _component("Time under tension that ran", one.tension_s, IN_SECONDS),
            {"code": _text("Why the set ended"), "valueString": one.why or "its end is missing"},
        ]
        at = one.ended_at if one.ended_at is not None else one.began_at
        yield self._counted(f"set {one.set_id}", _text(f"Set: {what}"), at, component=parts)
        if one.stated is not None:
            yield self._stated(
                f"stated {one.set_id}",
                _text(f"Said to have been done: {what}"),
                at,
                ACTIVITY,
                valueQuantity=_quantity(one.stated, unit),
            )

    def _question(self, number: int, question: QuestionRecord) -> Resource:
        code = {"effort": EFFORT.concept}.get(question.question, _text(f"Asked: {question.question}"))
        if is_pain(question.question):
            code = PAIN.concept
        about = next((one.exercise for one in self.record.sets if one.set_id == question.set_id), "")
        notes = [f"Exercise: {self.record.name_of(about)}"] if about else []
        notes += [f"Set {question.set_id} of the session"] if question.set_id else []
        notes += ["At a halt"] if question.question == "halt_pain" else []
        told: dict[str, Any] = {"note": [{"text": note} for note in notes]}
        if question.answered:
            told |= _value(question.value)
        else:
            told["dataAbsentReason"] = (NOT_ASKED if question.because else NO_ANSWER).concept
        return self._stated(f"question {number}", code, question.at, SURVEY, **told)

    def _halt(self, number: int, halt: HaltRecord) -> Iterator[Resource]:
        why = halt.why or "the record does not say why"
        yield self._counted(f"halt {number}", self._about("The person halted", halt.exercise), halt.at, value=why)
        if halt.pain is not None:
            note = [{"text": "Said with the halt"}]
            yield self._stated(f"halt pain {number}", PAIN.concept, halt.at, SURVEY, **_value(halt.pain), note=note)

    def _about(self, what: str, exercise: str) -> Resource:
        return _text(f"{what}: {self.record.name_of(exercise)}" if exercise else what)

    def _counted(self, what: str, code: Resource, at: int | None, *, value: str = "", **told: Any) -> Resource:  # noqa: ANN401 - JSON
        if value:
            told["valueString"] = value
        return self._observation(what, code, at, ACTIVITY, self.device, told)

    def _stated(self, what: str, code: Resource, at: int | None, category: Code, **told: Any) -> Resource:  # noqa: ANN401 - JSON
        return self._observation(what, code, at, category, self.patient, told)

    def _observation(
        self, what: str, code: Resource, at: int | None, category: Code, by: _Place, told: Mapping[str, Any]
    ) -> Resource:
        return _resource(
            "Observation",
            self._place(what),
            status="final",
            category=[category.concept],
            code=code,
            subject=self.patient.reference,
            partOf=[self._place("session").reference],
            performer=[by.reference],
            effectiveDateTime=_stamp(_moment(self.record, at or 0)),
            **told,
        )

    def _place(self, what: str) -> _Place:
        return _Place(self.person, self.record.session, what, self.copy)


def _resource(kind: str, place: _Place, **fields: Any) -> Resource:  # noqa: ANN401 - JSON
    """Return a resource without empty fields, which FHIR does not allow."""
    held = {name: value for name, value in fields.items() if value not in (None, "", [], {})}
    return {"resourceType": kind, "id": place.id, **held}


def _clean(held: Any) -> Any:  # noqa: ANN401 - JSON
    """Return the value without characters that FHIR forbids in text, and without blank texts."""
    if isinstance(held, dict):
        return {name: _clean(value) for name, value in held.items()}
    if isinstance(held, list):
        return [_clean(value) for value in held]
    if isinstance(held, str):
        return "".join(sign if sign.isprintable() else " " for sign in held).strip() or "?"
    return held


def _value(answer: Answer) -> Resource:
    """Return an answer as a value: a number of 0-10 as an integer, yes and no as a boolean, anything else as text."""
    if isinstance(answer, bool):
        return {"valueBoolean": answer}
    if isinstance(answer, int) and answer in SCALE:
        return {"valueInteger": answer}
    if answer is None or not str(answer).strip():
        return {"dataAbsentReason": NO_ANSWER.concept}
    return {"valueString": str(answer)}


def _component(what: str, number: float | None, unit: str | Code) -> Resource:
    if number is None:
        return {"code": _text(what), "dataAbsentReason": NO_ANSWER.concept | {"text": "Not known"}}
    return {"code": _text(what), "valueQuantity": _quantity(number, unit)}


def _quantity(number: float, unit: str | Code) -> Resource:
    """Return a quantity; a unit without a code ("reps") is text."""
    if isinstance(unit, Code):
        return {"value": number, "unit": unit.text, "system": unit.system, "code": unit.code}
    return {"value": number, "unit": unit}


def _identifier(what: str, value: str) -> Resource:
    return {"system": f"{LOCAL}:{what}", "value": value or "unknown"}


def _text(words: str) -> Resource:
    return {"text": words}


def _moment(record: SessionRecord, at: int) -> datetime | None:
    """Return the time of a sample; None if the record has no beginning."""
    try:
        begun = datetime.fromisoformat(record.began)
        begun = begun if begun.tzinfo else begun.replace(tzinfo=UTC)
        return begun.astimezone(UTC) + timedelta(seconds=at / record.rate)
    except (ValueError, OverflowError):
        return None


def _stamp(moment: datetime | None) -> str | None:
    return moment.isoformat(timespec="milliseconds").replace("+00:00", "Z") if moment else None


def _period(begun: datetime | None, ended: datetime | None) -> Resource:
    return {"start": _stamp(begun), "end": _stamp(ended)} if begun and ended else {}
