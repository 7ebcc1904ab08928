"""How long a clinic takes, cold from its logbooks and from columns, beside a plain loop over the same lines.

    python tests/bench/clinic.py [--people 20,60,200] [--days 365] [--keep DIR]

Each figure is taken in a process of its own, so that memory is that of it alone. Made-up people, a year each. `--keep`
leaves the homes there and takes those that are there already.
"""

from __future__ import annotations

import argparse
import json
import os
import resource
import subprocess
import sys
import tempfile
import time
from collections import Counter
from collections.abc import Callable
from datetime import date, timedelta
from pathlib import Path

BEGINS = date(2025, 1, 6)
PROGRAMS = ("ankle_steady", "elbow_lowering", "kneecap_steady")


def make(root: Path, people: int, days: int) -> None:
    """Write a home with this many people, all different."""
    from coach.logbook.store import Home
    from coach.program_files import read, shipped
    from coach.testing.histories import SimulatedCourse, write_history

    home = Home(root)
    programs = [read(shipped()[name]) for name in PROGRAMS]
    for number in range(people):
        course = SimulatedCourse(
            days=days,
            adherence=0.28 + 0.05 * (number % 11),
            pain=(2, 1) if number % 4 else (1, 4),
            flare=(days // 2 + number % 60, 7, 3),
        )
        write_history(home, f"p{number:03d}", programs[number % 3], course, seed=number, begins=BEGINS)


def cold(root: Path) -> str:
    """Review the clinic from its logbooks, checking each line's checksum."""
    from coach.review.clinic import look
    from coach.review.columns import open_clinic

    review = look(open_clinic(root), BEGINS + timedelta(days=364))
    return f"{review.sessions} {review.sets} {len(review.left_out)}"


def columns(root: Path) -> str:
    """Review it from columns."""
    return cold(root / "columns")


def export(root: Path) -> str:
    """Write the columns."""
    from coach.review.columns import open_clinic, write_columns

    write_columns(open_clinic(root), root / "columns")
    return ""


def loop(root: Path) -> str:
    """Go through the JSON lines in plain Python: sessions, sets, and the highest pain of each; nothing is proven."""
    sessions: Counter[str] = Counter()
    sets = 0
    pain: dict[str, int] = {}
    for path in root.glob("people/*/sessions/*.jsonl"):
        for text in path.read_text("utf-8").splitlines():
            line = json.loads(text)
            if line["line"] == "session_begun":
                sessions[path.parts[-3]] += 1
            elif line["line"] == "set_ended":
                sets += 1
            elif line["line"] == "answered" and line["question"] == "pain" and isinstance(line["value"], int):
                pain[path.name] = max(pain.get(path.name, 0), line["value"])
    return f"{sum(sessions.values())} {sets} 0"


WAYS: dict[str, Callable[[Path], str]] = {"loop": loop, "cold": cold, "export": export, "columns": columns}


def measured(way: str, root: Path) -> tuple[float, float, float, str]:
    """Return seconds, those of processors, MB and what was told, in a process of its own, Python's start included."""
    begun = time.perf_counter()
    done = subprocess.run(
        [sys.executable, __file__, "--way", way, "--root", str(root)], check=True, capture_output=True, text=True
    )
    seconds = time.perf_counter() - begun
    told, cpu, memory = done.stdout.split("|")
    return seconds, float(cpu), float(memory), told


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--people", default="20,60,200", help="how many, one or more numbers")
    parser.add_argument("--days", type=int, default=365)
    parser.add_argument("--keep", type=Path, help="where the homes are made and left")
    parser.add_argument("--way", choices=WAYS, help=argparse.SUPPRESS)
    parser.add_argument("--root", type=Path, help=argparse.SUPPRESS)
    args = parser.parse_args()
    if args.way:
        told = WAYS[args.way](args.root)
        used = resource.getrusage(resource.RUSAGE_SELF)
        print(told, used.ru_utime + used.ru_stime, used.ru_maxrss // 1024, sep="|")
        return
    with tempfile.TemporaryDirectory() as made:
        folder = args.keep or Path(made)
        print(f"load of the machine before: {os.getloadavg()[0]:.1f}, cores: {os.cpu_count()}")
        print(
            f"{'people':>6} {'sessions':>8} {'sets':>8} {'MB':>6} "
            + " ".join(f"{way + ' s':>9} {'cpu s':>6} {'MB':>5}" for way in WAYS)
        )
        for people in map(int, args.people.split(",")):
            root = folder / f"clinic-{people}-{args.days}"
            if not root.exists():
                make(root, people, args.days)
            size = sum(path.stat().st_size for path in root.glob("people/*/sessions/*.jsonl")) / 1e6
            results = {way: measured(way, root) for way in WAYS}
            sessions, sets, _ = results["cold"][3].split()
            figures = " ".join(f"{wall:9.2f} {cpu:6.2f} {memory:5.0f}" for wall, cpu, memory, _ in results.values())
            print(f"{people:6} {sessions:>8} {sets:>8} {size:6.0f} {figures}", flush=True)


if __name__ == "__main__":
    main()
