"""A person's sessions in few resources: at most four a session, one for the period, and one for each exercise.

Its figures are those of the review. What the coach counted and what the person stated stand in Observations of their
own; pain stands alone, so that a system that asks for its code finds one value a session.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator, Sequence
from datetime import datetime

from coach.review.fhir.codes import ACTIVITY, DURATION, EFFORT, EXERCISE_ACTIVITY, NO_ANSWER, NOT_ASKED, PAIN, SURVEY
from coach.review.fhir.details import COUNTED_BY_COACH, TENSION
from coach.review.fhir.parts import (
    Place,
    Resource,
    absent,
    coach_of,
    component,
    notes,
    number,
    patient_of,
    period,
    resource,
    text,
    value,
)
from coach.review.fhir.session import ExportedSession
from coach.review.figures import Review, Visit
from coach.review.measures import work_of

STATED = "Said by the person to have been done, in the sets that were asked about"


def summary(found: Review, sessions: Sequence[ExportedSession], made: datetime) -> Iterator[Resource]:
    """Yield the resources of all sessions."""
    newest = {one.exercise: (session, index, one)
              for session in sessions for index, one in enumerate(session.record.plan, start=1)}  # fmt: skip
    based_on = {(session.record.session, index) for session, index, _ in newest.values()}
    for session in sessions:
        numbers = [index for name, index in sorted(based_on) if name == session.record.session]
        yield session.procedure(numbers)
        yield _work(session)
        yield _pain(session)
        yield from _said(session)
    for session, index, planned in newest.values():
        yield session.planned(index, planned)
    if sessions:
        yield _period(found, sessions, made)


def _figures(visits: Sequence[Visit]) -> list[Resource]:
    work = work_of(visits)
    parts = [
        number("Sets planned", work.sets_prescribed, "sets"),
        number("Sets begun", work.sets_begun, "sets"),
        number("Sets done to their end", work.sets_in_full, "sets"),
        number(TENSION, round(sum(visit.tally.tension_s for visit in visits), 1), "seconds"),
    ]
    for amount in work.amounts:
        parts.append(number(COUNTED_BY_COACH, amount.counted, amount.unit))
        if amount.sets_unknown:
            parts.append(number(f"Sets whose count is not known ({amount.unit})", amount.sets_unknown, "sets"))
    return parts


def _work(session: ExportedSession) -> Resource:
    """Return what the coach counted in a session."""
    record = session.record
    begins = [one.began_at for one in record.sets if one.began_at is not None]
    ends = [one.ended_at for one in record.sets if one.ended_at is not None]
    parts = _figures([session.visit])
    if begins and ends and max(ends) > min(begins):
        parts.append(number(DURATION, round((max(ends) - min(begins)) / record.rate / 60, 2), "minutes"))
    halts = Counter(halt.why or "the record does not say why" for halt in record.halts)
    parts += [number(f"Halts: {why}", times, "halts") for why, times in sorted(halts.items())]
    lines = []
    for exercise in dict.fromkeys(one.exercise for one in record.sets):
        sets = [one for one in record.sets if one.exercise == exercise]
        full = sum(one.in_full for one in sets)
        lines.append(
            f"{record.name_of(exercise)}, level {sets[-1].level}: {full} of {len(sets)} sets begun done to their end."
        )
    when = {"effectivePeriod": session.span}
    return session.counted("work", EXERCISE_ACTIVITY.concept, when, ACTIVITY, component=parts, note=notes(lines))


def _pain(session: ExportedSession) -> Resource:
    """Return the highest pain that was stated in a session, as the record has it: a number, or a band as text."""
    highest = session.record.highest_pain
    told = absent(NO_ANSWER if session.pain_asked() else NOT_ASKED) if highest is None else value(highest)
    note = notes(["Highest of all that was stated in the session, halts included"])
    return session.stated("pain", PAIN.concept, {"effectivePeriod": session.span}, SURVEY, **told, note=note)


def _said(session: ExportedSession) -> Iterator[Resource]:
    """Yield what else the person stated in a session, if there is any."""
    visit = session.visit
    parts = [component(EFFORT, **value(visit.tally.effort))] if visit.tally.effort is not None else []
    parts += [number(STATED, one.stated, one.unit) for one in work_of([visit]).amounts if one.sets_stated]
    parts += [component(session.question(name), valueBoolean=said) for name, said in session.screened()]
    parts += [component(session.question(name), **value(near)) for name, near in session.rated()]
    if parts:
        when = {"effectivePeriod": session.span}
        yield session.stated("said", text("Said by the person in the session"), when, SURVEY, component=parts)


def _period(found: Review, sessions: Sequence[ExportedSession], made: datetime) -> Resource:
    adherence, person = found.adherence, found.person
    parts = [
        number("Sessions due", adherence.due, "sessions"),
        number("Sessions in which work began", adherence.done, "sessions"),
        number("Sessions begun at all", adherence.came, "sessions"),
    ]
    return resource(
        "Observation",
        Place(person, "", "period"),
        status="final",
        category=[ACTIVITY.concept],
        code=text("Sessions and work of the period"),
        subject=patient_of(person).reference,
        effectivePeriod=period(sessions[0].moment(0), made),
        device=coach_of(person).reference,
        component=[*parts, *_figures(found.visits)],
    )
