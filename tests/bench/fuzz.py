"""Throw hostile files at every door of tests/hostile.py, guided by coverage, and tell what that gave.

    python tests/bench/fuzz.py [--doors program,session] [--runs 20000] [--deadline 5] [--memory 1024]

It needs the extra `fuzz` (atheris). Each door runs in a process of its own. Two of five inputs the fuzzer changes
alone; in the others, values of an honest file, or of one that was found to reach new code, are taken for hostile ones.
A defect is an exception that is no CoachError, or an input that takes longer than the deadline (seconds); each place is
told once, with an input that gives it.
"""

from __future__ import annotations

import argparse
import json
import os
import random
import resource
import signal
import subprocess
import sys
import tempfile
import traceback
from contextlib import suppress
from pathlib import Path
from time import perf_counter
from typing import Any

ROOT = Path(__file__).resolve().parents[2]


class HungError(BaseException):
    """An input took longer than its deadline."""


class Watch:
    """Feeds inputs to one door and counts them."""

    def __init__(self, door: Any, refusal: type[Exception], deadline: float, told: Path, every: int) -> None:
        self._door, self._refusal, self._deadline, self._told, self._every = door, refusal, deadline, told, every
        self._inputs = self._taken = 0
        self._slowest = 0.0
        self._defects: dict[str, str] = {}
        self._began = perf_counter()
        signal.signal(signal.SIGALRM, self._hung)

    def __call__(self, data: bytes) -> None:
        began = perf_counter()
        try:
            signal.setitimer(signal.ITIMER_REAL, self._deadline)
            self._door.take(data)
            self._taken += 1
        except self._refusal:
            pass
        except KeyboardInterrupt:
            raise
        except BaseException as defect:  # noqa: BLE001 - that is what is looked for
            frames = [one for one in traceback.extract_tb(defect.__traceback__) if str(ROOT) in one.filename]
            where = f"{Path(frames[-1].filename).relative_to(ROOT)}:{frames[-1].lineno}" if frames else "?"
            self._defects.setdefault(f"{type(defect).__name__} at {where}: {defect}"[:200], repr(data[:3000]))
        finally:
            signal.setitimer(signal.ITIMER_REAL, 0)
        self._inputs += 1
        self._slowest = max(self._slowest, perf_counter() - began)
        if self._inputs % 100 == 0 or self._inputs >= self._every:
            self._tell()

    @staticmethod
    def _hung(*_: object) -> None:
        raise HungError

    def _tell(self) -> None:
        told = {
            "inputs": self._inputs,
            "taken": self._taken,
            "seconds": perf_counter() - self._began,
            "slowest": self._slowest,
            "defects": self._defects,
            "mb": resource.getrusage(resource.RUSAGE_SELF).ru_maxrss // 1024,
        }
        self._told.write_text(json.dumps(told), "utf-8")


def child(name: str, args: argparse.Namespace, told: Path, corpus: Path) -> None:
    """Fuzz one door; the fuzzer ends the process."""
    import atheris

    with atheris.instrument_imports(include=["coach", "yaml"]):
        from hostile import DOORS, worse

        from coach.errors import CoachError
    door = DOORS[name]
    honest = door.seeds()
    for number, seed in enumerate(honest):
        (corpus / str(number)).write_bytes(seed)
        with suppress(CoachError):
            door.take(seed)  # loads what the door needs, once and outside of any deadline

    def mutate(data: bytes, most: int, seed: int) -> bytes:
        chance = random.Random(seed)
        if not door.text or chance.random() < 0.4:
            return bytes(atheris.Mutate(data, most))
        return worse(chance.choice([data, *honest]), chance)[:most]

    options = [f"-runs={args.runs}", f"-max_len={args.longest}", f"-rss_limit_mb={args.memory}", "-timeout=60"]
    options += [f"-seed={args.seed}", "-verbosity=0", "-len_control=0"]
    watch = Watch(door, CoachError, args.deadline, told, args.runs)
    atheris.Setup([sys.argv[0], *options, str(corpus)], watch, custom_mutator=mutate)
    atheris.Fuzz()


def main() -> int:
    """Run the doors one after the other and print the table; return 1 if there was a defect."""
    parser = argparse.ArgumentParser(description=(__doc__ or "").partition("\n")[0])
    parser.add_argument("--doors", default="", help="which, divided by commas (default: all)")
    parser.add_argument("--runs", type=int, default=5_000, help="inputs for each")
    parser.add_argument("--deadline", type=float, default=5.0, help="seconds that an input may take")
    parser.add_argument("--memory", type=int, default=1024, help="MB that a process may take")
    parser.add_argument("--longest", type=int, default=20_000, help="bytes of an input at most")
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--child", nargs=3, help=argparse.SUPPRESS)
    args = parser.parse_args()
    sys.path[:0] = [str(ROOT), str(ROOT / "tests"), str(ROOT / "tests" / "page")]
    if args.child:
        name, told, corpus = args.child
        child(name, args, Path(told), Path(corpus))
    from hostile import DOORS

    print("| door | inputs | taken | a second | slowest | memory | defects |\n|---|---|---|---|---|---|---|")
    found: dict[str, str] = {}
    for name in args.doors.split(",") if args.doors else DOORS:
        with tempfile.TemporaryDirectory() as folder:
            told, corpus = Path(folder) / "told.json", Path(folder) / "corpus"
            corpus.mkdir()
            environment = os.environ | {"PYTHONWARNINGS": "error::RuntimeWarning", "TMPDIR": folder}
            ran = subprocess.run(
                [sys.executable, *sys.argv, "--child", name, str(told), str(corpus)],
                env=environment, capture_output=True, text=True, errors="replace", check=False,
            )  # fmt: skip
            if not told.exists():
                print(ran.stderr[-2000:], file=sys.stderr)
                return 1
            one = json.loads(told.read_text("utf-8"))
        if ran.returncode:
            one["defects"][f"the process ended with status {ran.returncode}"] = ran.stderr[-1500:]
        rate = one["inputs"] / one["seconds"]
        print(
            f"| {name} | {one['inputs']:,} | {one['taken']:,} | {rate:,.0f} | {one['slowest']:.2f} s "
            f"| {one['mb']} MB | {len(one['defects'])} |",
            flush=True,
        )
        found |= {f"{name}: {what}": data for what, data in one["defects"].items()}
    for what, data in found.items():
        print(f"\n{what}\n    {data}")
    return 1 if found else 0


if __name__ == "__main__":
    sys.exit(main())
