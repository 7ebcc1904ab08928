"""`coach check`: read program files and say everything that is wrong or missing in them."""

from __future__ import annotations

import argparse
import json
import sys

from coach.errors import CoachError, ProgramError
from coach.program.model import Dose, Exercise, Program, Sides
from coach.program.schema import schema
from coach.program_files import HaltsIn, open_program, shipped


def add(parser: argparse.ArgumentParser) -> None:
    """Declare the arguments."""
    parser.add_argument("files", nargs="*", metavar="FILE", help="a program file, or the id of a shipped program")
    parser.add_argument("--schema", action="store_true", help="print the JSON Schema of program files and end")


def run(args: argparse.Namespace) -> int:
    """Check every file; return 2 if any cannot be used."""
    if args.schema:
        print(json.dumps(schema(), indent=2, ensure_ascii=False))
        return 0
    if not args.files:
        known = ", ".join(shipped())
        raise CoachError(f"Name a program file to check, or a shipped program: {known}.")
    from coach.voice.pack import halt_words, load_pack

    return check(args.files, lambda language: halt_words(load_pack(language)))


def check(files: list[str], halts_in: HaltsIn) -> int:
    """Print what was found in each file; return 0 if all can be used, else 2."""
    status = 0
    for name in files:
        try:
            program = open_program(name, halts_in)
        except CoachError as error:
            where = "" if isinstance(error, ProgramError) else f"{name}: "  # a ProgramError names the file itself
            print(f"{where}{error}", file=sys.stderr)
            status = 2
        else:
            print(f"{name}: OK. {summary(program)}")
            for warning in program.warnings:
                print(f"{name}: missing: {warning}")
    return status


def summary(program: Program) -> str:
    """Return a summary of the program on one line."""
    now = [each for each in program.exercises if each.joins_after is None]
    later = len(program.exercises) - len(now)
    joining = f" ({later} join later)" if later > 1 else " (1 joins later)" if later else ""
    seconds = sum(shortest_seconds(each) for each in now)
    every = program.schedule.every_days
    days = "every day" if every == 1 else f"every {every} days"
    return (
        f"{program.title}: {_many(len(program.exercises), 'exercise')}{joining}, {days}; "
        f"a first session has about {max(1, round(seconds / 60))} min of work and rest, talk not counted."
    )


def shortest_seconds(exercise: Exercise) -> float:
    """Return the seconds of work and rest of an exercise at its start level, with the fewest reps and no talk."""
    dose = next(level.dose for level in exercise.levels if level.id == exercise.start_level)
    rests = max(0, dose.sets - 1) * dose.rest
    sides = 2 if exercise.sides in (Sides.EACH, Sides.ALTERNATING) else 1
    change = dose.sets * dose.change_sides if exercise.sides is Sides.EACH else 0.0
    return dose.sets * sides * _set_seconds(dose) + change + rests


def _set_seconds(dose: Dose) -> float:
    work = dose.work
    each = sum(step.seconds for step in work.steps) or 1.0  # a hold counts seconds
    return each * work.amount.low


def _many(number: int, noun: str) -> str:
    return f"{number} {noun}" if number == 1 else f"{number} {noun}s"
