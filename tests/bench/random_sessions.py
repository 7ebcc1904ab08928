"""Many random sessions in the pure core: how many a second on one core, and whether the rules of every session hold.

    python tests/bench/random_sessions.py [--sessions 10000] [--seed 0]

Two passes over the same people and days: one bare (the speed), one watched at every event (the rules). A rule that is
broken stops the run and names the session's seed.
"""

from __future__ import annotations

import argparse
from collections import Counter
from collections.abc import Iterator
from datetime import date
from random import Random
from time import process_time

from coach.program_files import read, shipped
from coach.session.plan import Today, plan
from coach.testing import Person, RuleBrokenError, SoundlessRun, WatchedRun, live, random_history, random_program

DAY = date(2027, 1, 11)


def days(sessions: int, seed: int) -> Iterator[tuple[int, Random, Today]]:
    """Yield seed, chance and plan of each session: half of shipped programs, half of programs made by chance."""
    programs = [read(path) for path in shipped().values()]
    for number in range(seed, seed + sessions):
        chance = Random(number)
        program = chance.choice(programs) if chance.random() < 0.5 else random_program(chance)
        yield number, chance, plan(program, random_history(chance, program, DAY), DAY)


def bare(sessions: int, seed: int) -> tuple[float, int, float]:
    """Return the processor seconds that the sessions take, their events' commands, and the hours they last."""
    spent, commands, hours = 0.0, 0, 0.0
    for _, chance, today in days(sessions, seed):
        began = process_time()
        run = SoundlessRun(today)
        live(run, Person.any(chance))
        spent += process_time() - began
        commands += len(run.commands)
        hours += run.now / 16_000 / 3_600
    return spent, commands, hours


def watched(sessions: int, seed: int) -> Counter[str]:
    """Return why the sessions ended. Raises RuleBrokenError naming the seed."""
    ends: Counter[str] = Counter()
    for number, chance, today in days(sessions, seed):
        run = WatchedRun(today)
        try:
            live(run, Person.any(chance))
        except RuleBrokenError as broken:
            raise RuleBrokenError(f"session of seed {number}: {broken}") from broken
        ends[run.session.end_why] += 1
    return ends


def calm(repeats: int) -> tuple[float, float]:
    """Return processor seconds and minutes of session: every shipped program to its end with a calm person."""
    todays = [plan(read(path), (), DAY) for path in shipped().values()]
    began, minutes = process_time(), 0.0
    for _ in range(repeats):
        for today in todays:
            run = SoundlessRun(today)
            live(run, Person(Random(0), odd=0.0, silent=0.0))
            minutes += run.now / 16_000 / 60
    return (process_time() - began) / (repeats * len(todays)), minutes / (repeats * len(todays))


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--sessions", type=int, default=10_000)
    parser.add_argument("--seed", type=int, default=0)
    asked = parser.parse_args()
    spent, commands, hours = bare(asked.sessions, asked.seed)
    each, minutes = calm(5)
    ends = watched(asked.sessions, asked.seed)
    print(f"random sessions               {asked.sessions}, {hours:.0f} hours of session, {commands} commands")
    print(f"speed, one core               {asked.sessions / spent:.0f} sessions a second")
    print(f"speed, calm, shipped programs {1 / each:.0f} sessions a second of {minutes:.1f} minutes each")
    print(f"rules broken                  0 of {ends.total()} sessions")
    print("ended as                      " + ", ".join(f"{why} {count}" for why, count in ends.most_common()))


if __name__ == "__main__":
    main()
