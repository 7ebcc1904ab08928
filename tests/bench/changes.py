"""Which small changes of the core do its tests not notice?

    python tests/bench/changes.py [--files "session/*"] [--draw 200] [--seed 1] [--minutes 10] [--jobs 2] [--again]

One place of the code is changed at a time: a comparison moved or turned, a number by one, `and` for `or`, one condition
of several left out, a `not` or a statement left out, True for False, `min` for `max`. Each change is tried on the tests
that call the function around it (outside of functions: that call anything of its file, on its folder's, and on the
safety numbers), quickest first, until they would take more than `--seconds`. Tests of chance draw the same each time.

Noticed means: a test fails, the file does not load any more, or a test takes longer than 20 s. "In no test": no test
calls the function. What each change came to is kept in mutants/changes.jsonl, and the next run goes on with the others;
with `--again` it tries those that were not noticed. Needs processes that can fork. Nothing fails on a figure.
"""

from __future__ import annotations

import argparse
import gc
import importlib.machinery
import json
import os
import random
import resource
import signal
import sys
import tempfile
import time
import traceback
from collections import Counter, defaultdict
from collections.abc import Callable, Iterable, Iterator
from pathlib import Path
from types import CodeType, FrameType, FunctionType
from typing import TypeVar

import pytest
from hypothesis import Phase, settings
from one_place import CORE, ROOT, Change, code_with, every_change

KEPT = ROOT / "mutants" / "changes.jsonl"
TESTS = [*(f"tests/{name}" for name in (*CORE[:-1], "testing", "ears/test_activity.py", "test_safety_numbers.py"))]
PATIENCE = 20
"""Seconds after which a test that does not end counts as one that noticed."""
MEMORY = 16 * 1024**3
"""Bytes that a test may take, so that a loop without end does not fill the machine."""
SILENT = ("unnoticed", "in no test")
OUTCOMES = {0: "unnoticed", 1: "noticed", -signal.SIGALRM: "hung"}


def codes(code: CodeType) -> list[CodeType]:
    """Return a code and all that it holds."""
    return [code, *(one for inner in code.co_consts if isinstance(inner, CodeType) for one in codes(inner))]


def put_into(functions: list[FunctionType], change: Change) -> bool:
    """Give loaded functions their changed code; return False where that does not show the change."""
    old = codes(compile((ROOT / change.path).read_text(), ROOT / change.path, "exec"))
    new = codes(code_with(change))
    if [one.co_freevars for one in old] != [one.co_freevars for one in new]:
        return False
    instead = {before: after for before, after in zip(old, new, strict=True) if before != after}
    mine = [one for one in functions if one.__code__ in instead]
    for function in mine:
        function.__code__ = instead[function.__code__]
    return bool(mine)


def load_with(change: Change) -> None:
    """Forget everything of this project that is loaded; the file is loaded with the change."""
    load = importlib.machinery.SourceFileLoader.get_code
    code = code_with(change)

    def get_code(self: importlib.machinery.SourceFileLoader, name: str) -> CodeType | None:
        return code if Path(self.path) == ROOT / change.path else load(self, name)

    importlib.machinery.SourceFileLoader.get_code = get_code  # type: ignore[assignment,method-assign]
    for name, module in list(sys.modules.items()):
        file = str(getattr(module, "__file__", None) or "")
        if name != "__main__" and file.startswith((f"{ROOT}/coach/", f"{ROOT}/tests/")):
            del sys.modules[name]


# -- the tests --------------------------------------------------------------------------------------------------------

T = TypeVar("T")


def in_forks(jobs: int, todo: Iterable[T], work: Callable[[T], int], until: float) -> Iterator[tuple[T, int]]:
    """Yield each of `todo`, begun before `until`, with the exit status of a process that did its `work`."""
    running: dict[int, T] = {}
    waiting = list(reversed(list(todo)))
    while running or (waiting and time.monotonic() < until):
        if waiting and len(running) < jobs and time.monotonic() < until:
            one = waiting.pop()
            if not (pid := os.fork()):
                status = 2
                try:
                    os.dup2(os.open(os.devnull, os.O_WRONLY), 1)
                    status = work(one)
                except BaseException:  # noqa: BLE001  # nothing in a fork may go on as if it were the parent
                    traceback.print_exc()
                os._exit(status)
            running[pid] = one
        else:
            pid, ended = os.wait()
            yield running.pop(pid), os.waitstatus_to_exitcode(ended)


class Plugin:
    """pytest as it is needed here: `work` does what it wants with the collected tests."""

    def __init__(self, work: Callable[[Plugin, list[pytest.Item]], None]) -> None:
        self.work = work
        self.calls: dict[str, set[str]] = defaultdict(set)
        """Which tests call each function; "" while modules load."""
        self.seconds: dict[str, float] = {}
        self.failed: set[str] = set()
        self._now = ""
        self._known: dict[CodeType, str] = {}

    def collect(self, tests: Iterable[str]) -> None:
        options = ["-q", "-n0", "-s", "-p", "no:cacheprovider", f"--rootdir={ROOT}", "--tb=no"]
        pytest.main([*options, *(str(ROOT / test) for test in tests)], plugins=[self])

    def pytest_sessionstart(self) -> None:
        settings.register_profile("changes", settings.get_profile("coach"), derandomize=True, database=None,
                                  phases=[Phase.explicit, Phase.generate])  # fmt: skip
        settings.load_profile("changes")

    @pytest.hookimpl(tryfirst=True)
    def pytest_runtestloop(self, session: pytest.Session) -> bool:
        if not session.testsfailed:  # else something does not load
            self.work(self, session.items)
        return True

    def pytest_runtest_logreport(self, report: pytest.TestReport) -> None:
        if report.failed:
            self.failed.add(report.nodeid)

    def run(self, items: list[pytest.Item], *, patience: int) -> int:
        """Run the tests, until one fails; return 1 if one does. With patience 0 all run, however long each takes."""
        resource.setrlimit(resource.RLIMIT_AS, (MEMORY, MEMORY))
        with tempfile.TemporaryDirectory() as scratch:
            os.environ["PYTEST_DEBUG_TEMPROOT"] = scratch
            for item, following in zip(items, [*items[1:], None], strict=True):
                signal.alarm(patience)
                self._now, begin = item.nodeid, time.perf_counter()
                item.ihook.pytest_runtest_protocol(item=item, nextitem=following)
                self.seconds[item.nodeid] = time.perf_counter() - begin
                if self.failed and patience:
                    break
            signal.alarm(0)
        return int(bool(self.failed))

    def note(self, frame: FrameType, event: str, _value: object) -> None:
        code = frame.f_code
        if event == "call" and code not in self._known:
            path = Path(code.co_filename)
            name = code.co_qualname.split(".<locals>.<")[0]
            self._known[code] = f"{path.relative_to(ROOT)}:{name}" if path.is_relative_to(ROOT / "coach") else ""
        if event == "call" and self._known[code]:
            self.calls[self._known[code]].add(self._now)


def called(jobs: int, plugin: Plugin, items: list[pytest.Item]) -> tuple[dict[str, set[str]], dict[str, float]]:
    """Return which tests call each function, and how many seconds each test takes."""
    calls = {key: {""} for key in plugin.calls}
    seconds: dict[str, float] = {}
    files: dict[Path, list[pytest.Item]] = defaultdict(list)
    for item in items:
        files[item.path].append(item)
    with tempfile.TemporaryDirectory() as scratch:

        def measure(path: Path) -> int:
            plugin.calls.clear()
            sys.setprofile(plugin.note)
            plugin.run(files[path], patience=0)
            sys.setprofile(None)
            found = {key: sorted(tests) for key, tests in plugin.calls.items()}
            (Path(scratch) / path.name).write_text(json.dumps([found, plugin.seconds, sorted(plugin.failed)]))
            return 0

        for path, _ in in_forks(jobs, sorted(files, key=lambda path: -len(files[path])), measure, float("inf")):
            found, took, failed = json.loads((Path(scratch) / path.name).read_text())
            print(*(f"left out, since it fails as it is: {test}\n" for test in failed), end="", flush=True)
            seconds |= {test: second for test, second in took.items() if test not in failed}
            for key, tests in found.items():
                calls.setdefault(key, set()).update(tests)
    print(f"{len(seconds)} tests, {sum(seconds.values()):.0f} s", flush=True)
    return calls, seconds


def keep(one: Change, outcome: str) -> None:
    """Write down what a change came to."""
    one.outcome = outcome
    with KEPT.open("a", encoding="utf-8") as file:
        file.write(json.dumps([*one.key, outcome]) + "\n")
    if outcome in SILENT:
        print(f"{one.path}:{one.line} {one.function} [{outcome}] {one.text}", flush=True)


def try_all(todo: list[Change], args: argparse.Namespace, plugin: Plugin, items: list[pytest.Item]) -> None:
    """Try the changes in forks of this process, which has all tests loaded, and keep what they come to."""
    sys.setprofile(None)
    until = time.monotonic() + 60 * args.minutes
    calls, seconds = called(args.jobs, plugin, items)
    functions = [one for one in gc.get_objects() if isinstance(one, FunctionType)]
    gc.freeze()  # a fork then copies less

    def chosen(one: Change, items: Iterable[pytest.Item], callers: set[str]) -> list[pytest.Item]:
        left, mirror = args.seconds, f"test_{Path(one.path).name}"
        quickest = sorted((item for item in items if item.nodeid in callers & set(seconds)),
                          key=lambda item: (item.path.name != mirror, seconds[item.nodeid]))  # fmt: skip
        return [item for item in quickest if (left := left - seconds[item.nodeid]) >= 0]

    def attempt(one: Change) -> int:
        callers = calls.get(f"{one.path}:{one.function}", set())
        if one.function and put_into(functions, one):
            status = plugin.run(chosen(one, items, callers), patience=PATIENCE)
            if status or "" not in callers:
                return status
        callers = {test for key, tests in calls.items() if key.startswith(f"{one.path}:") for test in tests}
        beside = (one.path.replace("coach/", "tests/").rpartition("/")[0] + "/", "tests/test_safety_numbers.py")
        callers |= {test for test in seconds if test.startswith(beside)}
        statuses = [2]
        load_with(one)
        anew = Plugin(lambda anew, items: statuses.append(anew.run(chosen(one, items, callers), patience=PATIENCE)))
        anew.collect(sorted({test.partition("::")[0] for test in callers & set(seconds)}))
        return statuses[-1]

    for one in todo:
        if one.function and not calls.get(f"{one.path}:{one.function}"):
            keep(one, "in no test")
    left = [one for one in todo if one.outcome == "not tried"]
    for one, status in in_forks(args.jobs, left, attempt, until):
        keep(one, OUTCOMES.get(status, "does not load"))


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--files", nargs="*", default=["*"], help="globs under coach/, of files of the core")
    parser.add_argument("--tests", nargs="*", default=TESTS, help="files or folders of tests")
    parser.add_argument("--draw", type=int, default=200, help="how many changes, drawn by chance (0: all)")
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--minutes", type=float, default=10.0, help="no change is begun after that")
    parser.add_argument("--seconds", type=float, default=30.0, help="of tests for a change, the quickest first")
    parser.add_argument("--jobs", type=int, default=2)
    parser.add_argument("--again", action="store_true", help="try what was not noticed once more, and nothing else")
    args = parser.parse_args()
    KEPT.parent.mkdir(exist_ok=True)
    KEPT.touch()
    kept = {tuple(key): outcome for *key, outcome in map(json.loads, KEPT.read_text(encoding="utf-8").splitlines())}
    every = list(every_change(args.files))
    for one in every:
        one.outcome = kept.get(one.key, "not tried")
    todo = [one for one in every if (one.outcome in SILENT if args.again else one.outcome == "not tried")]
    random.Random(args.seed).shuffle(todo)
    todo = todo[: args.draw or None]
    for one in todo:
        one.outcome = "not tried"
    print(f"{len(every)} changes, {len(todo)} to be tried", flush=True)
    os.chdir(ROOT)
    begin = time.monotonic()
    sys.path.insert(0, str(ROOT))
    plugin = Plugin(lambda plugin, items: try_all(todo, args, plugin, items))
    sys.setprofile(plugin.note)
    plugin.collect(args.tests)
    counts: dict[str, Counter[str]] = defaultdict(Counter)
    for one in every:
        counts[one.path][one.outcome] += 1
        counts["all"][one.outcome] += 1
    for path, count in counts.items():
        print(path, dict(count))
    print(f"{time.monotonic() - begin:.0f} s")


if __name__ == "__main__":
    main()
