"""Programs and histories made by chance: every kind of work, every side mode, every limit, however odd together."""

from __future__ import annotations

from datetime import date, timedelta
from random import Random
from typing import TypeVar

from coach.program.model import (
    Action,
    AskAfter,
    Dose,
    Exercise,
    Guide,
    Hold,
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
    Work,
    WrittenBy,
)
from coach.session.past import PastExercise, PastSession
from coach.session.plan import turns

T = TypeVar("T")

_SECONDS = (0.3, 0.7, 1.0, 1.5, 2.0, 2.3, 3.0, 4.0)
_ENDINGS = ("done", "pain", "unsteady", "asked", "no_answer")


def random_program(chance: Random) -> Program:
    """Return a program that a loader would accept, small enough to be run often."""
    exercises = tuple(_exercise(chance, number) for number in range(1, chance.randint(1, 3) + 1))
    carry_on_to = chance.randint(0, 5)
    every = chance.randint(1, 3)
    return Program(
        id="made_by_chance",
        title="Made by chance",
        language="en",
        written_by=WrittenBy("", "", None, None),
        affected=chance.choice(("left", "right")),
        within_reach=chance.choice(tuple(Reach)),
        call=chance.choice(("", "Call the clinic.")),
        cautions=chance.choice(("", "Sit down when dizzy.")),
        screen=tuple(_screen(chance, number) for number in range(chance.randint(0, 3))),
        ask_pain=chance.choice(tuple(AskAfter)),
        ask_effort=chance.choice(tuple(AskAfter)),
        ask_reps=chance.choice(tuple(AskAfter)),
        limits=Limits(
            pain_carry_on_to=carry_on_to,
            pain_ease_to=chance.randint(carry_on_to, 8),
            effort_ease_above=chance.randint(4, 10),
            unsteady=chance.choice((Action.STEP_DOWN, Action.END_EXERCISE, Action.END_SESSION)),
            tired=chance.choice((Action.EASE, Action.END_SET, Action.END_EXERCISE, Action.END_SESSION)),
            cut_sets=chance.randint(1, 4),
            next_day_worse=chance.choice((Action.NOTE, Action.EASE, Action.STEP_DOWN, Action.END_SESSION)),
            halts=chance.randint(1, 4),
            minutes=chance.choice((1, 5, 60)),
        ),
        schedule=Schedule(every, chance.randint(every, 4)),
        exercises=exercises,
        digest="0" * 64,
    )


def _exercise(chance: Random, number: int) -> Exercise:
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
        step_up=None,
        joins_after=Joins("exercise_1", 1) if number > 1 and chance.random() < 0.2 else None,
    )


def _range(chance: Random, low: int, high: int) -> Range:
    if chance.random() < 0.3:
        return Range(1, chance.randint(low, high), steady=True)
    least = chance.randint(low, high)
    return Range(least, chance.randint(least, high))


def _reps(chance: Random) -> Work:
    names = ("raise", "hold", "lower", "rest")[: chance.randint(1, 4)]
    phases = tuple(Phase(name, chance.choice(_SECONDS)) for name in names)
    return Reps(_range(chance, 1, 6), phases, chance.choice(names), chance.choice(tuple(Guide)))


def _hold(chance: Random) -> Work:
    return Hold(_range(chance, 3, 25))


def _route(chance: Random) -> Work:
    names = ("ahead", "out", "back")[: chance.randint(1, 3)]
    return Route(tuple(Point(name, chance.choice(_SECONDS)) for name in names), _range(chance, 1, 4))


def _screen(chance: Random, number: int) -> ScreenQuestion:
    action = chance.choice((Action.NOTE, Action.EASE, Action.END_SESSION))
    return ScreenQuestion(f"question_{number}", f"Question {number}?", answer=chance.random() < 0.5, action=action)


def random_history(chance: Random, program: Program, today: date) -> tuple[PastSession, ...]:
    """Return up to four earlier sessions of `program` before `today`, oldest first."""
    days = sorted(chance.sample(range(1, 15), chance.randint(0, 4)), reverse=True)
    return tuple(
        PastSession(
            today - timedelta(days=back),
            chance.choice(_ENDINGS),
            tuple(_past(chance, program, exercise) for exercise in program.exercises if chance.random() < 0.9),
        )
        for back in days
    )


def _past(chance: Random, program: Program, exercise: Exercise) -> PastExercise:
    level = chance.choice(exercise.levels)
    sets = len(turns(exercise, level, program.affected))
    return PastExercise(
        exercise=exercise.id,
        level=level.id,
        target=chance.randint(1, 30),
        sets_planned=sets,
        sets_in_full=chance.choice((sets, chance.randint(0, sets))),
        pain=chance.choice((None, 0, 1, 2, chance.randint(0, 10))),
        effort=chance.choice((None, chance.randint(0, 10))),
        unsteady=chance.random() < 0.1,
    )
