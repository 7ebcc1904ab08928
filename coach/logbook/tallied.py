"""What a review adds up of a session: sums, and what is rare as it is. Single questions and sets stay in the record."""

from __future__ import annotations

from dataclasses import dataclass

from coach.logbook.pain import Pain, is_pain, span, worst
from coach.logbook.session_record import EarRecord, EasedRecord, HaltRecord, SessionRecord, SetRecord
from coach.loglines.kinds import PlanEntry
from coach.program.model import Hold


@dataclass(frozen=True, slots=True)
class PlannedTally:
    """An exercise in the plan of the day, before any easing."""

    exercise: str
    name: str
    level: str
    unit: str
    sets: int
    amount: int
    """What the plan asks of one set, all sides together."""
    tension_s: float | None
    """Seconds under tension of one set, by one that was done at this level; None: none was."""


@dataclass(frozen=True, slots=True)
class ExerciseTally:
    """What was done of an exercise."""

    exercise: str
    unit: str
    """Of its last set."""
    level: str
    """Id of the level of its last set."""
    first_high: int
    """The most that was planned of its first set."""
    counted: tuple[int, ...]
    """Of each set whose amount is known."""
    fewer: int
    """Sets of which the person stated fewer than the coach counted."""


@dataclass(frozen=True, slots=True)
class AmountTally:
    """The sums of all sets in one unit."""

    unit: str
    counted: int
    stated: int
    sets_stated: int
    counted_where_stated: int
    sets_unknown: int
    """Sets with an unknown amount."""


@dataclass(frozen=True, slots=True)
class Tally:
    """One session, added up."""

    title: str
    language: str
    simulated: bool
    seconds: float
    ended: str
    """UTC, ISO 8601, of the last line."""
    parts: int
    before: Pain | None
    """Highest pain stated before the first set; no program asks then, so only if the person mentioned it."""
    during: Pain | None
    """Highest pain stated at a halt, or after any set but the last."""
    after: Pain | None
    """Pain stated after the last set with a question about it."""
    effort: int | None
    """Highest effort stated."""
    sets_begun: int
    sets_in_full: int
    tension_s: float
    """Seconds under tension done."""
    plan: tuple[PlannedTally, ...]
    exercises: tuple[ExerciseTally, ...]
    """In the order of their first sets."""
    amounts: tuple[AmountTally, ...]
    asked: int
    """Questions that were put."""
    at_once: int
    """Of these, answered at the first asking, and the answer not corrected."""
    again: int
    """Of these, answered only after a repetition or a second reading back."""
    left_out: int
    """Questions that were not put at all."""
    pain_unanswered: int
    """Questions about pain without an answer, put or not."""
    denied: int
    holds: int
    ladder: bool
    halts: tuple[HaltRecord, ...]
    steps: tuple[EasedRecord, ...]
    cut: tuple[str, ...]
    """Exercises that ended because sets were cut short."""
    heard: tuple[EarRecord, ...]
    devices: tuple[str, ...]
    """What happened to the microphone or the speaker."""
    notes: tuple[tuple[str, str], ...]

    def name_of(self, exercise: str) -> str:
        """Return the exercise's name from the plan, or its id."""
        return next((one.name for one in self.plan if one.exercise == exercise and one.name), exercise)


def tally_of(record: SessionRecord) -> Tally:
    """Return a session added up."""
    pains = [one for one in record.questions if is_pain(one.question) and one.answered]
    before = [one.value for one in pains if not one.set_id] + [halt.pain for halt in record.halts if not halt.set_id]
    last = [one for one in pains if one.question == "pain" and one.set_id][-1:]
    during = [one.value for one in pains if one.set_id and one not in last]
    during += [halt.pain for halt in record.halts if halt.set_id]
    put = [one for one in record.questions if not one.because]
    answered = [one for one in put if one.answered]
    sets: dict[str, list[SetRecord]] = {}
    units: dict[str, list[SetRecord]] = {}
    for one in record.sets:
        sets.setdefault(one.exercise, []).append(one)
        units.setdefault(one.unit, []).append(one)
    return Tally(
        title=record.title,
        language=record.language,
        simulated=record.simulated,
        seconds=record.seconds,
        ended=record.ended,
        parts=record.parts,
        before=worst(map(span, before)),
        during=worst(map(span, during)),
        after=worst(span(one.value) for one in last),
        effort=max((one.effort for one in record.sets if isinstance(one.effort, int)), default=None),
        sets_begun=len(record.sets),
        sets_in_full=record.sets_in_full,
        tension_s=sum(one.tension_s or 0.0 for one in record.sets),
        plan=tuple(_planned(one, record) for one in record.plan),
        exercises=tuple(_exercise(name, mine) for name, mine in sets.items()),
        amounts=tuple(_amount(unit, mine) for unit, mine in units.items()),
        asked=len(put),
        at_once=sum(one.times <= 1 for one in answered),
        again=sum(one.times > 1 for one in answered),
        left_out=len(record.questions) - len(put),
        pain_unanswered=sum(is_pain(one.question) and not one.answered for one in record.questions),
        denied=record.denied,
        holds=record.holds,
        ladder=record.ladder,
        halts=record.halts,
        steps=record.steps,
        cut=tuple(exercise for exercise, why in record.exercise_ends if why == "cut_sets"),
        heard=record.heard,
        devices=tuple(what for _, what in record.devices),
        notes=record.notes,
    )


def _planned(planned: PlanEntry, record: SessionRecord) -> PlannedTally:
    sides = 2 if planned.sides == "alternating" and planned.unit != Hold.unit else 1  # a hold cannot change midway
    amount = planned.target * sides
    each = (
        one.tension_planned_s / max(1, one.planned_high) * amount  # seconds per rep do not depend on the number of reps
        for one in record.sets
        if one.exercise == planned.exercise and one.level == planned.level and one.tension_planned_s is not None
    )
    return PlannedTally(
        planned.exercise, planned.name, planned.level, planned.unit, planned.sets, amount, next(each, None)
    )


def _exercise(name: str, sets: list[SetRecord]) -> ExerciseTally:
    return ExerciseTally(
        name,
        unit=sets[-1].unit,
        level=sets[-1].level,
        first_high=sets[0].planned_high,
        counted=tuple(one.counted for one in sets if one.counted is not None),
        fewer=sum(one.stated is not None and one.counted is not None and one.stated < one.counted for one in sets),
    )


def _amount(unit: str, sets: list[SetRecord]) -> AmountTally:
    stated = [one for one in sets if one.stated is not None]
    return AmountTally(
        unit,
        counted=sum(one.counted or 0 for one in sets),
        stated=sum(one.stated or 0 for one in stated),
        sets_stated=len(stated),
        counted_where_stated=sum(one.counted or 0 for one in stated),
        sets_unknown=sum(one.counted is None for one in sets),
    )
