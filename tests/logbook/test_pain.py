from __future__ import annotations

import pytest

from coach.logbook.pain import worse
from coach.loglines.kinds import Answer


@pytest.mark.parametrize(
    ("pains", "highest"),
    [
        (("1-3", 2), "1-3"), (("1-3", 3), 3), ((2, "4-5"), "4-5"), (("none", 0), 0), (("none", "none"), "none"),
        ((7, "6-10"), "6-10"),
    ],
)  # fmt: skip
def test_of_several_pains_the_one_that_reaches_highest_stands(pains: tuple[Answer, Answer], highest: Answer) -> None:
    assert worse(*pains) == worse(*reversed(pains)) == highest
