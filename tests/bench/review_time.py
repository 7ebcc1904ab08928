"""How long the review of one person takes, as the command that somebody types, beside a plain loop over the same lines.

    python tests/bench/review_time.py [--days 84] [--runs 5]

Each row is a new process, start of Python included. The history is made by the generator; it is not part of any time.
Prints a table; never fails on a time. The last rows tell what the start and the plotting library alone cost.
"""

from __future__ import annotations

import argparse
import os
import subprocess
import sys
from dataclasses import replace
from datetime import date, timedelta
from pathlib import Path
from statistics import median
from tempfile import TemporaryDirectory
from time import perf_counter

from coach.logbook.store import Home
from coach.program_files import read, shipped
from coach.testing import SimulatedCourse, write_history

COURSE = SimulatedCourse(adherence=0.9, pain=(4, 2), flare=(40, 10, 2), halts=0.1, trouble=0.2)

PLAIN = """
import json, pathlib, sys
counted = tension = sets = lines = 0
for path in sorted(pathlib.Path(sys.argv[1]).glob("*.jsonl")):
    for text in path.open(encoding="utf-8"):
        line = json.loads(text)
        lines += 1
        if line["line"] == "set_ended":
            sets += 1
            counted += line["counted"] or 0
            tension += line["tension_s"] or 0
print(lines, sets, counted, round(tension))
"""


def timed(words: list[str], runs: int) -> tuple[float, float, float]:
    """Return the median and the longest of the seconds that a command takes, and the median of the processor's."""
    spent, worked = [], []
    for _ in range(runs):
        began, before = perf_counter(), os.times()
        subprocess.run(words, check=True, capture_output=True)
        after = os.times()
        spent.append(perf_counter() - began)
        worked.append(after.children_user + after.children_system - before.children_user - before.children_system)
    return median(spent), max(spent), median(worked)


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--days", type=int, default=84)
    parser.add_argument("--runs", type=int, default=5)
    asked = parser.parse_args()
    path, python = shipped()["ankle_steady"], sys.executable
    with TemporaryDirectory() as folder:
        home = Home(Path(folder))
        begins = date.today() - timedelta(days=asked.days)  # noqa: DTZ011 - the command looks at the same clock
        course = replace(COURSE, days=asked.days)
        true = write_history(home, "ada", read(path), course, seed=1, begins=begins, source=path.read_bytes())
        files = home.person("ada").sessions
        size = sum(file.stat().st_size for file in files.iterdir())
        lines = sum(file.read_bytes().count(b"\n") for file in files.iterdir())
        review = [python, "-m", "coach", "review", "ada", "--home", folder]
        html, table = Path(folder) / "ada.html", Path(folder) / "ada.csv"
        rows = (
            ("coach review ada --html", [*review, "--html", str(html)]),
            ("coach review ada --html --csv", [*review, "--html", str(html), "--csv", str(table)]),
            ("coach review ada (terminal)", review),
            ("plain loop over the JSON lines", [python, "-c", PLAIN, str(files)]),
            ("python alone", [python, "-c", "pass"]),
            ("import of the plotting library", [python, "-c", "import leather"]),
        )
        sets = sum(len(one.visit.sets) for one in true.sessions)
        print(f"{asked.days} days, {len(true.sessions)} sessions, {sets} sets, {lines} lines, {size / 1e6:.1f} MB")
        print(f"{'':34}{'median s':>9}{'longest s':>11}{'processor s':>13}")
        for name, words in rows:
            middle, longest, worked = timed(words, asked.runs)
            print(f"{name:34}{middle:9.2f}{longest:11.2f}{worked:13.2f}")
        print(f"{'the page':34}{html.stat().st_size / 1000:9.0f} kB")


if __name__ == "__main__":
    main()
