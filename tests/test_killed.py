"""A process killed at any moment loses no finished set, and nothing counts twice; see tests/bench/kills.py for many."""

from __future__ import annotations

import os
from pathlib import Path
from random import Random

import pytest
from budget import draws
from killed import BEGAN, PERSON, Left, cut_anywhere, one_day

from coach.cli.session_setup import prepare
from coach.logbook.store import Home
from coach.testing import RandomPerson, live_in

DAYS = draws(10, 20)

pytestmark = pytest.mark.skipif(not hasattr(os, "fork"), reason="a child is forked")


def test_what_was_on_the_disk_when_a_process_was_killed_is_in_the_record_and_counts_once(tmp_path: Path) -> None:
    left = Left()
    for seed in range(DAYS):
        one_day(tmp_path / str(seed), seed, left)

    assert left.lost == 0, left
    assert left.points.total() >= DAYS
    assert left.finished > DAYS / 2
    assert left.taken_up > DAYS / 6
    assert left.died > DAYS / 12


def test_a_file_cut_at_any_byte_keeps_its_finished_sets_and_its_torn_tail(tmp_path: Path) -> None:
    home = Home(tmp_path / "home", lambda: BEGAN)
    home.add_person(PERSON)
    store = live_in(home, PERSON, prepare("ankle_steady").today, RandomPerson(Random(2), 0.0, 0.0))
    left = Left()

    cut_anywhere(store.path, tmp_path / "other", Random(0), left, cuts=40)

    assert left.lost == 0, left
    assert left.torn > 30
    assert left.finished > 40
