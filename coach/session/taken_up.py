"""Take up a session that broke off: do only the sets that had not begun, never more or harder than planned.

A set that had begun is not repeated. What was eased stays eased. An exercise with a halt that was more than a break is
over. The whole session is over if the program would end it for what the person told.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, replace

from coach.program.model import Action, Exercise, Program
from coach.session.past import clause
from coach.session.plan import NEXT_DAY, PlannedExercise, TakenUp, Today, turns


@dataclass(frozen=True, slots=True)
class BrokenExercise:
    """One exercise of a session that broke off."""

    exercise: str
    planned_level: str
    planned_target: int
    level: str
    """Id of the level at the end, after any easing."""
    target: int
    """Reps, rounds or seconds of each set at the end, after any easing."""
    begun: tuple[tuple[int, str], ...] = ()
    """Number and side of each set that began: "left", "left+right", or empty."""
    cut: int = 0
    """Sets that were cut short, by the person or a rule."""
    over: str = ""
    """Why it was over before the session broke off; empty: it was not."""
    stretch: float = 1.0
    """Factor by which its phases were lengthened."""


@dataclass(frozen=True, slots=True)
class Broken:
    """What the record tells of a session that broke off."""

    session: str
    """Id of the session, or of the first part of one that was taken up before."""
    digest: str
    """SHA-256 of its program file, in hex."""
    seconds: float
    """How long it had run."""
    exercises: tuple[BrokenExercise, ...]
    """Every planned exercise, in order."""
    halts: tuple[tuple[str, str], ...] = ()
    """Exercise and reason of each halt: "pain", "tired", "unsteady", "break", or empty if nobody said."""
    worst_pain: int | None = None
    """Highest pain stated, 0-10; None: none was."""
    pain_open: bool = False
    """Somebody halted for pain and never said how much."""
    next_day_worse: bool = False


@dataclass(frozen=True, slots=True)
class Ahead:
    """What a session will do of one exercise."""

    planned: PlannedExercise
    """The exercise with its first level and target."""
    sets: int
    """Number of sets; a left and a right one count as two."""


def ahead(today: Today) -> tuple[Ahead, ...]:
    """Return what the session of `today` will do: the whole plan, or the rest of one that broke off."""
    before = today.taken_up
    found = []
    for index, planned in enumerate(today.exercises):
        level = planned.exercise.levels[before.levels[index] if before else planned.level]
        sets = len(turns(planned.exercise, level, today.side))
        most = len(turns(planned.exercise, planned.exercise.levels[planned.level], today.side))
        left = min(sets, most)
        begins = planned
        if before is not None:
            begins = replace(planned, level=before.levels[index], target=before.targets[index])
            if index < before.exercise_index or (index == before.exercise_index and before.over):
                left = 0
            elif index == before.exercise_index:
                left = max(0, left - before.turn - 1)
        if left:
            found.append(Ahead(begins, left))
    return tuple(found)


def take_up(today: Today, broken: Broken) -> Today | None:
    """Return the rest of the session that broke off; None if nothing is left or no more may be done.

    `today` is what would be planned now, with `broken` in the history; the easier of both plans is done.
    """
    program = today.program
    broken = _without_left_out(today, broken)
    known = all(_known(program, one) for one in broken.exercises)
    last = max((index for index, one in enumerate(broken.exercises) if one.begun), default=None)
    if last is None or not known or broken.digest != program.digest or _forbids(program, broken):
        return None
    planned = tuple(_planned(program, one, today) for one in broken.exercises)
    turn = _last_turn(planned[last], broken.exercises[last].begun, today.side)
    taken = _taken_up(today, broken, last, turn)
    screen = tuple(question for question in program.screen if question.id != NEXT_DAY)  # that was asked before
    found = replace(today, exercises=planned, screen=screen, first_session=False, taken_up=taken)
    return found if ahead(found) else None


def _without_left_out(today: Today, broken: Broken) -> Broken:
    """Return the session without what would be left out today: what had not begun does not come, what had is over."""
    left_out = {one.exercise.id for one in today.left_out}
    kept = tuple(
        replace(one, over=one.over or "left_out") if one.exercise in left_out else one
        for one in broken.exercises
        if one.begun or one.exercise not in left_out
    )
    return replace(broken, exercises=kept)


def _taken_up(today: Today, broken: Broken, last: int, turn: int) -> TakenUp:
    """Return where the session goes on, after `turn` of its exercise `last`."""
    program, here = today.program, broken.exercises[last]
    now = [_now(program, one, today) for one in broken.exercises]
    return TakenUp(
        session=broken.session,
        exercise_index=last,
        turn=turn,
        levels=tuple(level for level, _ in now),
        targets=tuple(target for _, target in now),
        over=here.over or _halted(here, broken.halts) or _cut(here.cut, program),
        stretch=max(1.0, here.stretch),
        cut_sets=here.cut,
        halts=len(broken.halts),
        seconds=broken.seconds,
        sore=_sore(program, broken),
    )


def _sore(program: Program, broken: Broken) -> bool:
    """Tell whether the session left more pain than allowed."""
    hurt = (broken.worst_pain or 0) > program.limits.pain_carry_on_to
    return broken.next_day_worse or hurt or any(why == "unsteady" for _, why in broken.halts)


def _forbids(program: Program, broken: Broken) -> bool:
    """Tell whether a limit of the program, or a pain that was never measured, forbids going on."""
    limits, whys = program.limits, [why for _, why in broken.halts]
    return (
        (broken.worst_pain or 0) > limits.pain_ease_to
        or broken.pain_open
        or ("unsteady" in whys and limits.unsteady is Action.END_SESSION)
        or ("tired" in whys and limits.tired is Action.END_SESSION)
        or len(whys) >= limits.halts
        or broken.seconds >= limits.minutes * 60.0
    )


def _exercise(program: Program, one: BrokenExercise) -> Exercise | None:
    return next((each for each in program.exercises if each.id == one.exercise), None)


def _known(program: Program, one: BrokenExercise) -> bool:
    exercise = _exercise(program, one)
    levels = {level.id for level in exercise.levels} if exercise else set()
    return {one.planned_level, one.level} <= levels


def _level(exercise: Exercise, level: str) -> int:
    return [each.id for each in exercise.levels].index(level)


def _planned(program: Program, one: BrokenExercise, today: Today) -> PlannedExercise:
    """Return the exercise as it was planned, within its range; with its news only if no set of it began."""
    exercise = program.exercise(one.exercise)
    level = _level(exercise, one.planned_level)
    target = max(1, min(one.planned_target, exercise.levels[level].dose.work.amount.high))
    fresh = [each for each in today.exercises if each.exercise.id == one.exercise and not one.begun]
    news = tuple(key for each in fresh for key in each.news)
    return PlannedExercise(exercise, level, target, (clause("because_taken_up"),), news)


def _now(program: Program, one: BrokenExercise, today: Today) -> tuple[int, int]:
    """Return the level and target to go on with: the easiest of the planned, the eased and today's."""
    exercise = program.exercise(one.exercise)
    known = [(_level(exercise, one.planned_level), one.planned_target), (_level(exercise, one.level), one.target)]
    known += [(each.level, each.target) for each in today.exercises if each.exercise.id == one.exercise]
    level = min(level for level, _ in known)
    within = exercise.levels[level].dose.work.amount
    targets = [target for at, target in known if at == level]
    if level < known[0][0]:
        targets.append(within.low)  # a lower level begins at the bottom of its range
    return level, max(1, min(within.high, *targets))


def _last_turn(planned: PlannedExercise, begun: Iterable[tuple[int, str]], side: str) -> int:
    """Return the index of the last turn that began; a set that is not in the plan counts as the very last."""
    each = [(number, "+".join(s for s in sides if s)) for number, sides in
            turns(planned.exercise, planned.exercise.levels[planned.level], side)]  # fmt: skip
    return max(each.index(one) if one in each else len(each) - 1 for one in begun)


def _halted(one: BrokenExercise, halts: Iterable[tuple[str, str]]) -> str:
    """Return the reason of its first halt that was more than a break; empty: there was none."""
    whys = [why or "halted_unexplained" for exercise, why in halts if exercise == one.exercise and why != "break"]
    return whys[0] if whys else ""


def _cut(cut: int, program: Program) -> str:
    return "cut_sets" if cut >= program.limits.cut_sets else ""
