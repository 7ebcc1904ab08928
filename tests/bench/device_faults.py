"""What does a session do when the sound fails in mid-rep? On a private PulseAudio that is broken in every way.

    python tests/bench/device_faults.py [--only gone,...] [--lasts 8]

Each fault comes in the slow phase of the second rep and is undone `--lasts` seconds later; the person presses "ready"
whenever the coach waits for it. Times are those of the system's own clock, in both processes. "held" is from the fault
to the moment the session leaves the work; "reps in the fault" are those counted between the two ends of the fault.
"""

from __future__ import annotations

import argparse
import contextlib
import json
import os
import signal
import subprocess
import sys
import tempfile
import threading
import time
from collections.abc import Callable
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

sys.path.insert(0, str(Path(__file__).resolve().parents[2]))
sys.path.insert(0, str(Path(__file__).resolve().parents[1]))
sys.path.insert(0, str(Path(__file__).resolve().parent))

from pulse import ANSWER, NoPulseError, feed_noise, pulse_server, start_server

LONGEST = 180
"""Seconds that a session may take, with its fault."""

Env = dict[str, str]


@dataclass
class Broken:
    """What a fault acts on."""

    env: Env
    stack: contextlib.ExitStack
    coach: int
    """Process id of the session."""
    left: list[subprocess.Popen[bytes]] = field(default_factory=list)

    def pactl(self, *words: str) -> str:
        asked = subprocess.run(
            ["pactl", *words], env=self.env, check=False, capture_output=True, text=True, timeout=ANSWER
        )
        return asked.stdout.strip()

    def ours(self, what: str) -> str:
        """Return the number of the session's "sink-inputs" or "source-outputs"."""
        for block in self.pactl("list", what).split("\n\n"):
            if f'application.process.id = "{self.coach}"' in block:
                return block.split("#", 1)[1].split()[0]
        return "-1"

    def unload(self, *sinks: str) -> None:
        for line in self.pactl("list", "short", "modules").splitlines():
            if any(f"sink_name={sink}" in line for sink in sinks):
                self.pactl("unload-module", line.split()[0])

    def load(self, sink: str, rate: int = 16_000) -> None:
        self.pactl("load-module", "module-null-sink", f"sink_name={sink}", f"rate={rate}", "channels=1")
        feed_noise(sink, self.env, self.stack)
        self.pactl("set-default-sink", "spk")
        self.pactl("set-default-source", "spk.monitor")

    def microphone_apart(self) -> None:
        """Give the session a microphone that can be suspended: PulseAudio refuses that for the monitor of a sink."""
        self.pactl("load-module", "module-remap-source", "source_name=apart", "master=spk.monitor")
        self.pactl("set-default-source", "apart")

    def load_all(self) -> None:
        self.load("mic")
        self.load("spk")

    @property
    def server(self) -> int:
        return int((Path(self.env["PULSE_RUNTIME_PATH"]) / "pid").read_text())

    def start_again(self) -> None:
        (Path(self.env["PULSE_RUNTIME_PATH"]) / "pid").unlink(missing_ok=True)
        start_server(self.env, self.stack)
        for name in ("spk", "mic"):
            feed_noise(name, self.env, self.stack)

    def burn(self) -> None:
        """Keep both cores busy twice over."""
        for _ in range(2 * (os.cpu_count() or 1)):
            self.left.append(subprocess.Popen([sys.executable, "-c", "while True: pass"]))

    def cool(self) -> None:
        for each in self.left:
            each.kill()
            each.wait()


Act = Callable[[Broken], object]

FAULTS: dict[str, tuple[str, Act, Act]] = {
    "none": ("nothing at all", lambda _: None, lambda _: None),
    "sink_suspended": (
        "speaker suspended",
        lambda b: b.pactl("suspend-sink", "spk", "1"),
        lambda b: b.pactl("suspend-sink", "spk", "0"),
    ),
    "source_suspended": (
        "microphone suspended",
        lambda b: b.pactl("suspend-source", "apart", "1"),
        lambda b: b.pactl("suspend-source", "apart", "0"),
    ),
    "source_muted": (
        "microphone all zero",
        lambda b: b.pactl("set-source-mute", "spk.monitor", "1"),
        lambda b: b.pactl("set-source-mute", "spk.monitor", "0"),
    ),
    "gone": ("both pulled out, back again", lambda b: b.unload("spk"), lambda b: b.load("spk")),
    "other_rate": ("both pulled out, back at 48 kHz", lambda b: b.unload("spk"), lambda b: b.load("spk", 48_000)),
    "all_gone": (
        "every device pulled out, back again",
        lambda b: b.unload("mic", "spk"),
        Broken.load_all,
    ),
    "moved_mic": (
        "microphone moved to another device",
        lambda b: b.pactl("move-source-output", b.ours("source-outputs"), "mic.monitor"),
        lambda b: b.pactl("move-source-output", b.ours("source-outputs"), "spk.monitor"),
    ),
    "default": (
        "another default device",
        lambda b: (b.pactl("set-default-sink", "mic"), b.pactl("set-default-source", "mic.monitor")),
        lambda b: (b.pactl("set-default-sink", "spk"), b.pactl("set-default-source", "spk.monitor")),
    ),
    "moved_speaker": (
        "speaker moved to another device",
        lambda b: b.pactl("move-sink-input", b.ours("sink-inputs"), "mic"),
        lambda b: b.pactl("move-sink-input", b.ours("sink-inputs"), "spk"),
    ),
    "sink_muted": (
        "speaker turned off, still taking sound",
        lambda b: b.pactl("set-sink-input-mute", b.ours("sink-inputs"), "1"),
        lambda b: b.pactl("set-sink-input-mute", b.ours("sink-inputs"), "0"),
    ),
    "server_stands": (
        "sound server stands still",
        lambda b: os.kill(b.server, signal.SIGSTOP),
        lambda b: os.kill(b.server, signal.SIGCONT),
    ),
    "server_killed": (
        "sound server killed, started again",
        lambda b: os.kill(b.server, signal.SIGKILL),
        lambda b: b.start_again(),
    ),
    "asleep": (
        "the coach stopped, as by sleep",
        lambda b: os.kill(b.coach, signal.SIGSTOP),
        lambda b: os.kill(b.coach, signal.SIGCONT),
    ),
    "load": ("both cores busy twice over", Broken.burn, Broken.cool),
}
"""Id to what it is called, how it comes and how it is undone."""


PREPARED: dict[str, Act] = {"source_suspended": Broken.microphone_apart}
"""What is done before the session begins."""


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--only", default=",".join(FAULTS), help="ids of faults, with commas")
    parser.add_argument("--lasts", type=float, default=8.0, help="seconds of each fault")
    parser.add_argument("--told", action="store_true", help="print all that a session told, in seconds from the fault")
    parser.add_argument("--child", action="store_true", help=argparse.SUPPRESS)
    args = parser.parse_args()
    if args.child:
        _session()
        return 0
    print(f"{'fault':38}{'held, s':>8} {'said or shown':34}{'back, s':>8}{'reps in it':>11}  the end")
    for name in args.only.split(","):
        try:
            with pulse_server() as env, contextlib.ExitStack() as stack:
                told = _run(name, args.lasts, env, stack)
            print(_row(name, told), flush=True)
            if args.told:
                _print_told(told)
        except NoPulseError as error:
            print(f"device_faults: not measured, {error}")
            return 0
    return 0


def _run(name: str, lasts: float, env: Env, stack: contextlib.ExitStack) -> list[dict[str, Any]]:
    """Run a session with one fault; return its reports and what was done to it."""
    _, fault, undo = FAULTS[name]
    if name in PREPARED:
        PREPARED[name](Broken(env, stack, 0))
    # A pipe that nobody reads would stop the sound library.
    errors = stack.enter_context(tempfile.TemporaryFile())  # noqa: SIM115  the stack closes it
    child = subprocess.Popen(
        [sys.executable, __file__, "--child"],
        env=env | {"PYTHONPATH": str(Path(__file__).resolve().parents[2])},
        stdout=subprocess.PIPE,
        stderr=errors,
        text=True,
    )
    assert child.stdout is not None
    told: list[dict[str, Any]] = []
    ready = threading.Event()

    def listen() -> None:
        assert child.stdout is not None
        for line in child.stdout:
            told.append(json.loads(line))
            if told[-1].get("rep") == 2:
                ready.set()
        ready.set()

    listener = threading.Thread(target=listen, daemon=True)
    listener.start()
    broken = Broken(env, stack, child.pid)
    try:
        _must_be_reached(ready)
        time.sleep(1.5)  # into the slow phase
        told.append({"t": time.monotonic(), "fault": True})
        fault(broken)
        time.sleep(lasts)
        undo(broken)
        told.append({"t": time.monotonic(), "undone": True})
        child.wait(LONGEST)
    except (subprocess.SubprocessError, OSError) as error:
        hangs = isinstance(error, subprocess.TimeoutExpired)
        told.append({"t": time.monotonic(), "why": "did not end in time" if hangs else str(error)})
    finally:
        broken.cool()
        child.kill()
        child.wait()
    listener.join(ANSWER)
    if not any("why" in each for each in told):
        errors.seek(0)
        lines = errors.read().decode(errors="replace").strip().splitlines()
        told.append({"t": time.monotonic(), "why": (lines or ["died"])[-1]})
    return sorted(told, key=lambda each: float(each["t"]))


def _must_be_reached(work: threading.Event) -> None:
    if not work.wait(LONGEST):
        raise OSError("the work was not reached: the machine is too busy")


def _row(name: str, told: list[dict[str, Any]]) -> str:
    fault = next((each["t"] for each in told if "fault" in each), told[-1]["t"])
    undone = next((each["t"] for each in told if "undone" in each), fault)
    after = [each for each in told if each["t"] > fault]
    held = next((each["t"] - fault for each in after if each.get("state", "working") != "working"), None)
    back = next((each["t"] - undone for each in after if each.get("state") == "working" and each["t"] > undone), None)
    shown = dict.fromkeys(
        str(said)
        for each in after
        if each["t"] < undone + 3
        for said in (*each.get("said", ()), *each.get("shown", ()))
    )
    reps = sum(1 for each in after if "counted" in each and each["t"] < undone)
    end = next((each for each in reversed(told) if "why" in each), {"why": "?"})
    held_text = f"{held:.2f}" if held is not None and held < undone - fault + 5 else "not"
    back_text = f"{back:.1f}" if held_text != "not" and back is not None else "-"
    return (
        f"{FAULTS[name][0]:38}{held_text:>8} {', '.join(shown)[:33]:34}{back_text:>8}{reps:>11}  "
        f"{end['why']}, counted {end.get('sum', '?')}, xruns {end.get('xruns', '?')}"
    )


def _print_told(told: list[dict[str, Any]]) -> None:
    began = next((each["t"] for each in told if "fault" in each), told[0]["t"])
    for each in told:
        print(f"{each['t'] - began:8.2f}", *(f"{key} {what}" for key, what in each.items() if key != "t"))


def _session() -> None:
    """Run a session on the real stream and print one line per change in it."""
    from in_the_room import PERSON
    from test_engine import ANSWERS, QUIET, Clips, Lines, brief

    from coach.audio.stream import Stream, sleepless_clock
    from coach.cli.session_setup import first_line
    from coach.ears.front import Ears
    from coach.ears.keys import Keys
    from coach.engine import Assignment, Engine, Equipment, Hooks, within
    from coach.errors import CoachError
    from coach.measuring import Measured
    from coach.ports import Captured
    from coach.session.events import On
    from coach.session.state import State
    from coach.snapshot import Snapshot
    from coach.tempo.units import RATE

    def tell(**what: object) -> None:
        print(json.dumps({"t": time.monotonic(), **what}), flush=True)

    class Answered(Stream):
        """The stream, with somebody at the keyboard who answers once the coach has fallen silent."""

        keys = Keys()
        engine: Engine
        quiet_for = 0
        seen = 0
        said = 0
        before: tuple[object, ...] = ()
        holes = 0
        told_at = 0.0

        def read(self, timeout: float = 1.0) -> Captured | None:
            captured = super().read(timeout)
            self.holes += captured is None
            if time.monotonic() >= self.told_at + 10:
                self.told_at = time.monotonic()
                tell(sound=round(self.engine.seconds, 1), holes=self.holes)
            self.report()
            if captured is not None:
                self.quiet_for = 0 if captured.played.any() else self.quiet_for + len(captured.mic)
                if self.quiet_for == RATE and (reply := ANSWERS.get(self.engine.session.state)):
                    self.keys.press(reply)
            return captured

        def report(self) -> None:
            for _, event in measured.events[self.seen :]:
                if event.on is On.REP_DONE:
                    tell(counted=event.number)
            said = [one.phrase.key for one in measured.soundings[self.said :] if one.phrase is not None]
            if self.engine.session.state is not State.WORKING and said:
                tell(said=said)
            self.seen, self.said = len(measured.events), len(measured.soundings)
            running = self.engine.session.open_set
            now = (str(self.engine.session.state), running.rep if running else 0)
            if now != self.before:
                self.before = now
                tell(state=now[0], rep=now[1])

    shown: set[str] = set()

    def show(snapshot: Snapshot) -> None:
        stream.report()
        new = set(snapshot.warnings) - shown
        shown.clear()
        shown.update(snapshot.warnings)
        if new:
            tell(shown=sorted(new))

    measured, lines = Measured(), Lines()
    ready = brief(QUIET.replace("sets: 2, reps: 3", "sets: 1, reps: 5"))
    stream = Answered(clock=sleepless_clock, within=within)
    engine = Engine(
        Assignment(ready.today, ready.pack),
        Equipment(stream, Clips(), Ears([stream.keys]), lines),
        Hooks(show=show, measured=measured),
    )
    stream.engine = engine
    begun = first_line(ready, session="s", person=PERSON, ears=("keys",), device="pulse")
    try:
        why = engine.run(begun)
    except CoachError as error:
        why = str(error)
    counted = sum(int(fields["counted"]) for fields in lines.of("set_ended"))
    tell(why=why, sum=counted, xruns=stream.xruns)


if __name__ == "__main__":
    raise SystemExit(main())
