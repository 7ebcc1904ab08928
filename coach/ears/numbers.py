"""Tell whether a person's spoken numbers are heard well enough to ask for them."""

from __future__ import annotations

from coach.ears.enrolment import Enrolment
from coach.words.replies import NUMBERS

ENOUGH = 0.9
"""Share of the takes of numbers that the others must hear. Each number is read back, so that a wrong one costs a
denial; below this about one answer in ten would. Our own choice."""


def numbers_heard(enrolment: Enrolment) -> bool:
    """Tell whether all numbers 0-10 were taught, each with a take to spare, and are heard by each other's takes."""
    if enrolment.missing(NUMBERS):
        return False
    reports = [report for report in enrolment.report() if report.word in NUMBERS]
    heard, takes = sum(report.heard for report in reports), sum(report.takes for report in reports)
    return min(report.takes for report in reports) > 1 and heard >= ENOUGH * takes
