"""The budgets of random tests: a part in the suite, everything in tests/bench/all_chances.py."""

from __future__ import annotations

import os

ALL = os.environ.get("COACH_TESTS") == "all"


def draws(suite: int, whole: int) -> int:
    """Return how many examples, seeds or rounds are tried: `suite` in the suite, otherwise `whole`."""
    return whole if ALL else suite
