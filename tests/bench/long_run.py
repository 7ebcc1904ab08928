"""Does anything grow, fail or slow down in hours of sessions in one process?

    python tests/bench/long_run.py [--hours 8]        simulated: whole sessions in the virtual room, one after the other
    python tests/bench/long_run.py --minutes 30       real stream on a private PulseAudio, as with headphones

A row an hour (on the real stream one a session, with the minutes left): memory now, open files and threads, from "stop"
by key to the halt, and, simulated, how far counts and ticks sound off their samples. Nothing here fails on a figure;
the last line says what grew from the first row to the last.
"""

from __future__ import annotations

import argparse
import gc
import os
import subprocess
import sys
import tempfile
import threading
import time
from collections.abc import Callable
from dataclasses import dataclass, field, replace
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).resolve().parents[2]))
sys.path.insert(0, str(Path(__file__).resolve().parents[1]))
sys.path.insert(0, str(Path(__file__).resolve().parent))

from in_the_room import PERSON, SCRIPT, SMALL, Furnished, Outcome, Tape, furnish_home, prepared, press, session
from pulse import NoPulseError, pulse_server
from session import lag

from coach.audio.sounds import tick
from coach.audio.stream import Stream
from coach.cli.session_setup import Prepared, first_line
from coach.ears.front import Ears
from coach.ears.keys import Keys
from coach.engine import Assignment, Engine, Equipment
from coach.ports import Block, Captured
from coach.session.state import Question, State
from coach.tempo.units import RATE, to_samples, to_seconds
from coach.words.phrases import phrase, sentence

PROGRAM = (
    SMALL.replace("halts: 3", "halts: 10")
    .replace("minutes: 30", "minutes: 120")
    .replace("cut_sets: 2", "cut_sets: 3")
    .replace("sets: 2, reps: 3, rest: 5 s", "sets: SETS, reps: 10, rest: 20 s")
    .replace("{raise: 1 s, lower: 3 s}, guide: tone", "{raise: 2 s, lower: 4 s}, guide: both")
)
"""Longer sets than the short program's, which may be halted more often."""
SETS_A_SESSION = 8
MISSING = RATE
"""The error of a beat that is not within 100 ms of its place."""
HALT_IN = 2
"""How many sets of a session are halted once, in their middle, by key."""


@dataclass
class Row:
    """One stretch of the run."""

    sessions: int = 0
    seconds: float = 0.0
    """Of session."""
    wall: float = 0.0
    """Seconds that it took."""
    halts: list[float] = field(default_factory=list)
    """Milliseconds from a press of "stop" to the halt, which fades everything within 5 ms more."""
    beats: list[int] = field(default_factory=list)
    """Samples by which counts and ticks sound off their places."""
    ends: list[str] = field(default_factory=list)
    memory: float = 0.0
    """MB resident at its end."""
    handles: int = 0
    threads: int = 0


def resident() -> float:
    """Return the memory that this process has resident now, in MB."""
    pages = int(Path("/proc/self/statm").read_text().split()[1])
    return pages * os.sysconf("SC_PAGE_SIZE") / 1024**2


def measured(row: Row) -> Row:
    """Note what the process holds now."""
    gc.collect()
    row.memory, row.handles, row.threads = (
        resident(),
        len(list(Path("/proc/self/fd").iterdir())),
        threading.active_count(),
    )
    return row


class Halting:
    """Presses the key that halts once in the middle of each of the first sets."""

    def __init__(self) -> None:
        self.pressed: list[int] = []

    def __call__(self, tape: Tape) -> None:
        running = tape.session.open_set
        due = running is not None and running.number == len(self.pressed) + 1 and running.rep >= 3
        if due and tape.state is State.WORKING and tape.sounding and len(self.pressed) < HALT_IN:
            self.pressed.append(tape.now)
            press(tape, " ")


def beats(ran: Outcome, furnished: Furnished, ready: Prepared) -> list[int]:
    """Return the errors, in samples, of the counts and the second ticks of sets that nobody halted."""
    voice = furnished.voice(ready)
    begun = ran.times("go")
    halts = ran.times("stop")
    found: list[int | None] = []
    for go in begun:
        if any(abs(go - halt) <= to_samples(70.0) for halt in halts):  # halted, or gone on with in its middle
            continue
        for number in (1, 5, 10):
            at = go + to_samples((number - 1) * 6.0)
            if at + to_samples(6.0) > ran.tape.now:
                continue
            count = voice.clip(sentence(ready.pack, phrase("count", n=number)))[: to_samples(0.3)]
            found += [lag(ran, count, at), lag(ran, tick(), at + to_samples(1.0))]
    return [MISSING if error is None else error for error in found]


def simulated(hours: float) -> list[Row]:
    """Run whole sessions in the virtual room for this many hours of session time."""
    rows = [Row()]
    with tempfile.TemporaryDirectory() as folder:
        ready = prepared(PROGRAM.replace("SETS", str(SETS_A_SESSION)), "long.yaml")
        ready = replace(ready, today=replace(ready.today, first_session=False))
        furnished = furnish_home(Path(folder), ready)
        print(HEAD, flush=True)
        done = 0.0
        while done < hours * 3600:
            row, halting, began = rows[-1], Halting(), time.perf_counter()
            ran = session(furnished, ready, script=SCRIPT, act=halting, seed=sum(one.sessions for one in rows))
            row.wall += time.perf_counter() - began
            row.sessions += 1
            row.seconds += ran.seconds
            row.ends.append(ran.why)
            stops = ran.times("stop")
            row.halts += [to_seconds(at - pressed) * 1000 for at, pressed in zip(stops, halting.pressed, strict=True)]
            row.beats += beats(ran, furnished, ready)
            done += ran.seconds
            del ran
            if done >= 3600 * len(rows) or done >= hours * 3600:
                print(told(len(rows), measured(row)), flush=True)
                rows.append(Row())
    return rows[:-1]


def told(number: int, row: Row) -> str:
    halts = f"{np.percentile(row.halts, 50):8.0f} / {max(row.halts):.0f}" if row.halts else "       -"
    worst = f"{max(map(abs, row.beats))} of {len(row.beats)}" if row.beats else "-"
    ends = {why: row.ends.count(why) for why in sorted(set(row.ends))}
    return (
        f"{number:4}{row.sessions:10}{row.seconds / max(row.wall, 1e-9):13.1f}{row.memory:8.0f}{row.handles:7}"
        f"{row.threads:9}{halts:>18}{worst:>16}   {ends}"
    )


# -- the real stream ---------------------------------------------------------------------------------------------------


class Pressing:
    """The real stream as a Device; presses the keys of a healthy person, and measures each halt."""

    rate = RATE

    def __init__(self, until: float) -> None:
        self.stream = Stream()
        self.engine: Engine | None = None
        self.keys = Keys()
        self.row = Row()
        self._until = until
        self._now = self._pressed_at = 0
        self._halts = 0
        self._halt_at = -1
        """Frame at which a halt was pressed that has not come yet; -1: none."""

    def open(self, render: Callable[[int, int], Block]) -> None:
        self.stream.open(render)

    def close(self) -> None:
        self.stream.close()

    def read(self, timeout: float = 1.0) -> Captured | None:
        """Return the next stretch; somebody presses Ctrl-C when the time is over."""
        if time.monotonic() > self._until:
            raise KeyboardInterrupt
        captured = self.stream.read(timeout)
        if captured is not None:
            self._now = captured.at + len(captured.mic)
            self._measure(captured)
            self._press()
        return captured

    def _measure(self, captured: Captured) -> None:
        assert self.engine is not None
        if self._halt_at >= 0 and self.engine.session.state is State.HALTED:
            self.row.halts.append(to_seconds(captured.at - self._halt_at) * 1000)
            self._halt_at = -1

    def _press(self) -> None:
        assert self.engine is not None
        now = self.engine.session
        running = now.open_set
        if now.state is State.WORKING and running is not None and running.number > self._halts and running.rep >= 3:
            self._halts, self._halt_at = running.number, self._now
            self.keys.press(" ")
            return
        if self._now - self._pressed_at < to_samples(3.0):
            return
        key = ANSWERS.get(now.state, "")
        if now.state is State.ASKING:
            key = "y" if now.asked_about is Question.REPS else "2"
        if key:
            self._pressed_at = self._now
            self.keys.press(key)


ANSWERS = {
    State.CHECKING: "r", State.WAITING: "r", State.PAUSED: "r", State.STILL: "r", State.RECOVERING: "r",
    State.SCREENING: "n", State.SCREEN_CHECK: "y", State.CONFIRMING: "y", State.HALTED: "b",
}  # fmt: skip


def streamed(minutes: float) -> None:
    """Run sessions on the real stream, one after the other, and print a row each."""
    with tempfile.TemporaryDirectory() as folder:
        ready = prepared(PROGRAM.replace("SETS", "1"), "long.yaml")
        ready = replace(ready, today=replace(ready.today, first_session=False))
        furnished = furnish_home(Path(folder), ready)
        voice = furnished.voice(ready)
        until = time.monotonic() + 60.0 * minutes
        print(HEAD, "  xruns  CPU", flush=True)
        while time.monotonic() < until:
            device, store = Pressing(until), furnished.home.begin(PERSON)
            ears = Ears([device.keys, *(ear for ear in furnished.ears().ears if ear.name != "keys")])
            engine = Engine(Assignment(ready.today, ready.pack), Equipment(device, voice, ears, store))
            device.engine = engine
            cpu, began = time.process_time(), time.perf_counter()
            why = engine.run(first_line(ready, session=store.session, person=PERSON, ears=ears.names, device="stream"))
            row = device.row
            row.wall, row.seconds, row.sessions = time.perf_counter() - began, engine.seconds, 1
            row.ends.append(why)
            more = f"{device.stream.xruns:7}{(time.process_time() - cpu) / row.wall:8.1%}"
            del engine
            print(told(round((until - time.monotonic()) / 60), measured(row)), more, flush=True)


HEAD = "hour  sessions  x real time  MB  handles  threads  press to halt p50 / worst ms  beat worst  ended as"


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--hours", type=float, default=8.0, help="hours of simulated sessions (default 8)")
    parser.add_argument("--minutes", type=float, help="minutes on the real stream instead")
    parser.add_argument("--child", action="store_true", help=argparse.SUPPRESS)
    asked = parser.parse_args()
    if asked.child:
        streamed(asked.minutes)
    elif asked.minutes:
        try:
            with pulse_server() as env:
                child = [sys.executable, __file__, "--child", "--minutes", str(asked.minutes)]
                headphones = env | {"PULSE_SOURCE": "mic.monitor"}
                return subprocess.run(child, env=headphones, check=False).returncode
        except NoPulseError as error:
            print(f"long_run: not measured, {error}")
    else:
        rows = simulated(asked.hours)
        first, last = rows[0], rows[-1]
        print(
            f"from the first row to the last: memory {last.memory - first.memory:+.0f} MB, "
            f"handles {last.handles - first.handles:+}, threads {last.threads - first.threads:+}"
        )
    return 0


if __name__ == "__main__":
    raise SystemExit(main())
