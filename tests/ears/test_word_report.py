"""How well words were taught, by their own takes."""

from __future__ import annotations

from heard_rooms import REPLIES

from coach.ears.enrolment import Enrolment


def test_each_take_is_heard_by_the_others(enrolment: Enrolment) -> None:
    reports = enrolment.report()

    assert {report.word for report in reports} == set(REPLIES)
    assert all(report.heard == report.takes == 3 for report in reports)
    assert all(report.nearest_score < report.own for report in reports)
    assert all(min(report.leads) > 0 for report in reports)


def test_a_word_taught_with_another_words_sound_is_not_reported_as_heard(enrolment: Enrolment) -> None:
    mixed = (*enrolment.takes["yes"][:1], *enrolment.takes["ready"][:1])

    (report,) = (each for each in Enrolment({"yes": mixed}).report() if each.word == "yes")

    assert report.heard == 0
