"""Tell real commands to end at any moment, by Ctrl-C, SIGTERM or a closed terminal: is anything left half done?

    python tests/bench/told.py [--tries 200] [--seed 0] [--only log,today]

Each try runs a command as a process of its own, in a home with a person of some weeks, and sends it one signal, or the
same twice, at a moment drawn between its start and a little behind its usual end. It is to end within ten seconds, with
128 and the number of the signal, with one sentence at most and no traceback; or as ever, if it was done before; or
without a word as the system ends a process, while Python itself still starts or ends: a shell shows the same status. No
file is to be half-written, no temporary one left, and a session that had begun is to be closed with its reason.
"""

from __future__ import annotations

import argparse
import json
import os
import shutil
import signal
import subprocess
import sys
import tempfile
import time
from collections import Counter
from pathlib import Path
from random import Random

sys.path.insert(0, str(Path(__file__).resolve().parents[2]))
sys.path.insert(0, str(Path(__file__).resolve().parents[1]))

import numpy as np
import soundfile
from in_the_room import SMALL
from rich.console import Console
from rich.table import Table

from coach.logbook.store import Home
from coach.program_files import read, shipped
from coach.testing.histories import SimulatedCourse, write_history

PERSON = "mira"
WHY = {signal.SIGINT: "quit", signal.SIGTERM: "told_to_end", signal.SIGHUP: "hung_up"}
LONGEST = 10.0
"""Seconds within which a command that was told to end has ended."""

COMMANDS = {
    "start": ["start", "small.yaml", "--person", PERSON, "--recording", "quiet.wav", "--ears", "keys", "--anew"],
    "today": ["today", PERSON, "ankle_steady"],
    "decide": ["decide", PERSON, "heel_lowering", "stay", "--by", "Kim", "--program", "ankle_steady"],
    "log": ["log", PERSON],
    "review": ["review", PERSON, "--html", "out/r.html", "--csv", "out/r.csv", "--fhir", "out/r.json"],
    "clinic": ["review", "--clinic", "home", "--parquet", "out/columns", "--html", "out/c.html"],
    "export": ["export", PERSON, "out/e.zip"],
    "handout": ["handout", "ankle_steady", "--html", "out/h.html"],
    "rehearse": ["rehearse", "small.yaml", "--wav", "out/w.wav"],
    "enrol": ["enrol", PERSON, "--takes", "takes", "--words", "stop"],
    "forget": ["forget", "otto", "--yes", "otto"],
}


def furnish(root: Path) -> None:
    """Put a home, a program and recordings where the commands run."""
    home = Home(root / "home")
    for person in (PERSON, "otto"):
        write_history(home, person, read(shipped()["ankle_steady"]), SimulatedCourse(days=14), seed=1,
                      source=shipped()["ankle_steady"].read_bytes())  # fmt: skip
    (root / "small.yaml").write_text(SMALL, "utf-8")
    soundfile.write(root / "quiet.wav", np.zeros(1600), 16_000)
    (root / "takes").mkdir()
    (root / "out").mkdir()
    for number in range(2):
        tone = 0.3 * np.sin(np.arange(12_000) * (0.1 + 0.01 * number)) * np.hanning(12_000)
        soundfile.write(root / "takes" / f"stop_0{number}.wav", tone, 16_000)


def run(root: Path, words: list[str], told: tuple[float, signal.Signals, int] | None) -> tuple[int, str, float]:
    """Run a command; `told`: seconds to the signal, the signal, how often. Return status, error output, seconds."""
    began = time.monotonic()
    process = subprocess.Popen(
        [sys.executable, "-m", "coach", *words, "--home", "home"], cwd=root, stdout=subprocess.DEVNULL,
        stderr=subprocess.PIPE, stdin=subprocess.DEVNULL, text=True,
        env={**os.environ, "PYTHONPATH": str(Path(__file__).resolve().parents[2]), "TMPDIR": str(root / "tmp"),
             "PYTHONFAULTHANDLER": "1"},
    )  # fmt: skip
    if told is not None:
        after, number, times = told
        time.sleep(after)
        for _ in range(times):
            process.send_signal(number)
    asked = time.monotonic()
    try:
        _, err = process.communicate(timeout=120 if told is None else 3 * LONGEST)
    except subprocess.TimeoutExpired:
        process.kill()
        process.communicate()
        return -9, "it does not end", time.monotonic() - asked
    return process.returncode, err, time.monotonic() - (began if told is None else asked)


def amiss(root: Path, number: signal.Signals, status: int, err: str, took: float) -> list[str]:
    """Return what went wrong."""
    found = []
    if status not in (0, 2, 128 + number, -number):
        found.append("status")
    if "Traceback" in err or err.count("\n") > 1:
        found.append("words")
    if took > LONGEST:
        found.append("slow")
    left = [path for path in root.rglob("*") if path.name.endswith(".new") or path.name.startswith((".new-", ".part"))]
    left += [path for path in (root / "tmp").iterdir() if path.name.startswith("coach-")]
    if left:
        found.append("left over")
        print("left over:", *(path.relative_to(root) for path in left))
    for path in left:  # told once
        shutil.rmtree(path) if path.is_dir() else path.unlink()
    home = Home(root / "home")
    history = home.history(PERSON)
    if history.problems or any(not record.why for record in history.records):
        found.append("record")
    if any(path.stat().st_size == 0 for path in home.person(PERSON).sessions.glob("*.jsonl")):
        found.append("empty session")
    for path in (root / "out").rglob("*.json"):
        json.loads(path.read_text("utf-8"))
    return found


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--tries", type=int, default=200)
    parser.add_argument("--seed", type=int, default=0)
    parser.add_argument("--only", default=",".join(COMMANDS), help="commands, with commas")
    asked = parser.parse_args()
    signal.signal(signal.SIGINT, signal.default_int_handler)  # else, started with "&", what it runs ignores Ctrl-C, too
    chance = Random(asked.seed)
    commands = {name: COMMANDS[name] for name in asked.only.split(",")}
    tried: dict[str, Counter[str]] = {name: Counter() for name in commands}
    with tempfile.TemporaryDirectory() as name:
        root = Path(name)
        (root / "tmp").mkdir()
        furnish(root)
        usual = {}
        for command, words in commands.items():
            status, err, usual[command] = run(root, words, None)
            tried[command][f"as ever {status}"] += 1
            if status:
                print(command, status, err)
        for _ in range(asked.tries):
            command = chance.choice(list(commands))
            if command == "forget" and "otto" not in Home(root / "home").people():
                write_history(
                    Home(root / "home"), "otto", read(shipped()["ankle_steady"]), SimulatedCourse(days=7), seed=1
                )
            if chance.random() < 0.3:  # the coach's clips are rendered anew
                shutil.rmtree(root / "home" / "clips", ignore_errors=True)
            number = chance.choice(list(WHY))
            told = (chance.uniform(0.05, 1.1 * usual[command]), number, chance.choice((1, 1, 2)))
            status, err, took = run(root, COMMANDS[command], told)
            wrong = amiss(root, number, status, err, took)
            tried[command]["tried"] += 1
            tried[command]["told in time"] += status == 128 + number
            tried[command]["by the system"] += status == -number
            for one in wrong:
                tried[command][one] += 1
                print(command, told, status, one, err[-300:])
    kept = ("tried", "told in time", "by the system")
    table = Table("command", "usually, s", *kept, "not as it must be")
    for command, counts in tried.items():
        bad = {one: n for one, n in counts.items() if one not in kept and "as ever" not in one}
        table.add_row(command, f"{usual[command]:.1f}", *(str(counts[one]) for one in kept), str(bad))
    Console(width=130).print(table)


if __name__ == "__main__":
    main()
