"""Where the coach installs: each system and Python by the versions known to be good, with nothing built but `srt`.

    python tests/bench/installs.py                    the table; asks the index, minutes
    python tests/bench/installs.py --lock             makes .known-good.txt and .known-good-macos.txt anew
    python tests/bench/installs.py --lock --upgrade   the same with the newest versions within the bounds

Making them needs the extra `lock`.

A lock holds a hash of every file of a version, so that one file serves every processor and Python. macOS has its own:
the speech library's 160 packages there have markers which pip 24.1 to 25 cannot read on Linux.
"""

from __future__ import annotations

import argparse
import json
import re
import subprocess
import sys
import tempfile
import tomllib
from datetime import UTC, datetime
from pathlib import Path

from packaging.requirements import Requirement

sys.path.insert(0, str(Path(__file__).resolve().parents[1]))

from known_good import LOCKS, PYTHONS, ROOT, SYSTEMS, System, wanted_on

SOURCE_ONLY = ("srt",)
"""What has no wheel anywhere, is plain Python, and is built by pip."""
HEAD = """\
# Versions known to be good, with the hash of each of their files. {what}
#     pip install --require-hashes -r {name} && pip install --no-deps --no-build-isolation .
# Made by tests/bench/installs.py --lock on {day}.
"""


def refused(system: System, python: str, wanted: list[Requirement]) -> list[str]:
    """Return what pip finds no wheel of; asks the index.

    Raises OSError where no index answers.
    """
    left = [one for one in wanted if one.name not in SOURCE_ONLY]
    lacking: list[str] = []
    while True:
        said = _pip(system, python, left)
        if said.returncode == 0:
            return lacking
        found = re.search(r"No matching distribution found for ([A-Za-z0-9._-]+)==", said.stderr)
        if found is None or "connection" in said.stderr.lower():
            raise OSError(said.stderr.strip().splitlines()[-1] if said.stderr.strip() else "pip gave up")
        lacking.append(found[1])
        left = [one for one in left if one.name != found[1]]


def _pip(system: System, python: str, wanted: list[Requirement]) -> subprocess.CompletedProcess[str]:
    with tempfile.TemporaryDirectory() as folder:
        target = ["--implementation", "cp", "--python-version", python, "--target", folder]
        for tag in system.tags:
            target += ["--platform", tag]
        pip = [sys.executable, "-m", "pip", "--disable-pip-version-check", "install", "-q", "--dry-run", "--no-deps"]
        return subprocess.run(
            [*pip, "--only-binary=:all:", "--retries=1", "--timeout=20", *target, *map(str, wanted)],
            capture_output=True,
            text=True,
            check=False,
        )


def table() -> None:
    """Print which package lacks a wheel where."""
    print(f"| system | {' | '.join(PYTHONS)} |\n|---|{'---|' * len(PYTHONS)}")
    for system in SYSTEMS:
        cells = []
        for python in PYTHONS:
            wanted = wanted_on(system, python)
            lacking = refused(system, python, wanted)
            cells.append(f"no wheel: {', '.join(lacking)}" if lacking else f"{len(wanted)} packages")
        print(f"| {system.name} | {' | '.join(cells)} |", flush=True)


def lock(*, upgrade: bool) -> None:
    """Make both locks anew."""
    project = tomllib.loads((ROOT / "pyproject.toml").read_text("utf-8"))["project"]
    wanted = project["dependencies"] + project["optional-dependencies"]["dev"]
    for mac, path in LOCKS.items():
        with tempfile.TemporaryDirectory() as folder:
            asked = Path(folder) / "pyproject.toml"
            name = f'[project]\nname = "x"\nversion = "0"\nrequires-python = "{project["requires-python"]}"\n'
            only = f"sys_platform {'==' if mac else '!='} 'darwin'"
            asked.write_text(f'{name}dependencies = {json.dumps(wanted)}\n[tool.uv]\nenvironments = ["{only}"]\n')
            made = Path(folder) / "made.txt"
            if path.exists() and not upgrade:  # what was good is kept where it still fits
                made.write_bytes(path.read_bytes())
            uv = ["uv", "pip", "compile", "-q", "--universal", "--generate-hashes", "--no-header", "--no-annotate"]
            subprocess.run(
                [*uv, "--python-version", "3.11", asked, "-o", made], check=True, cwd=folder
            )  # for [tool.uv]
            lines = made.read_text("utf-8")
        what = "Not tried yet, on macOS." if mac else "Every test passed with them: Python 3.11, Linux x86-64."
        head = HEAD.format(what=what, name=path.name, day=datetime.now(UTC).date())
        path.write_text(head + re.sub(rf" (;|and) {re.escape(only)}(?= \\)", "", lines), encoding="utf-8")


def main() -> None:
    """Print the table, or make the locks."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--lock", action="store_true")
    parser.add_argument("--upgrade", action="store_true")
    args = parser.parse_args()
    if args.lock:
        lock(upgrade=args.upgrade)
    else:
        table()


if __name__ == "__main__":
    main()
