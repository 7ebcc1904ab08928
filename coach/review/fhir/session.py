"""What the summary and the details of one session share: its Procedure, its plan, and the shape of its Observations."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from datetime import datetime, timedelta
from typing import Any

from coach.logbook import PlanEntry, SessionRecord
from coach.logbook.pain import is_pain
from coach.loglines.kinds import Answer
from coach.program.model import Sides
from coach.review.fhir.codes import TEST_DATA, Code
from coach.review.fhir.parts import (
    Place,
    Resource,
    coach_of,
    identifier,
    notes,
    patient_of,
    period,
    quantity,
    resource,
    stamp,
    text,
)
from coach.review.figures import Visit
from coach.review.screened import SCREEN_QUESTION, ended_by
from coach.session.goals import GOAL
from coach.session.past import Goal
from coach.session.plan import NEXT_DAY

STATUS = {"done": "completed", "": "unknown"}
"""A session's end to the status of its Procedure; any other end is "stopped"."""

SIDES = {"left": "Left side", "right": "Right side", "left+right": "Both sides, in turn",
         "right+left": "Both sides, in turn"}  # fmt: skip
"""A side as the records write it to the text of a body site. The program names a side, and no structure of the body."""

MORNING_AFTER = "Was the pain worse on the morning after the session before?"
"""The question that no program holds, in our words; it was asked in those of the voice pack."""


class ExportedSession:
    """One session, and the resources that are made of it."""

    def __init__(self, person: str, visit: Visit, flaws: tuple[str, ...] = (), goals: Iterable[Goal] = ()) -> None:
        self.person, self.visit, self.flaws = person, visit, flaws
        self.goals = {f"{GOAL}{goal.id}": goal.text for goal in goals}
        self.record: SessionRecord = visit.record
        self.patient, self.coach = patient_of(person), coach_of(person)
        self.span = period(self.moment(0), self.moment(round(self.record.seconds * self.record.rate)))

    def _resource(self, kind: str, what: str, **fields: Any) -> Resource:  # noqa: ANN401 - JSON
        """Return a resource of this session, marked as test data where nobody was there."""
        meta = {"security": [TEST_DATA.coding]} if self.record.simulated else None
        return resource(kind, self.place(what), meta=meta, **fields)

    def place(self, what: str) -> Place:
        """Return the place of one of its resources."""
        return Place(self.person, self.record.session, what)

    def moment(self, at: int) -> datetime | None:
        """Return the time of a sample; None if no calendar has it."""
        try:
            return self.visit.began + timedelta(seconds=at / self.record.rate)
        except OverflowError:
            return None

    def during(self, at: int | None, until: int | None = None) -> Resource:
        """Return when something was, from one sample to another or at one."""
        first = at or 0
        if until is not None and until > first:
            return {"effectivePeriod": period(self.moment(first), self.moment(until))}
        return {"effectiveDateTime": stamp(self.moment(first))}

    @property
    def affected(self) -> str:
        """The affected side: the one that worked where only the affected side does, or the program's; else empty."""
        only = {one.exercise for one in self.record.plan if one.sides == Sides.AFFECTED}
        worked = {one.side for one in self.record.sets if one.exercise in only and one.side}
        if len(worked) == 1:
            return worked.pop()
        return self.visit.program.affected if self.visit.program else ""

    def procedure(self, based_on: Iterable[int] = ()) -> Resource:
        """Return the session itself; `based_on` are the numbers of its planned exercises that the bundle holds."""
        record = self.record
        told = [f"Program: {record.title} ({record.program}, version {record.digest})."]
        told += [f"Program written by: {record.written_by}."] if record.written_by.strip() else []
        told += [f"Of the session's file: {flaw}." for flaw in self.flaws]
        said = [{"text": words, "authorString": by} for words, by in record.notes if words.strip() and by.strip()]
        ended_as = STATUS.get(record.why, "stopped")
        return self._resource(
            "Procedure",
            "session",
            identifier=[identifier("session", record.session)],
            status=ended_as if record.sets or not record.why else "not-done",
            statusReason=text(self._ending()),
            code=text("Home exercise session, guided by voice"),
            subject=self.patient.reference,
            performedPeriod=self.span,
            bodySite=[text(f"{SIDES[self.affected]} (affected)")] if self.affected in SIDES else None,
            basedOn=[self.place(f"plan {number}").reference for number in based_on],
            note=[*notes(told), *said],
        )

    def _ending(self) -> str:
        """Return why the session ended, with the question before the start that ended it."""
        record = self.record
        if not record.why:
            return "the end of the session is missing from its record"
        parts = [record.why, record.because]
        parts += [f"{asked or MORNING_AFTER} {'yes' if said else 'no'}" for asked, said in ended_by(self.visit)]
        return ": ".join(part for part in parts if part)

    def screened(self) -> list[tuple[str, bool]]:
        """Return each question before the start that was answered, with the last answer to it."""
        last = {one.question: one.value for one in self.record.questions if one.question.startswith(SCREEN_QUESTION)}
        return [(name, said) for name, said in last.items() if isinstance(said, bool)]

    def rated(self) -> list[tuple[str, Answer]]:
        """Return each goal that was rated, by the name of its question, with the answer."""
        return [(one.question, one.value) for one in self.record.questions
                if one.question.startswith(GOAL) and one.answered]  # fmt: skip

    def question(self, name: str) -> str:
        """Return a question in the words in which it was asked, where the kept program tells them."""
        plain = name.removeprefix(SCREEN_QUESTION)
        if plain == NEXT_DAY:
            return MORNING_AFTER
        if name.startswith(GOAL):
            return f"How near this is, 0-10: {self.goals.get(name, 'a goal that was dropped since')}"
        asked = self.visit.program.screen if self.visit.program else ()
        return next((one.ask for one in asked if one.id == plain), name)

    def planned(self, number: int, planned: PlanEntry) -> Resource:
        """Return what the coach set out to do of one exercise."""
        unit = planned.unit or "of a set"
        told = [f"Sets planned: {planned.sets}. Of each set: {planned.target} {unit}."]
        told += [f"Because: {planned.because}."] if planned.because else []
        within = {"low": quantity(planned.low, unit), "high": quantity(planned.high, unit)}
        return self._resource(
            "ServiceRequest",
            f"plan {number}",
            status="unknown",  # the record says what was done, not what became of the request
            intent="plan",
            code=text(f"Planned: {planned.name or planned.exercise}, level {planned.level}"),
            subject=self.patient.reference,
            authoredOn=stamp(self.moment(0)),
            occurrencePeriod=self.span,
            requester=self.coach.reference,  # it works the day out of the program, the records and the decisions
            bodySite=[text(side) for side in self._sides_of(planned)],
            quantityRange=within if 0 <= planned.low <= planned.high and planned.high else None,
            note=notes(told),
        )

    def _sides_of(self, planned: PlanEntry) -> list[str]:
        sides = {Sides.AFFECTED: [self.affected], Sides.EACH: ["left", "right"], Sides.ALTERNATING: ["left", "right"]}
        return [
            SIDES[side] + (" (affected)" if side == self.affected else "")
            for mode, sides_ in sides.items()
            for side in sides_
            if planned.sides == mode and side in SIDES
        ]

    def counted(self, what: str, code: Resource, when: Resource, category: Code, **told: Any) -> Resource:  # noqa: ANN401 - JSON
        """Return what the coach counted or did."""
        return self._observation(what, code, when, category, {"device": self.coach.reference}, told)

    def stated(self, what: str, code: Resource, when: Resource, category: Code, **told: Any) -> Resource:  # noqa: ANN401 - JSON
        """Return what the person said, as the coach heard it."""
        by = {"performer": [self.patient.reference], "device": self.coach.reference}
        return self._observation(what, code, when, category, by, told)

    def _observation(
        self, what: str, code: Resource, when: Resource, category: Code, by: Resource, told: Mapping[str, Any]
    ) -> Resource:
        return self._resource(
            "Observation",
            what,
            status="final",
            partOf=[self.place("session").reference],
            category=[category.concept],
            code=code,
            subject=self.patient.reference,
            **when,
            **by,
            **told,
        )

    def pain_asked(self) -> bool:
        """Tell whether a question about pain was put."""
        return any(is_pain(one.question) and not one.because for one in self.record.questions)
