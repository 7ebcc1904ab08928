"""How long the commands of a person take whose sessions have become many, cold and warm, beside plain reading.

    python tests/bench/growth.py [--sessions 400,2000] [--torn 500] [--keep DIR]

Each figure is of the command as it is typed, in a process of its own, start of Python included. "cold": without the
records that were put together before; "warm": with them, the best of three, with the processor's seconds beside it,
which a machine that others use lengthens less. "naive": all sessions put together anew, which is measured once, in
processor's seconds, times how often the command asked for them before there was such a file (log 1, today 3, review 1,
start 6): a reckoning. "plain": a loop over the JSON lines that proves nothing. `start` is asked to take up what never
broke off, which it refuses once all is read. Then `log` of a home of 40 sessions, and of the same home when its newest
ends in a torn line of so many MB: seconds and memory. Prints tables; never fails on a time. `--keep` leaves the homes
there and takes those that are there already.
"""

from __future__ import annotations

import argparse
import os
import shutil
import subprocess
import sys
import tempfile
from datetime import date, timedelta
from pathlib import Path

ROUND = 100
"""Days that are simulated; further sessions are copies of them, dated earlier."""
ASKED = {"log": 1, "today": 3, "review": 1, "start": 6}
COMMANDS = {
    "log": ["log", "ada"],
    "today": ["today", "ada"],
    "review": ["review", "ada"],
    "start": ["start", "--person", "ada", "--take-up"],
}
NAIVE = """
import sys
from pathlib import Path
from coach.cli import main
from coach.logbook.reading import read_history
read_history(sorted((Path(sys.argv[1]) / "people/ada/sessions").glob("*.jsonl")))
"""
PLAIN = """
import json, sys
from pathlib import Path
for path in sorted((Path(sys.argv[1]) / "people/ada/sessions").glob("*.jsonl")):
    for text in path.open(encoding="utf-8"):
        json.loads(text)
"""


TIMED = """
import os, sys, time
begun = time.perf_counter()
made = os.posix_spawn(sys.argv[1], sys.argv[1:], os.environ, file_actions=[
    (os.POSIX_SPAWN_OPEN, 0, os.devnull, os.O_RDONLY, 0), (os.POSIX_SPAWN_OPEN, 1, os.devnull, os.O_WRONLY, 0),
    (os.POSIX_SPAWN_OPEN, 2, os.devnull, os.O_WRONLY, 0)])
_, _, used = os.wait4(made, 0)
print(time.perf_counter() - begun, used.ru_utime + used.ru_stime, used.ru_maxrss / 1024)
"""
"""Starts a command from a process that is small itself: the memory of the one that starts it counts at first, too."""


def make(root: Path, sessions: int) -> None:
    """Write a home with this many sessions of one person, up to yesterday."""
    from coach.logbook.store import Home
    from coach.program_files import read, shipped
    from coach.testing.histories import SimulatedCourse, write_history

    path = shipped()["ankle_steady"]
    home, program = Home(root), read(path)
    course = SimulatedCourse(days=ROUND, adherence=1.0, decides=True, flare=(50, 4, 3))
    made = part = 0
    while made < sessions:
        part += 1
        begins = date.today() - timedelta(days=ROUND * part)  # noqa: DTZ011 - the command looks at the same clock
        made += len(
            write_history(home, "ada", program, course, seed=1, begins=begins, source=path.read_bytes()).sessions
        )
    for extra in sorted((root / "people/ada/sessions").glob("*.jsonl"))[: made - sessions]:
        extra.unlink()


def run(words: list[str]) -> tuple[float, float, float]:
    """Return the seconds, the processor's seconds and the most MB of memory of a command, whatever it says."""
    told = subprocess.run([sys.executable, "-c", TIMED, *words], check=True, capture_output=True, text=True).stdout
    seconds, processor, memory = map(float, told.split())
    return seconds, processor, memory


def rows(root: Path, sessions: int) -> None:
    """Print a line for each command."""
    kept = root / "people/ada/.records"
    plain = min(run([sys.executable, "-c", PLAIN, str(root)])[0] for _ in range(2))
    naive = run([sys.executable, "-c", NAIVE, str(root)])[1]
    for name, words in COMMANDS.items():
        typed = [sys.executable, "-m", "coach", *words, "--home", str(root)]
        kept.unlink(missing_ok=True)
        cold = run(typed)
        warm = min(run(typed) for _ in range(3))
        figures = "".join(f"{one:9.2f}" for one in (naive * ASKED[name], plain, *cold[:2], *warm))
        print(f"{sessions:8} {name:8}{figures}", flush=True)


def torn(root: Path, size: int) -> None:
    """Print what a torn line of `size` MB costs."""
    newest = max((root / "people/ada/sessions").glob("*.jsonl"))
    for grown in (0, size):
        with newest.open("ab") as file:
            for _ in range(grown):
                file.write(b"x" * 1_000_000)
        seconds, _, memory = run([sys.executable, "-m", "coach", "log", "ada", "--home", str(root)])
        print(f"log with a torn line of {grown} MB: {seconds:.2f} s, {memory:.0f} MB", flush=True)


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--sessions", default="400,2000", help="how many, one or more numbers")
    parser.add_argument("--torn", type=int, default=500, help="MB of the torn line; 0: none")
    parser.add_argument("--keep", type=Path, help="where the homes are made and left")
    args = parser.parse_args()
    print(f"load of the machine before: {os.getloadavg()[0]:.1f}, cores: {os.cpu_count()}")
    with tempfile.TemporaryDirectory() as made:
        folder = args.keep or Path(made)
        heads = ("~naive s", "plain s", "cold s", "cpu s", "warm s", "cpu s", "MB")
        print(f"{'sessions':>8} {'command':8}" + "".join(f"{head:>9}" for head in heads))
        for sessions in map(int, args.sessions.split(",")):
            root = folder / f"home-{sessions}"
            if not root.exists():
                make(root, sessions)
            rows(root, sessions)
        if args.torn:
            few = Path(made) / "torn"
            make(few, 40)
            torn(few, args.torn)
            shutil.rmtree(few)


if __name__ == "__main__":
    main()
