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
import ast
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
from copy import copy
from dataclasses import dataclass
from pathlib import Path
from types import CodeType, FrameType, FunctionType
from typing import TypeVar

import pytest
from hypothesis import Phase, settings

ROOT = Path(__file__).resolve().parent.parent.parent
KEPT = ROOT / "mutants" / "changes.jsonl"
CORE = ("session", "program", "tempo", "words", "loglines", "logbook", "ears/activity.py")
EDGES = {"cached", "closing", "files", "forgetting", "handover", "reading", "store", "writing"}
TESTS = [*(f"tests/{name}" for name in (*CORE[:-1], "testing", "ears/test_activity.py", "test_safety_numbers.py"))]
PATIENCE = 20
"""Seconds after which a test that does not end counts as one that noticed."""
MEMORY = 16 * 1024**3
"""Bytes that a test may take, so that a loop without end does not fill the machine."""
SILENT = ("unnoticed", "in no test")
OUTCOMES = {0: "unnoticed", 1: "noticed", -signal.SIGALRM: "hung"}
OTHER: dict[type, type] = {
    ast.Lt: ast.LtE, ast.LtE: ast.Lt, ast.Gt: ast.GtE, ast.GtE: ast.Gt, ast.Eq: ast.NotEq, ast.NotEq: ast.Eq,
    ast.Is: ast.IsNot, ast.IsNot: ast.Is, ast.In: ast.NotIn, ast.NotIn: ast.In, ast.And: ast.Or, ast.Or: ast.And,
    ast.Add: ast.Sub, ast.Sub: ast.Add, ast.Mult: ast.Div, ast.Div: ast.Mult, ast.FloorDiv: ast.Mult, ast.Mod: ast.Mult,
    ast.BitOr: ast.BitAnd, ast.BitAnd: ast.BitOr,
}  # fmt: skip
NAMES = {"min": "max", "max": "min", "any": "all", "all": "any"}


@dataclass
class Change:
    """One place of one file, and what stands there instead."""

    path: str
    number: int
    """Its place among all changes of the file."""
    function: str
    """Qualified name of the function around it; "" outside of functions."""
    line: int
    text: str
    nth: int
    """How many changes of the function with the same text come before it."""
    outcome: str = "not tried"

    @property
    def key(self) -> tuple[str, str, str, int]:
        return self.path, self.function, self.text, self.nth


# -- the changes ------------------------------------------------------------------------------------------------------


def others(node: ast.AST, *, in_function: bool) -> Iterator[ast.AST]:
    """Yield what may stand in the place of `node`."""
    match node:
        case ast.Compare(left, ops, rest):
            for at, op in enumerate(ops):
                yield ast.Compare(left, [*ops[:at], OTHER[type(op)](), *ops[at + 1 :]], rest)
        case ast.BoolOp(op, values):
            yield ast.BoolOp(OTHER[type(op)](), values)
            for at in range(len(values)):
                left_over = values[:at] + values[at + 1 :]
                yield ast.BoolOp(op, left_over) if len(left_over) > 1 else left_over[0]
        case ast.UnaryOp(ast.Not(), operand):
            yield operand
        case ast.BinOp(left, op, right) if type(op) in OTHER:
            yield ast.BinOp(left, OTHER[type(op)](), right)
        case ast.AugAssign(target, op, value) if type(op) in OTHER:
            yield ast.AugAssign(target, OTHER[type(op)](), value)
            yield ast.Pass()
        case ast.Constant(bool() as value):
            yield ast.Constant(not value)
        case ast.Constant(int() | float() as value):
            yield ast.Constant(value + 1)
            yield ast.Constant(value - 1)
        case ast.Call(ast.Name(name), arguments, keywords) if name in NAMES:
            yield ast.Call(ast.Name(NAMES[name], ast.Load()), arguments, keywords)
        case ast.If() | ast.IfExp() if not isinstance(node.test, ast.Compare | ast.BoolOp | ast.UnaryOp):
            turned = copy(node)
            turned.test = ast.UnaryOp(ast.Not(), node.test)
            yield turned
        case ast.Return(value) if value is not None and not isinstance(value, ast.Constant):
            yield ast.Return(ast.Constant(None))
        case ast.Return() | ast.Raise() | ast.Continue() | ast.Break() | ast.Assign() | ast.Expr(ast.Call()):
            if in_function:
                yield ast.Pass()
        case _:
            pass


Found = tuple[str, int, str]


def changed(tree: ast.Module, node: ast.AST | None = None, function: str = "", scope: str = "") -> Iterator[Found]:
    """Yield (function, line, text) of each change, put into the tree until the next; no annotation, no decorator."""
    parent = node or tree
    for name, value in ast.iter_fields(parent):
        if name in {"annotation", "returns", "decorator_list"}:
            continue
        for at, child in enumerate(value if isinstance(value, list) else [value]):
            if not isinstance(child, ast.AST):
                continue
            inner, within = function, scope
            if isinstance(child, ast.FunctionDef | ast.ClassDef):
                within = f"{scope}{child.name}."
                if isinstance(child, ast.FunctionDef):
                    inner, within = within[:-1], f"{within}<locals>."
            for new in others(child, in_function=bool(function)):
                ast.copy_location(new, child)
                setattr(parent, name, [*value[:at], new, *value[at + 1 :]] if isinstance(value, list) else new)
                text = f"{ast.unparse(child)}  ->  {ast.unparse(new)}".replace("\n", " ")
                yield function, getattr(child, "lineno", 0), text
                setattr(parent, name, value)
            yield from changed(tree, child, inner, within)


def every_change(globs: list[str]) -> Iterator[Change]:
    """Yield all changes of the core's files that fit one of the globs."""
    coach = ROOT / "coach"
    for name in CORE:
        for path in sorted(coach.glob(name if name.endswith(".py") else f"{name}/*.py")):
            if path.stem not in EDGES and any(path.relative_to(coach).match(glob) for glob in globs):
                seen: Counter[tuple[str, str]] = Counter()
                for number, (function, line, text) in enumerate(changed(ast.parse(path.read_text()))):
                    yield Change(str(path.relative_to(ROOT)), number, function, line, text, seen[function, text])
                    seen[function, text] += 1


def code_with(change: Change) -> CodeType:
    """Return the code of its file with the change."""
    tree = ast.parse((ROOT / change.path).read_text())
    for number, _ in enumerate(changed(tree)):
        if number == change.number:
            return compile(ast.fix_missing_locations(tree), ROOT / change.path, "exec")
    raise IndexError(change)


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
