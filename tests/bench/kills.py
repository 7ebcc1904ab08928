"""Sessions killed at random points, closed, taken up and killed again: is anything lost, or counted twice?

    python tests/bench/kills.py [--points 1000] [--cuts 1000] [--rooms 20] [--seed 0]
    python tests/bench/kills.py --commands 300 [--seed 0]

Points: a forked process teaches words, decides, exports and goes through sessions without sound (shipped programs and
made-up ones, people by chance), its lines on the real disk; SIGKILL ends it at any call that touches the disk, and now
and then the start that closes what it left. Rooms: a whole session with sound, ears and the writing thread in the
virtual room, killed in the same way. Cuts: session files cut at any byte.

Commands: enrol, decide, export, forget, the first rendering of clips and a clinic's columns, each so often killed, at a
touch of the disk or at any moment; then run again (tests/killed_commands.py says what must hold).

After each every set that was on the disk is to be in the record, the torn tail named and kept aside, and the session
closed as interrupted; all parts of the day together are to hold no set twice, none beyond the plan, and to be one
session for the plan.
"""

from __future__ import annotations

import argparse
import sys
import tempfile
from collections.abc import Iterator, Sequence
from pathlib import Path
from random import Random
from time import monotonic

sys.path.insert(0, str(Path(__file__).resolve().parents[2]))
sys.path.insert(0, str(Path(__file__).resolve().parents[1]))

from in_the_room import furnish_home, prepared
from killed import BEGAN, NEVER, PERSON, Left, cut_anywhere, in_a_room, one_day, room_child
from killed_commands import TRIALS, Tally, furnish, try_it
from rich.console import Console
from rich.table import Table

from coach.cli.session_setup import prepare
from coach.logbook.store import Home
from coach.testing import RandomPerson, live_in


def points(wanted: int, seed: int) -> Left:
    """Kill until this many points are done."""
    left = Left()
    while left.points.total() < wanted:
        with tempfile.TemporaryDirectory() as root:
            one_day(Path(root), seed, left)
        seed += 1
    return left


def cuts(wanted: int, seed: int) -> Left:
    """Cut the files of ten sessions, this many cuts in all."""
    left = Left()
    for number in range(10):
        chance = Random(seed + number)
        with tempfile.TemporaryDirectory() as root, tempfile.TemporaryDirectory() as other:
            home = Home(Path(root), lambda: BEGAN)
            home.add_person(PERSON)
            today = prepare("ankle_steady").today
            store = live_in(home, PERSON, today, RandomPerson(chance, 0.005, 0.0))
            cut_anywhere(store.path, Path(other), chance, left, wanted // 10)
    return left


def rooms(wanted: int, seed: int) -> Left:
    """Kill this many sessions with sound."""
    left = Left()
    with tempfile.TemporaryDirectory() as root:
        furnish_home(Path(root), prepared())
        for number in range(seed, seed + wanted):
            in_a_room(Path(root), [sys.executable, __file__, "--room-child"], number, left)
    return left


def commands(wanted: int, seed: int) -> Table:
    """Kill each command this often; return a row each."""
    table = Table("command", "killed", "came to its end before", "not as it must be")
    with tempfile.TemporaryDirectory() as root:
        base = furnish(Path(root) / "base")
        for name, trial in TRIALS.items():
            tally, chance, most = Tally(), Random(seed), 1
            while not try_it(name, base, Path(root) / "try", seed, most, Tally()):
                most *= 2
            while tally.killed < wanted:
                drawn = chance.randint(0, 2**31)
                if name == "columns" or chance.random() < 0.3:
                    try_it(name, base, Path(root) / "try", drawn, NEVER, tally, chance.uniform(0.001, trial.seconds))
                else:
                    try_it(name, base, Path(root) / "try", drawn, chance.randint(1, most), tally)
            table.add_row(name, str(tally.killed), str(tally.ran_out), str(len(tally.wrong)))
            print(*tally.wrong, sep="\n", end="\n" if tally.wrong else "")
    return table


def _rows(found: Sequence[Left]) -> Iterator[tuple[str, list[str]]]:
    yield "tried", [", ".join(f"{name} {times}" for name, times in left.points.most_common()) for left in found]
    yield "in all", [str(left.points.total()) for left in found]
    yield "came to its end before its point", [str(left.ran_out) for left in found]
    yield "finished sets, found in the record", [f"{left.finished}, {left.found}" for left in found]
    yield "torn tails, named, kept aside", [f"{left.torn}, {left.named}, {left.aside}" for left in found]
    yield "sessions that died, closed as interrupted", [f"{left.died}, {left.closed}" for left in found]
    yield "taken up, to the end", [f"{left.taken_up}, {left.whole}" for left in found]
    yield "sets counted twice, beyond the plan", [f"{left.twice}, {left.beyond}" for left in found]
    yield "days that count as more than one session", [str(left.days) for left in found]
    yield "decisions, words, exports lost", [f"{left.decisions}, {left.words}, {left.archives}" for left in found]
    yield "not as it must be", [str(left.lost) for left in found]


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--points", type=int, default=1_000)
    parser.add_argument("--cuts", type=int, default=1_000)
    parser.add_argument("--rooms", type=int, default=20)
    parser.add_argument("--commands", type=int, default=0)
    parser.add_argument("--seed", type=int, default=0)
    parser.add_argument("--room-child", nargs=3, metavar=("HOME", "SEED", "AT"), help=argparse.SUPPRESS)
    asked = parser.parse_args()
    if asked.room_child:
        root, seed, at = asked.room_child
        room_child(Path(root), int(seed), int(at))
        return
    if asked.commands:
        Console().print(commands(asked.commands, asked.seed))
        return
    table = Table("what", "killed at a point", "cut at a byte", "killed in the room")
    began = monotonic()
    found = (points(asked.points, asked.seed), cuts(asked.cuts, asked.seed), rooms(asked.rooms, asked.seed))
    for what, told in _rows(found):
        table.add_row(what, *told)
    Console().print(table)
    print(f"took {monotonic() - began:.0f} s")


if __name__ == "__main__":
    main()
