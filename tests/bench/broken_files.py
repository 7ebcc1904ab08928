"""Walk every command through every way in which something of a person cannot be read, and tell how it went.

    .venv/bin/python tests/bench/broken_files.py [--only "log,log PERSON"]

Each command is run in this process, at a copy of a home in which one thing is broken. A row a place and a way, a column
a command: "." went as it should, "!" did not (hung, ended in a traceback, took it for absent, named nothing).
"""

from __future__ import annotations

import argparse
import sys
import tempfile
import time
from collections import Counter
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parent.parent))

from broken_walk import COMMANDS, EVERY, template, walk


def run() -> None:
    """Print the table, what went wrong, and how much there was."""
    parser = argparse.ArgumentParser(description=(__doc__ or "").splitlines()[0])
    parser.add_argument("--only", default=",".join(COMMANDS), help="commands, with commas")
    only = parser.parse_args().only.split(",")
    began = time.monotonic()
    wrong: list[str] = []
    with tempfile.TemporaryDirectory() as folder:
        made = template(Path(folder) / "made")
        rows: dict[tuple[str, str], dict[str, str]] = {}
        for number, (command, place, how) in enumerate(one for one in EVERY if one[0] in only):
            room = Path(folder) / str(number)
            room.mkdir()
            found = walk(command, place, how, made, room)
            rows.setdefault((place, how), {})[command] = "!" if found.wrong else "."
            if found.wrong:
                wrong.append(f"{command} | {place} | {how}: {found.wrong}")
    for number, command in enumerate(COMMANDS):
        print(f"{number:2} {command}")
    for (place, how), row in rows.items():
        print(f"{place:16}{how:10}" + " ".join(row.get(command, " ") for command in COMMANDS))
    print(*wrong, sep="\n")
    walked = Counter(mark for row in rows.values() for mark in row.values())
    took = time.monotonic() - began
    print(f"{walked.total()} walked, {walked['.']} as they should, {walked['!']} not; {took:.0f} s")


if __name__ == "__main__":
    run()
