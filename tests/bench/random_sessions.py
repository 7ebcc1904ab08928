"""Many random sessions in the pure core: how many a second on one core, and whether the rules of every session hold.

    python tests/bench/random_sessions.py [--sessions 10000] [--seed 0] [--passes bare,watched,misheard,days]

Passes over people made by chance, with devices and disks that fail: `bare` is the speed; `watched` looks at every event
for a broken rule; `misheard` puts ears in front that hear wrong, late, twice and against each other; `days` lives days
on days with such ears, each session planned from the records of those before it, some broken off and taken up, and
looks that nothing gets harder without a decision. A rule that is broken stops the run and names the seed.
"""

from __future__ import annotations

import argparse
from collections import Counter
from collections.abc import Iterator
from contextlib import contextmanager
from datetime import date
from random import Random
from time import process_time

from coach.program.model import Program
from coach.program_files import read, shipped
from coach.session.plan import Today, plan
from coach.testing import (
    LivedDays,
    MisheardRun,
    RandomPerson,
    RuleBrokenError,
    SoundlessRun,
    WatchedRun,
    live,
    random_day,
    random_program,
)

DAY = date(2027, 1, 11)

Row = tuple[str, str]


def program_of(chance: Random, programs: list[Program]) -> Program:
    """Return a shipped program or, as often, one made by chance."""
    return chance.choice(programs) if chance.random() < 0.5 else random_program(chance)


def days(sessions: int, seed: int) -> Iterator[tuple[int, Random, Today]]:
    """Yield seed, chance and plan of each session."""
    programs = [read(path) for path in shipped().values()]
    for number in range(seed, seed + sessions):
        chance = Random(number)
        program = program_of(chance, programs)
        yield number, chance, random_day(chance, program, DAY)


def bare(sessions: int, seed: int) -> list[Row]:
    """Measure the speed, without a watch."""
    spent, commands, hours = 0.0, 0, 0.0
    for _, chance, today in days(sessions, seed):
        began = process_time()
        run = SoundlessRun(today)
        live(run, RandomPerson.any(chance))
        spent += process_time() - began
        commands += len(run.commands)
        hours += run.now / 16_000 / 3_600
    each, minutes = calm(5)
    return [
        ("random sessions", f"{sessions}, {hours:.0f} hours of session, {commands} commands"),
        ("speed, one core", f"{sessions / spent:.0f} sessions a second"),
        ("speed, calm, shipped programs", f"{1 / each:.0f} sessions a second of {minutes:.1f} minutes each"),
    ]


def calm(repeats: int) -> tuple[float, float]:
    """Return processor seconds and minutes of session: every shipped program to its end with a calm person."""
    todays = [plan(read(path), (), DAY) for path in shipped().values()]
    began, minutes = process_time(), 0.0
    for _ in range(repeats):
        for today in todays:
            run = SoundlessRun(today)
            live(run, RandomPerson(Random(0), odd=0.0, silent=0.0))
            minutes += run.now / 16_000 / 60
    return (process_time() - began) / (repeats * len(todays)), minutes / (repeats * len(todays))


def watched(sessions: int, seed: int) -> list[Row]:
    """Check every event; ears hear exactly what is said."""
    ends: Counter[str] = Counter()
    for number, chance, today in days(sessions, seed):
        run = WatchedRun(today)
        with named(number):
            live(run, RandomPerson.any(chance))
        ends[str(run.session.end_why)] += 1
    return [("watched: rules broken", f"0 of {ends.total()} sessions"), ended(ends)]


def misheard(sessions: int, seed: int) -> list[Row]:
    """The same through ears that fail."""
    ends: Counter[str] = Counter()
    counted = unclear = 0
    for number, chance, today in days(sessions, seed):
        run = MisheardRun(today, chance)
        with named(number):
            live(run, RandomPerson.any(chance))
        ends[str(run.session.end_why)] += 1
        counted += run.counted
        unclear += run.unclear
    found = f"0 of {ends.total()} sessions; {counted} replies let through, {unclear} sounds not understood"
    return [("misheard: rules broken", found), ended(ends)]


def lived(sessions: int, seed: int) -> list[Row]:
    """Day after day through such ears, for this many sessions."""
    programs = [read(path) for path in shipped().values()]
    ends: Counter[str] = Counter()
    people = taken_up = raised = grown = left_out = 0
    while ends.total() < sessions:
        chance = Random(seed + people)
        someone = LivedDays(program_of(chance, programs), chance, MisheardRun)
        with named(seed + people):
            someone.live(chance.randint(1, 8))
        people += 1
        ends += someone.ended
        taken_up, raised, grown = taken_up + someone.taken_up, raised + someone.raised, grown + someone.grown
        left_out += someone.left_out
    found = f"0 of {ends.total()} sessions of {people} people"
    more = f"{taken_up} taken up; {raised} levels raised, each by a decision; {grown} amounts grown"
    more += f"; {left_out} exercises left out of a plan"
    return [("days: rules broken", found), ("", more), ended(ends)]


@contextmanager
def named(seed: int) -> Iterator[None]:
    """Let a broken rule name the seed."""
    try:
        yield
    except RuleBrokenError as broken:
        raise RuleBrokenError(f"seed {seed}: {broken}") from broken


def ended(ends: Counter[str]) -> Row:
    return "  ended as", ", ".join(f"{why} {count}" for why, count in ends.most_common())


PASSES = {"bare": bare, "watched": watched, "misheard": misheard, "days": lived}


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--sessions", type=int, default=10_000)
    parser.add_argument("--seed", type=int, default=0)
    parser.add_argument("--passes", default=",".join(PASSES))
    asked = parser.parse_args()
    for name in asked.passes.split(","):
        for what, found in PASSES[name](asked.sessions, asked.seed):
            print(f"{what:30}{found}", flush=True)


if __name__ == "__main__":
    main()
