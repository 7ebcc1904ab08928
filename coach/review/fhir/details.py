"""Everything of one session: its plan, each set, each question, each halt and each easing as a resource of its own.

What the coach counted names the coach as the device; what the person stated has the person as its performer. A pain or
an effort is an integer only if the answer was a number of 0-10; a band stays text, and a missing answer becomes a
reason for its absence.
"""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

from coach.logbook import HaltRecord, QuestionRecord, SetRecord
from coach.logbook.pain import is_pain
from coach.review.fhir.codes import (
    ACTIVITY,
    DURATION,
    EFFORT,
    EXERCISE_ACTIVITY,
    NO_ANSWER,
    NOT_ASKED,
    PAIN,
    SURVEY,
)
from coach.review.fhir.parts import Resource, absent, component, notes, number, quantity, text, value
from coach.review.fhir.session import SIDES, ExportedSession

COUNTED_BY_COACH = "Counted by the coach; not proof that it was done"
TENSION = "Time under tension that ran"


def details(session: ExportedSession) -> Iterator[Resource]:
    """Yield the resources of a session."""
    record = session.record
    yield session.procedure(range(1, len(record.plan) + 1))
    for index, planned in enumerate(record.plan, start=1):
        yield session.planned(index, planned)
    for exercise in dict.fromkeys(one.exercise for one in record.sets):
        yield from _exercise(session, exercise)
    for one in record.sets:
        yield from _set(session, one)
    for index, question in enumerate(record.questions, start=1):
        if question.question not in ("reps", "missed"):  # these are part of what was stated for a set
            yield _question(session, index, question)
    for index, halt in enumerate(record.halts, start=1):
        yield from _halt(session, index, halt)
    for index, step in enumerate(record.steps, start=1):
        told = f"{step.what}: {step.before} to {step.after} ({step.because})"
        code = _about(session, "Made easier", step.exercise)
        yield session.counted(f"eased {index}", code, session.during(step.at), ACTIVITY, valueString=told)


def _exercise(session: ExportedSession, exercise: str) -> Iterator[Resource]:
    record = session.record
    sets = [one for one in record.sets if one.exercise == exercise]
    begins = [one.began_at for one in sets if one.began_at is not None]
    ends = [one.ended_at for one in sets if one.ended_at is not None]
    at, until = min(begins, default=0), max(ends, default=0)
    name, when = record.name_of(exercise), session.during(at, until)
    yield session.counted(
        f"exercise {exercise}", EXERCISE_ACTIVITY.concept, when, ACTIVITY, valueCodeableConcept=text(name)
    )
    if begins and until > at:
        minutes = quantity(round((until - at) / record.rate / 60, 2), "minutes")
        yield session.counted(
            f"duration {exercise}", DURATION.concept, when, ACTIVITY, valueQuantity=minutes,
            note=notes([f"Exercise: {name}"]),
        )  # fmt: skip


def _set(session: ExportedSession, one: SetRecord) -> Iterator[Resource]:
    side = f", {one.side}" if one.side else ""
    what = f"{session.record.name_of(one.exercise)}, level {one.level}, set {one.set}{side}"
    parts = [
        number(COUNTED_BY_COACH, one.counted, one.unit),
        number(TENSION, one.tension_s, "seconds"),
        component("Why the set ended", valueString=one.why or "its end is missing"),
    ]
    where: dict[str, Any] = {"bodySite": text(SIDES[one.side])} if one.side in SIDES else {}
    begun = one.began_at if one.began_at is not None else one.ended_at
    when = session.during(begun, one.ended_at)
    yield session.counted(f"set {one.set_id}", text(f"Set: {what}"), when, ACTIVITY, component=parts, **where)
    if one.stated is not None:
        yield session.stated(
            f"stated {one.set_id}", text(f"Said to have been done: {what}"), when, ACTIVITY,
            valueQuantity=quantity(one.stated, one.unit), **where,
        )  # fmt: skip


def _question(session: ExportedSession, index: int, question: QuestionRecord) -> Resource:
    record = session.record
    code = {"effort": EFFORT.concept}.get(question.question) or text(f"Asked: {session.question(question.question)}")
    if is_pain(question.question):
        code = PAIN.concept
    about = next((one.exercise for one in record.sets if one.set_id == question.set_id), "")
    lines = [f"Exercise: {record.name_of(about)}"] if about else []
    lines += [f"Set {question.set_id} of the session"] if question.set_id else []
    lines += ["At a halt"] if question.question == "halt_pain" else []
    told: dict[str, Any] = {"note": notes(lines)}
    if question.answered:
        told |= value(question.value)
        read_back = ", read back to the person" if question.read_back else ""
        told["method"] = text(f"Answered by: {question.ear or 'unknown'}{read_back}")
    else:
        told |= absent(NOT_ASKED if question.because else NO_ANSWER)
    return session.stated(f"question {index}", code, session.during(question.at), SURVEY, **told)


def _halt(session: ExportedSession, index: int, halt: HaltRecord) -> Iterator[Resource]:
    why, when = halt.why or "the record does not say why", session.during(halt.at)
    code = _about(session, "The person halted", halt.exercise)
    yield session.counted(f"halt {index}", code, when, ACTIVITY, valueString=why)
    if halt.pain is not None:
        said = {**value(halt.pain), "note": notes(["Said with the halt"])}
        yield session.stated(f"halt pain {index}", PAIN.concept, when, SURVEY, **said)


def _about(session: ExportedSession, what: str, exercise: str) -> Resource:
    return text(f"{what}: {session.record.name_of(exercise)}" if exercise else what)
