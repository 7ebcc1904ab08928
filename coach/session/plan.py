"""Today's session: the program and what happened before become levels, targets and sets, each with its reason."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, timedelta

from coach.program.model import Action, Dose, Exercise, Hold, Level, Program, Range, Reps, ScreenQuestion, Sides, Work
from coach.session.past import PastExercise, PastSession

HOLD_STEP = 5
"""Seconds that a hold grows by, within its range."""

REP_STEP = 1
"""Reps or rounds that a set grows by, within its range."""


@dataclass(frozen=True, slots=True)
class PlannedExercise:
    """One exercise of today."""

    exercise: Exercise
    level: int
    """Index of today's level, 0 the easiest."""
    target: int
    """Reps, rounds or seconds of a set; never above the program's range."""
    because: tuple[str, ...]
    """The clauses of the program that chose level and target, in words."""


@dataclass(frozen=True, slots=True)
class Today:
    """The whole plan of one session."""

    program: Program
    exercises: tuple[PlannedExercise, ...]
    screen: tuple[ScreenQuestion, ...]
    """The program's questions and, after an earlier session, the next-day question."""
    first_session: bool
    side: str
    """The affected side, or empty."""
    because: tuple[str, ...]
    """What else was chosen, in words."""
    numbers_heard: bool = True
    """Whether this person's spoken numbers are heard well; if not, pain is placed by yes and no."""


def amount(work: Work) -> Range:
    """Return the range of reps, rounds or seconds of `work`."""
    if isinstance(work, Reps):
        return work.count
    return work.seconds if isinstance(work, Hold) else work.rounds


def dose(exercise: Exercise, level: int) -> Dose:
    """Return the dose of `exercise` at the level of that index."""
    return exercise.levels[level].dose


def turns(exercise: Exercise, level: Level, affected: str) -> tuple[tuple[int, tuple[str, ...]], ...]:
    """Return the sets of an exercise in order: set number from 1 and the sides that work in it.

    One after the other begins with the affected side, while the person is fresh. A hold cannot change sides in its
    middle: an exercise with a hold in it alternates set by set.
    """
    first = affected or "right"
    second = "left" if first == "right" else "right"
    order: dict[Sides, tuple[tuple[str, ...], ...]] = {
        Sides.BOTH: (("",),),
        Sides.AFFECTED: ((first,),),
        Sides.ALTERNATING: ((first, second),),
        Sides.EACH: ((first,), (second,)),
    }
    mode = exercise.sides
    if mode is Sides.ALTERNATING and any(isinstance(each.dose.work, Hold) for each in exercise.levels):
        mode = Sides.EACH
    return tuple((number, sides) for number in range(1, level.dose.sets + 1) for sides in order[mode])


def plan(program: Program, history: tuple[PastSession, ...], today: date) -> Today:
    """Choose today's exercises, levels and targets from the program and the history of this person with it.

    Levels never rise here: a step up is the clinician's. `history` may come in any order.
    """
    past = tuple(sorted(history, key=lambda session: session.day))
    planned = tuple(
        _planned(exercise, past, program) for exercise in program.exercises if _has_joined(exercise, past, program)
    )
    waiting = [e for e in program.exercises if not _has_joined(e, past, program)]
    because = [
        f"{e.name} waits until {e.joins_after.exercise} was steady in {e.joins_after.steady_sessions} sessions"
        for e in waiting
        if e.joins_after
    ]
    screen = program.screen
    if past:
        screen = (*screen, _next_day(program))
        due = past[-1].day + timedelta(days=program.schedule.every_days)
        if today < due:
            because.append(f"the program says every {program.schedule.every_days} days; the next was due on {due}")
    return Today(program, planned, screen, not past, program.affected, tuple(because))


NEXT_DAY = "next_day"
"""Id of the next-day question; its wording is a phrase of the voice pack."""


def _next_day(program: Program) -> ScreenQuestion:
    return ScreenQuestion(NEXT_DAY, "", answer=True, action=program.limits.next_day_worse)


def _has_joined(exercise: Exercise, past: tuple[PastSession, ...], program: Program) -> bool:
    joins = exercise.joins_after
    if joins is None:
        return True
    steady = sum(
        1
        for session in past
        for done in session.exercises
        if done.exercise == joins.exercise and _went_well(done, program)
    )
    return steady >= joins.steady_sessions


def _went_well(done: PastExercise, program: Program) -> bool:
    """Tell whether all sets ran in full as planned, pain was stated and within the limit, and nothing gave way."""
    return (
        done.sets_in_full >= done.sets_planned > 0
        and done.pain is not None
        and done.pain <= program.limits.pain_carry_on_to
        and not done.unsteady
        and not done.eased
    )


def _planned(exercise: Exercise, past: tuple[PastSession, ...], program: Program) -> PlannedExercise:
    ids = [level.id for level in exercise.levels]
    level = ids.index(exercise.start_level)
    because = [f"start_level: {exercise.start_level}"]
    last = next(
        (done for session in reversed(past) for done in session.exercises if done.exercise == exercise.id), None
    )
    if last is not None and last.level in ids:
        level = ids.index(last.level)
        because = [f"level of the last session: {last.level}"]
    within = amount(dose(exercise, level).work)
    if within.steady:
        return PlannedExercise(
            exercise, level, within.high, (*because, f"as many as stay steady, at most {within.high}")
        )
    target = within.low
    if last is not None and last.level == ids[level]:
        step = HOLD_STEP if isinstance(dose(exercise, level).work, Hold) else REP_STEP
        target = min(max(last.target, within.low), within.high)
        grown = min(last.target + step, within.high)
        if _went_well(last, program) and grown > target:
            target = grown
            because.append(
                f"all {last.sets_planned} sets in full, pain {last.pain} of at most "
                f"{program.limits.pain_carry_on_to}: on to {target} within {within.low}-{within.high}"
            )
    return PlannedExercise(exercise, level, target, tuple(because))


SCREEN_ACTIONS = (Action.NOTE, Action.EASE, Action.STEP_DOWN, Action.END_SESSION)
"""What an answer before the session may do."""
