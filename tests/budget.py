"""How much the tests of chance draw: a part of it in the suite, all of it in tests/bench/all_chances.py."""

from __future__ import annotations

import os

ALL = os.environ.get("COACH_TESTS") == "all"


def draws(suite: int, whole: int) -> int:
    """Return how many of `whole` examples, seeds or rounds are tried: so many in the suite."""
    return whole if ALL else suite
