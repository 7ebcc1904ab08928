"""How late is a halt, and how long does the loop stand still, on a disk that takes long for each line?

    python tests/bench/slow_disk.py [--seconds 30] [--disk 0 0.5 1 3]

A session at the pace of a real device (20 ms of sound in 20 ms), a hum for a voice, keys for replies. "stop" is pressed
every two seconds; late: from the press to the mixer's silence. Each disk twice: with the record brought to it by the
thread of its own, as it is, and by the loop itself, as it would be without.
"""

from __future__ import annotations

import argparse
import sys
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass
from itertools import product
from pathlib import Path
from time import perf_counter, sleep

sys.path.insert(0, str(Path(__file__).resolve().parents[2]))
sys.path.insert(0, str(Path(__file__).resolve().parents[1]))

import numpy as np
from rich.console import Console
from rich.table import Table
from test_engine import QUIET, Desk, Lines, brief, engine

from coach.audio.mixer import Mixer
from coach.cli.session_setup import first_line
from coach.loglines.kinds import Fact
from coach.measuring import Measured
from coach.ports import Captured
from coach.record_writer import RecordWriter
from coach.session.state import State
from coach.tempo.units import RATE

EVERY = 2 * RATE
"""Samples between two presses of "stop"."""

MOST = 9
"""Presses; the tenth halt would end the session."""


@dataclass
class SlowLines(Lines):
    """A disk that takes this many seconds for each write."""

    takes: float = 0.0

    def flush(self) -> None:
        if self.waiting:
            sleep(self.takes)
        super().flush()


class Paced(Desk):
    """A device at the pace of the clock; `late` are the seconds that the loop left it waiting for."""

    def __init__(self, seconds: float) -> None:
        super().__init__(self._stops)
        self.began = perf_counter()
        self.until = self.began + seconds
        self.late: list[float] = []
        self.pressed: list[float] = []
        self.given = 0.0

    def _stops(self, _desk: Desk) -> str | None:
        if perf_counter() >= self.until:
            return "f"
        if self.now % EVERY or self.state in (State.HALTED, State.OPENING) or len(self.pressed) == MOST:
            return None
        self.pressed.append(perf_counter())
        return " "

    def read(self, timeout: float = 1.0) -> Captured | None:
        if self.given:
            self.late.append(perf_counter() - self.given)
        ahead = self.began + self.now / RATE - perf_counter()
        if ahead > 0:
            sleep(ahead)
        captured = super().read(timeout)
        self.given = perf_counter()
        return captured


def measured(seconds: float, disk: float, in_loop: bool) -> tuple[float, list[float], int, int]:
    """Return the longest stretch of the loop and the delay of each halt, in seconds; lines on the disk, and taken."""
    if in_loop:

        def at_once(writer: RecordWriter, at: int, it: Fact) -> None:
            writer._store.take(at, it)
            writer._store.flush()

        setattr(RecordWriter, "append", at_once)  # noqa: B010 - for the whole of this process
    ready = brief(QUIET.replace("reps: 3", "reps: 30").replace("halts: 3", "halts: 10"))
    desk, lines, silent = Paced(seconds), SlowLines(takes=disk), list[float]()

    class Watched(Mixer):
        def silence(self, now: int) -> None:
            silent.append(perf_counter())
            super().silence(now)

    begun = first_line(ready, session="s", person="mira", ears=("keys",), device="desk")
    engine(desk, lines, ready, Measured(), mixer=Watched()).run(begun)
    delays = [next(at for at in silent if at >= press) - press for press in desk.pressed]
    return max(desk.late), delays, len(lines.lines), len(lines.lines) + len(lines.waiting)


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--seconds", type=float, default=30.0)
    parser.add_argument("--disk", type=float, nargs="+", default=[0.0, 0.5, 1.0, 3.0])
    asked = parser.parse_args()
    table = Table(
        "disk, s", "written by", "loop stood, ms", "halts", "halt late, ms, p50", "worst", "lines on the disk"
    )
    cases = list(product(asked.disk, (False, True)))
    with ProcessPoolExecutor(len(cases)) as pool:
        futures = [pool.submit(measured, asked.seconds, disk, in_loop) for disk, in_loop in cases]
        for (disk, in_loop), future in zip(cases, futures, strict=True):
            stood, delays, written, taken = future.result()
            late = [1000 * one for one in delays]
            table.add_row(f"{disk:g}", "the loop" if in_loop else "a thread", f"{1000 * stood:.0f}", str(len(late)),
                          f"{np.median(late):.1f}", f"{max(late):.1f}", f"{written} of {taken}")  # fmt: skip
    Console().print(table)


if __name__ == "__main__":
    main()
