"""Run the random tests with their full budgets; the suite draws a part (tests/budget.py).

    python tests/bench/all_chances.py [PYTEST ARGUMENTS]

Without arguments it runs every file of tests that draws by chance, on all cores, and tells what the slowest took. It
fails if a test does.
"""

from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]
SIGNS = ("import draws", "from hypothesis import")
"""Text that marks a file of random tests."""


def by_chance() -> list[str]:
    """Return the files of random tests."""
    tests = sorted((ROOT / "tests").rglob("test_*.py"))
    return [str(path) for path in tests if any(sign in path.read_text("utf-8") for sign in SIGNS)]


if __name__ == "__main__":
    arguments = sys.argv[1:] or [*by_chance(), "--durations=30"]
    command = [sys.executable, "-m", "pytest", *arguments]
    sys.exit(subprocess.run(command, cwd=ROOT, env=os.environ | {"COACH_TESTS": "all"}, check=False).returncode)
