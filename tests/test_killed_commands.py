"""A command killed at any call that touches the disk leaves the old or the new, and run again does all of it."""

from __future__ import annotations

import os
from pathlib import Path

import pytest
from killed_commands import TRIALS, Tally, furnish, try_it

pytestmark = pytest.mark.skipif(not hasattr(os, "fork"), reason="a child is forked")

EACH = {"decide": 9, "export": 5, "forget": 9, "first rendering": 2, "enrol": 97}
"""Every which touch of the disk is tried here; tests/bench/kills.py tries all, and columns."""


@pytest.fixture(scope="module")
def base(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return furnish(tmp_path_factory.mktemp("killed"))


@pytest.mark.parametrize("name", EACH)
def test_a_killed_command_leaves_the_old_or_the_new_and_run_again_leaves_nothing_over(
    name: str, base: Path, tmp_path: Path
) -> None:
    tally, at = Tally(), 2
    while not try_it(name, base, tmp_path / "try", at, at, tally):
        at += EACH[name]

    assert tally.wrong == []
    assert tally.killed >= 2
    assert set(EACH) < set(TRIALS)
