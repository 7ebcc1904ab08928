"""Tell whether a person's spoken numbers are heard well enough to ask for them."""

from __future__ import annotations

from coach.ears.enrolment import Enrolment
from coach.words.replies import NUMBERS

ENOUGH = 0.9
"""Share of the takes of numbers that the other takes must hear. Our own choice: each number is read back, and below
this share about one answer in ten would be denied."""


def numbers_heard(enrolment: Enrolment) -> bool:
    """Tell whether all numbers 0-10 were taught with two takes or more, and enough takes are heard by the others."""
    if enrolment.missing(NUMBERS):
        return False
    reports = [report for report in enrolment.report() if report.word in NUMBERS]
    heard, takes = sum(report.heard for report in reports), sum(report.takes for report in reports)
    return min(report.takes for report in reports) > 1 and heard >= ENOUGH * takes
