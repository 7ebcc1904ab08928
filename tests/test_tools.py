from __future__ import annotations

import subprocess
import sys
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[1]


@pytest.mark.parametrize("tool", [["ruff", "check"], ["ruff", "format", "--check"], ["mypy"]], ids=" ".join)
def test_the_strict_tools_find_nothing(tool: list[str]) -> None:
    ran = subprocess.run([sys.executable, "-m", *tool], cwd=ROOT, capture_output=True, text=True, check=False)

    assert ran.returncode == 0, ran.stdout + ran.stderr
