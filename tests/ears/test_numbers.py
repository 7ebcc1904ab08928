"""When spoken numbers are heard well enough to ask for them."""

from __future__ import annotations

import numpy as np
import pytest

from coach.ears.enrolment import Enrolment
from coach.ears.numbers import numbers_heard
from coach.ears.spectrum import BANDS
from coach.ears.takes import Take
from coach.ears.word_report import WordReport
from coach.words.replies import NUMBERS

ROWS = np.zeros((3, BANDS), np.float32)
TAKE = Take(np.zeros((1, 96), np.float32), np.zeros(1, np.int32), 1, -30.0, -60.0, ROWS)


class Reported(Enrolment):
    """An enrolment of three takes per word that reports how many of each the others hear."""

    heard: dict[str, int]

    def report(self) -> tuple[WordReport, ...]:
        return tuple(
            WordReport(word, len(self.takes[word]), self.heard[word], (0.8,), (0.1,), "", 0.0) for word in self.takes
        )


def taught(heard: dict[str, int], takes: int = 3) -> Reported:
    enrolment = Reported(dict.fromkeys(heard, (TAKE,) * takes))
    object.__setattr__(enrolment, "heard", heard)
    return enrolment


@pytest.mark.parametrize(
    ("weak", "enough"),
    [({}, True), ({"n3": 2}, True), ({"n3": 0, "n7": 2}, False), ({"stop": 0, "yes": 0}, True)],
)
def test_numbers_are_asked_for_if_nine_of_ten_are_heard_whatever_the_other_words(
    weak: dict[str, int], enough: bool
) -> None:
    assert numbers_heard(taught(dict.fromkeys((*NUMBERS, "stop", "yes"), 3) | weak)) is enough


def test_a_number_that_was_not_taught_is_not_heard() -> None:
    assert not numbers_heard(taught(dict.fromkeys(sorted(NUMBERS)[:-1], 3)))


def test_a_single_take_proves_nothing() -> None:
    assert not numbers_heard(taught(dict.fromkeys(NUMBERS, 1), takes=1))
