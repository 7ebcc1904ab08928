"""Does the whole reach what it must? One table: target, figure, count, and the naive way's figure beside it.

    python tests/bench/session.py [--each 4] [--beats 20] [--sessions 2000] [--skip demo,...]

Nothing fails on a figure. How each is measured:

beat      the sample at which a count or tick sounds in what was played, found by correlation with its clip, against
          the sample that the program's own seconds give, counted from the first rep
stop      see stops.py; a "stop" that was missed counts as endless
demo      `coach demo` in a process of its own: time and length by its record, memory by the system's high-water mark
cold      every sentence of a program rendered into an empty home; the slowest of the shipped programs
warm      process start of `coach start --room` to the first sample rendered that is not silence
core      whole random sessions without sound, every rule of the session checked at every event
"""

from __future__ import annotations

import argparse
import json
import random
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable
from datetime import datetime
from pathlib import Path

import numpy as np

HERE = Path(__file__).resolve()
sys.path[:0] = [str(HERE.parent), str(HERE.parents[1]), str(HERE.parents[2])]

Row = tuple[str, str, str, str, str]
"""What, target, measured, count, the naive way."""


def beat_rows(home: Path) -> list[Row]:
    """Beat error in the virtual room, beside a script that says a count to its end and then sleeps the phase."""
    from in_the_room import furnish_home, prepared, session
    from stops import PROGRAM, plain_beats

    ready = prepared(PROGRAM, "all_kinds.yaml")
    furnished = furnish_home(home, ready)
    ran = session(furnished, ready)
    errors, silent = beat_errors(ran, furnished.voice(ready), ready)
    plain = np.abs(plain_beats(furnished, ready)[1:]) / 16
    return [
        (
            "beat error, virtual room",
            "0 samples",
            f"max {max(map(abs, errors))} samples",
            f"{len(errors)} beats" + (f", {silent} not found" if silent else ""),
            f"say, sleep: median {np.median(plain):.0f} ms, last rep {plain[-1]:.0f} ms late",
        )
    ]


def beat_errors(ran: object, voice: object, ready: object) -> tuple[list[int], int]:
    """Return the error of every count and tick of reps in samples, and how many were not found where they belong."""
    from in_the_room import Outcome

    from coach.audio.sounds import tick
    from coach.cli.session_setup import Prepared
    from coach.ports import Voice
    from coach.program.model import Guide, Reps
    from coach.tempo.units import to_samples
    from coach.words.phrases import phrase, sentence

    assert isinstance(ran, Outcome)
    assert isinstance(ready, Prepared)
    speaking: Voice = voice  # type: ignore[assignment]
    work = ready.today.exercises[0].exercise.levels[0].dose.work
    assert isinstance(work, Reps)
    assert work.guide is Guide.BOTH
    errors: list[int] = []
    missing = 0
    period = sum(step.seconds for step in work.phases)
    sets = sum(1 for one in ran.record.sets if one.kind == "reps")
    for go in ran.times("go")[:sets]:
        for number in range(1, ready.today.exercises[0].target + 1):
            begins = go + to_samples((number - 1) * period)
            count = speaking.clip(sentence(ready.pack, phrase("count", n=number)))[: to_samples(0.3)]
            for clip, at in ((count, begins), (tick(), begins + to_samples(1.0))):  # a second into the first phase
                error = lag(ran, clip, at)
                if error is None:
                    missing += 1
                else:
                    errors.append(error)
    return errors, missing


def lag(ran: object, clip: np.ndarray, at: int) -> int | None:
    """Return by how many samples `clip` sounds off sample `at`, within 100 ms; None if it is not there."""
    from in_the_room import Outcome

    assert isinstance(ran, Outcome)
    reach = 1600
    heard = ran.tape.played_between(at - reach, at + len(clip) + reach).astype(np.float64)
    match = np.correlate(heard, clip, mode="valid")
    best = int(np.argmax(match))
    return best - reach if match[best] > 0.05 * float(np.dot(clip, clip)) else None


def stop_rows(home: Path, each: int) -> list[Row]:
    """Time from the end of "stop" to silence, all states and phases together; the table by state is printed too."""
    from in_the_room import furnish_home, prepared
    from rich.console import Console
    from stops import PROGRAM, coach_stops, plain_stops, row, table

    ready = prepared(PROGRAM, "all_kinds.yaml")
    furnished = furnish_home(home, ready)
    ours, left = coach_stops(furnished, ready, each)
    plain = plain_stops(furnished, ready, each)
    Console(width=130).print(table(ours, plain))
    if left:
        print("not reached as often as asked: " + ", ".join(left))
    count, heard, p50, p95, decided = row(ours)
    worst = max((row([s for s in ours if s.label == name])[2], name) for name in {s.label for s in ours})
    theirs = row(plain)
    naive_p50 = f"p50 {theirs[2]:.0f}, p95 {theirs[3]:.0f} ms, {theirs[1]} of {theirs[0]} heard"
    return [
        ("end of stop to quiet, p50", "<= 400 ms", f"{p50:.0f} ms", f"{heard} of {count} heard", naive_p50),
        ("end of stop to quiet, p95", "<= 700 ms", f"{p95:.0f} ms", f"{heard} of {count} heard", ""),
        ("the worst state's p50", "<= 400 ms", f"{worst[0]:.0f} ms ({worst[1]})", f"{each} each", ""),
        ("end of stop to the halt, p50", "", f"{decided:.0f} ms", f"{heard} of {count} heard", ""),
    ]


def demo_rows(home: Path) -> list[Row]:
    """The whole demo in a process of its own."""
    told = child("demo", home)
    real = told["session_s"] / told["wall_s"]
    return [
        ("demo, length of the session", ">= 8 min", f"{told['session_s'] / 60:.1f} min", "1", "as long as it takes"),
        ("demo, times real time", ">= 8", f"{real:.1f}", "1", "1"),
        ("demo, the same by CPU time", "", f"{told['session_s'] / told['cpu_s']:.1f}", "1", ""),
        ("demo, resident memory", "<= 250 MB", f"{told['memory_mb']:.0f} MB", "1", ""),
    ]


def cold_rows(_home: Path) -> list[Row]:
    """Rendering each shipped program into an empty home."""
    from coach.program_files import shipped

    took: list[tuple[float, str, int]] = []
    for program in shipped():
        with tempfile.TemporaryDirectory() as folder:
            told = child("render", Path(folder), program)
            took.append((told["seconds"], program, int(told["sentences"])))
    slowest = max(took)
    return [
        (
            "cold render of a program",
            "<= 10 s",
            f"{slowest[0]:.1f} s ({slowest[1]}, {slowest[2]} sentences)",
            f"{len(took)} programs",
            "see render_time.py",
        )
    ]


def warm_rows(home: Path) -> list[Row]:
    """Process start to the first word, everything rendered and taught before."""
    took = sorted(child("first_word", home)["seconds"] for _ in range(3))
    return [("warm start to the first word", "<= 2 s", f"{took[1]:.2f} s (worst {took[-1]:.2f})", "3 starts", "")]


def core_rows(sessions: int) -> list[Row]:
    """Random people in random programs, in the pure core, with the rules watched."""
    from in_the_room import TODAY

    from coach.session.plan import plan
    from coach.testing import RandomPerson, SoundlessRun, WatchedRun, live, random_history, random_program

    broken = 0
    began = time.perf_counter()
    for seed in range(sessions):
        chance = random.Random(seed)
        program = random_program(chance)
        today = plan(program, random_history(chance, program, TODAY), TODAY)
        try:
            live(WatchedRun(today), RandomPerson.any(chance))
        except AssertionError as error:
            broken += 1
            print(f"seed {seed}: {error}")
    watched = sessions / (time.perf_counter() - began)
    chance = random.Random(1)
    plans = [plan(random_program(chance), (), TODAY) for _ in range(200)]
    began = time.perf_counter()
    for today in plans:
        live(SoundlessRun(today), RandomPerson.any(chance))
    plain = len(plans) / (time.perf_counter() - began)
    return [
        ("random sessions in the core", ">= 100 a second", f"{plain:.0f} a second", f"{len(plans)}", ""),
        ("the same, rules watched", "0 broken", f"{broken} broken, {watched:.0f} a second", f"{sessions}", ""),
    ]


def stream_rows(beats: int) -> list[Row]:
    """The real stream on a private sound server, if there is one."""
    import stream_beat
    from pulse import NoPulseError, pulse_server

    try:
        with pulse_server() as env:
            found = {way: stream_beat._measure(way, beats, env) for way in stream_beat.WAYS}
    except NoPulseError as error:
        return [("beat error, real stream, p99", "<= 5 ms", f"not measured: {error}", "", "")]
    p99 = {way: float(np.percentile(errors, 99)) for way, (_, errors, _) in found.items()}
    naive = f"play(): {p99['play']:.1f} ms, write(): {p99['write']:.1f} ms"
    return [("beat error, real stream, p99", "<= 5 ms", f"{p99['stream']:.2f} ms", f"{beats} beats", naive)]


# -- processes of their own --------------------------------------------------------------------------------------------


def child(what: str, home: Path, *more: str) -> dict[str, float]:
    """Run one of CHILDREN in a new process; return what it found."""
    command = [sys.executable, str(HERE), "--child", what, str(home), str(time.time()), *more]
    ran = subprocess.run(command, check=True, stdout=subprocess.PIPE, text=True)
    found: dict[str, float] = json.loads(ran.stdout.splitlines()[-1])
    return found


def child_demo(home: Path, _began: float) -> dict[str, float]:
    from coach.cli import main
    from coach.logbook.store import Home

    main(["rehearse", "ankle_steady", "--home", str(home)])  # rendering is another row
    cpu = time.process_time()
    main(["demo", "--home", str(home)])
    cpu = time.process_time() - cpu
    record = Home(home).history("demo").records[-1]
    path = Home(home).person("demo").sessions / f"{record.session}.jsonl"
    lines = [json.loads(line) for line in path.read_text("utf-8").splitlines()]
    begun, ended = (datetime.fromisoformat(lines[index]["t"]) for index in (0, -1))
    return {
        "session_s": lines[-1]["at"] / 16_000,
        "wall_s": (ended - begun).total_seconds(),
        "cpu_s": cpu,
        "memory_mb": memory(),
    }


def memory() -> float:
    """Return the most memory that this process had resident so far, in MB; its children are not in it."""
    try:
        status = Path("/proc/self/status").read_text()
        return int(status.split("VmHWM:")[1].split()[0]) / 1024
    except OSError:
        import resource

        most = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
        return most / (1024**2 if sys.platform == "darwin" else 1024)


def child_render(home: Path, began: float, program: str) -> dict[str, float]:
    from rich.console import Console

    from coach.cli.session_setup import coach_voice, prepare, render_all, sentences
    from coach.logbook.store import Home

    ready = prepare(program)
    texts = sentences(ready)
    render_all(coach_voice(Home(home), ready.pack), texts, Console(quiet=True), "")
    return {"seconds": time.time() - began, "sentences": len(texts)}


def child_first_word(home: Path, began: float) -> dict[str, float]:
    from coach.audio.mixer import Mixer
    from coach.cli import main
    from coach.ports import Block

    whole: Callable[[Mixer, int, int], Block] = Mixer.render
    first: list[float] = []

    def render(mixer: Mixer, at: int, frames: int) -> Block:
        out = whole(mixer, at, frames)
        if out.any():
            first.append(time.time() - began)
            raise KeyboardInterrupt
        return out

    Mixer.render = render  # type: ignore[method-assign, assignment]
    main(["start", "ankle_steady", "--person", "demo", "--room", "default", "--home", str(home)])
    return {"seconds": first[0]}


CHILDREN: dict[str, Callable[..., dict[str, float]]] = {
    "demo": child_demo,
    "render": child_render,
    "first_word": child_first_word,
}


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0] if __doc__ else "")
    parser.add_argument("--each", type=int, default=4, help="stops in each state and phase (default 4)")
    parser.add_argument("--beats", type=int, default=20, help="beats of the real stream, a second each (default 20)")
    parser.add_argument("--sessions", type=int, default=2000, help="random sessions of the core (default 2000)")
    parser.add_argument("--skip", default="", help="rows to leave out, such as stream,stop")
    parser.add_argument("--home", type=Path, help="where clips are kept between runs (default: made and thrown away)")
    parser.add_argument("--child", nargs="+", help=argparse.SUPPRESS)
    args = parser.parse_args()
    if args.child:
        what, home, began, *more = args.child
        print(json.dumps(CHILDREN[what](Path(home), float(began), *more)))
        return
    from rich.console import Console
    from rich.table import Table

    out = Table("what", "at least", "measured", "of", "the naive way")
    with tempfile.TemporaryDirectory() as folder:
        home = args.home or Path(folder)
        parts: dict[str, Callable[[], list[Row]]] = {
            "demo": lambda: demo_rows(home),
            "warm": lambda: warm_rows(home),
            "cold": lambda: cold_rows(home),
            "beat": lambda: beat_rows(home),
            "stream": lambda: stream_rows(args.beats),
            "stop": lambda: stop_rows(home, args.each),
            "core": lambda: core_rows(args.sessions),
        }
        for name, rows in parts.items():
            if name not in args.skip.split(","):
                print(f"measuring: {name}", file=sys.stderr)
                for row in rows():
                    out.add_row(*row)
    Console(width=150).print(out)


if __name__ == "__main__":
    main()
