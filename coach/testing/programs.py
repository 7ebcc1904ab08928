"""Random programs and histories: every kind of work, every side mode, every limit, in any combination."""

from __future__ import annotations

from dataclasses import replace
from datetime import date, timedelta
from random import Random
from typing import TypeVar

from coach.program.model import (
    NO_HOLD,
    Action,
    AfterGap,
    AskAfter,
    Dose,
    Exercise,
    Guide,
    Hold,
    HoldRule,
    Joins,
    Level,
    Limits,
    Phase,
    Point,
    Program,
    Range,
    Reach,
    Reps,
    Route,
    Schedule,
    ScreenQuestion,
    Sides,
    StepUp,
    Work,
    WrittenBy,
)
from coach.session.past import Decision, Goal, PastExercise, PastSession, Verdict
from coach.session.plan import Today, plan, turns

T = TypeVar("T")

_SECONDS = (0.3, 0.7, 1.0, 1.5, 2.0, 2.3, 3.0, 4.0)
_RULES = (NO_HOLD, HoldRule(1, 1), HoldRule(2, 7), HoldRule(3, 14))
UNSTEADY = (Action.EASE_THE_DAY, Action.STEP_DOWN, Action.END_EXERCISE, Action.END_SESSION)
"""All that a program may say of unsteadiness."""
_ENDINGS = (*["done"] * 5, "pain", "unsteady", "asked", "no_answer")


def random_program(chance: Random) -> Program:
    """Return a random program that the loader would accept, small enough to be run often."""
    carry_on_to = chance.choice((0, chance.randint(0, 5), chance.randint(0, 5)))
    exercises = tuple(_exercise(chance, number, carry_on_to) for number in range(1, chance.randint(1, 3) + 1))
    every = chance.randint(1, 3)
    own = Random(repr(exercises))  # noqa: S311 - of the holds alone, so that every older seed keeps its story
    return Program(
        id="made_by_chance",
        title="Made by chance",
        language="en",
        written_by=WrittenBy("", "", None, None),
        affected=chance.choice(("left", "right")),
        within_reach=chance.choice(tuple(Reach)),
        call=chance.choice(("", "Call the clinic.")),
        cautions=chance.choice(("", "Sit down when dizzy.")),
        screen=tuple(_screen(chance, own, number) for number in range(chance.randint(0, 3))),
        ask_pain=chance.choice(tuple(AskAfter)),
        ask_effort=chance.choice(tuple(AskAfter)),
        ask_reps=chance.choice(tuple(AskAfter)),
        ask_goals_days=14,
        limits=Limits(
            pain_carry_on_to=carry_on_to,
            pain_ease_to=chance.choice((carry_on_to, chance.randint(carry_on_to, 8), chance.randint(carry_on_to, 8))),
            effort_ease_above=chance.randint(4, 10),
            unsteady=chance.choice(UNSTEADY),
            tired=chance.choice((Action.EASE, Action.END_SET, Action.END_EXERCISE, Action.END_SESSION)),
            cut_sets=chance.randint(1, 4),
            next_day_worse=chance.choice((Action.NOTE, Action.EASE, Action.STEP_DOWN, Action.END_SESSION)),
            halts=chance.randint(1, 4),
            minutes=chance.choice((1, 5, 60)),
            hold_after_pain=own.choice(_RULES),
            hold_after_unsteady=own.choice(_RULES),
        ),
        schedule=Schedule(every, chance.randint(every, 4), chance.randint(5, 15), chance.choice(tuple(AfterGap))),
        exercises=exercises,
        digest="0" * 64,
    )


def _exercise(chance: Random, number: int, carry_on_to: int) -> Exercise:
    kinds = [chance.choice((_reps, _hold, _route))] * 3 if chance.random() < 0.7 else [_reps, _hold, _route]
    levels = tuple(
        Level(
            id=f"level_{index}",
            setup=f"Stand, way {number}, {index}.",
            cue="Move.",
            feel=chance.choice(("", "In the calf.")),
            watch=tuple(f"Watch {part}." for part in range(chance.randint(0, 2))),
            needs=chance.choice(((), ("a chair",))),
            dose=Dose(
                sets=chance.randint(1, 3),
                rest=chance.choice((0.0, 5.0, 12.5, 30.0)),
                work=chance.choice(kinds)(chance),
                change_sides=chance.choice((0.0, 7.0)),
            ),
        )
        for index in range(chance.randint(1, 3))
    )
    return Exercise(
        id=f"exercise_{number}",
        name=f"Exercise {number}",
        why=chance.choice(("", "It helps.")),
        needs=(),
        sides=chance.choice(tuple(Sides)),
        levels=levels,
        start_level=chance.choice(levels).id,
        step_up=StepUp(
            chance.randint(1, 3), chance.random() < 0.5, carry_on_to, 6, chance.randint(1, 9), unsteady=False
        )
        if chance.random() < 0.8
        else None,
        joins_after=Joins("exercise_1", chance.randint(1, 2), chance.randint(1, 3), by_itself=chance.random() < 0.7)
        if number > 1 and chance.random() < 0.3
        else None,
        this_side="leg stands" if number % 2 else "",
        other_side="foot reaches" if number % 4 == 1 else "",
    )


def _range(chance: Random, low: int, high: int) -> Range:
    least = chance.randint(low, high)
    return Range(least, chance.randint(least, high), steady=chance.random() < 0.3)


def _reps(chance: Random) -> Work:
    names = ("raise", "hold", "lower", "rest")[: chance.randint(1, 4)]
    phases = tuple(Phase(name, chance.choice(_SECONDS)) for name in names)
    return Reps(_range(chance, 1, 6), phases, chance.choice(names), chance.choice(tuple(Guide)))


def _hold(chance: Random) -> Work:
    return Hold(_range(chance, 3, 25))


def _route(chance: Random) -> Work:
    names = ("ahead", "out", "back")[: chance.randint(1, 3)]
    return Route(tuple(Point(name, chance.choice(_SECONDS)) for name in names), _range(chance, 1, 4))


def _screen(chance: Random, own: Random, number: int) -> ScreenQuestion:
    action = chance.choice((Action.NOTE, Action.EASE, Action.END_SESSION))
    if action is Action.END_SESSION:
        action = own.choice((Action.END_SESSION, Action.HOLD))
    return ScreenQuestion(f"question_{number}", f"Question {number}?", answer=chance.random() < 0.5, action=action)


def random_history(chance: Random, program: Program, today: date) -> tuple[PastSession, ...]:
    """Return up to four random sessions of `program` before `today`, oldest first."""
    days = sorted(chance.sample(range(1, 15), chance.randint(0, 4)), reverse=True)
    return tuple(
        PastSession(
            today - timedelta(days=back),
            chance.choice(_ENDINGS),
            tuple(_past(chance, program, exercise) for exercise in program.exercises if _was_done(chance, exercise)),
            next_day_worse=chance.choice((None, False, False, True)),
            digest=chance.choice(("", program.digest, "1" * 64)),
        )
        for back in days
    )


def _was_done(chance: Random, exercise: Exercise) -> bool:
    return chance.random() < (0.9 if exercise.joins_after is None else 0.3)


def _past(chance: Random, program: Program, exercise: Exercise) -> PastExercise:
    level = chance.choice(exercise.levels)
    ended = chance.choice((level.id, level.id, level.id, level.id, "gone"))
    sets = len(turns(exercise, level, program.affected))
    return PastExercise(
        exercise=exercise.id,
        level=ended,
        target=chance.randint(1, 30),
        sets_planned=sets,
        sets_in_full=chance.choice((sets, chance.randint(0, sets))),
        pain=chance.choice((None, 0, 1, 2, chance.randint(0, 10))),
        effort=chance.choice((None, chance.randint(0, 10))),
        unsteady=chance.random() < 0.1,
        eased=chance.random() < 0.1,
        pain_unanswered=chance.random() < 0.1,
        least=chance.choice((None, 30, chance.randint(0, 30))),
    )


def random_decisions(chance: Random, program: Program, today: date) -> tuple[Decision, ...]:
    """Return up to five random decisions about `program` from the two weeks before `today`, some of them odd."""
    return tuple(_decision(chance, program, today) for _ in range(chance.choice((0, 0, chance.randint(1, 5)))))


def _decision(chance: Random, program: Program, today: date) -> Decision:
    exercise = chance.choice(program.exercises)
    ids = [level.id for level in exercise.levels]
    here = chance.randrange(len(ids))
    verdict = chance.choice(tuple(Verdict))
    to = {Verdict.UP: min(here + 1, len(ids) - 1), Verdict.DOWN: max(here - 1, 0)}.get(verdict, here)
    day = today - timedelta(days=chance.randint(-1, 14))
    at = f"{day}T{chance.randint(0, 23):02d}:00:00.000+00:00"
    to_level = chance.choice((ids[to], ids[to], ids[to], "gone"))
    until = chance.choice((None, day + timedelta(days=chance.randint(1, 20)))) if verdict is Verdict.PAUSE else None
    return Decision(
        program.id, exercise.id, verdict, ids[here], to_level, "Kim Rivers", "", at, day, program.digest, until
    )


def random_day(chance: Random, program: Program, today: date) -> Today:
    """Return the plan of a random day with something to do: decisions that leave every exercise out are dropped."""
    history, decisions = random_history(chance, program, today), random_decisions(chance, program, today)
    planned = plan(program, history, today, decisions)
    return planned if planned.exercises else plan(program, history, today)


GOALS = (Goal("stairs", "carry the shopping upstairs"), Goal("dance", "dance on Sundays"))


def for_somebody(today: Today, *, numbers_heard: bool) -> Today:
    """Return a day of somebody whose numbers are heard or not; on an odd number of exercises they have goals."""
    return replace(today, numbers_heard=numbers_heard, goals=GOALS if len(today.exercises) % 2 else ())
