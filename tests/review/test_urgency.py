"""One rule set names who needs a look, for the clinic and on the person's own page, with the same figures."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, date, datetime, time, timedelta
from pathlib import Path
from random import Random

import pytest
from budget import draws
from clinics import random_clinic

from coach.cli.review import reviewed
from coach.logbook.store import Home
from coach.loglines.safety import SafetySign
from coach.review.clinic import look
from coach.review.columns import open_clinic, write_columns
from coach.review.due import Came
from coach.review.urgency import Beside, Need, WhyLook, reasons
from coach.session.safety_holds import SafetyHold

TODAY = date(2027, 3, 1)
PEOPLE = 10


def came(days_ago: int, *, why: str = "done", pain: int | None = 1, full: int = 6, worse: bool | None = False,
         every: int = 1, asked: int = 4, unheard: int = 0, worked: bool = True) -> Came:  # fmt: skip
    day = TODAY - timedelta(days=days_ago)
    return Came(
        f"s{days_ago:03}", f"{day}T09:00:00Z", day, "a", why, every, worked, 6, full, pain, worse, asked, unheard
    )


def needs(*sessions: Came, beside: Beside | None = None) -> list[Need]:
    return [one.need for one in reasons(sessions, beside or Beside(), TODAY)]


def reason(need: Need, *sessions: Came) -> WhyLook:
    return next(one for one in reasons(sessions, Beside(), TODAY) if one.need is need)


CALM = [came(days) for days in range(60)]


def test_a_calm_person_needs_no_look() -> None:
    assert needs(*CALM) == []


def test_sessions_that_ended_for_safety_count_for_two_weeks_though_the_last_went_well() -> None:
    ended = [came(days, why="pain", pain=5) for days in (3, 4, 5, 6, 7, 8)]
    well = [came(days) for days in range(3)]

    assert needs(*ended, *well)[0] is Need.SAFETY
    assert dict(reason(Need.SAFETY, *ended, *well).values) == {
        "n": 6, "of": 9, "days": 14, "last": "2027-02-26", "why": "pain",
    }  # fmt: skip
    assert needs(came(14, why="pain"), *(came(days) for days in range(14))) == []


def test_two_measures_that_creep_are_named_with_their_figures_and_one_is_not() -> None:
    early = [came(days) for days in range(14, 28)]
    hurts = [came(days, pain=2) for days in range(14)]
    less = [came(days, pain=2, full=5) for days in range(14)]

    assert needs(*early, *hurts) == []
    assert needs(*early, *less) == [Need.WORSENING]
    assert reason(Need.WORSENING, *early, *less).worse == (("pain", "1.0", "2.0"), ("amount", "100%", "83%"))


def test_what_creeps_too_slowly_for_one_fortnight_shows_against_the_first() -> None:
    slow = [came(days, pain=2 if days > 27 else 3, full=6 if days > 41 else 5) for days in range(60)]

    assert needs(*slow) == [Need.WORSENING]


def test_pain_that_rose_by_two_is_a_reason_by_itself() -> None:
    rising = [came(days, pain=1 if days >= 14 else 3) for days in range(28)]

    assert needs(*rising) == [Need.PAIN]
    assert needs(*rising[:2], *rising[14:]) == []  # too few to tell
    assert needs(*rising[:3], *(came(days) for days in range(3, 28))) == [Need.PAIN]  # a flare of three sessions


def test_low_adherence_is_named_once_it_has_lasted_and_stopping_is_named_instead() -> None:
    seldom = [came(days) for days in (0, 3, 6, 9, 12, 15, 18, 21, 24, 27, 30)]

    assert needs(*seldom) == [Need.SELDOM]
    assert dict(reason(Need.SELDOM, *seldom).values) == {"done": 10, "due": 28, "days": 28}
    assert needs(*(came(days) for days in (0, 3, 6, 9, 12, *range(14, 31)))) == []
    assert needs(*seldom[2:]) == [Need.STOPPED]


def test_whoever_is_on_hold_has_not_stopped_coming() -> None:
    sign = SafetySign("screen", question="fell", asked="Fallen?", answer=True)
    hold = SafetyHold("s20", "2027-02-09T09:00:00Z", date(2027, 2, 9), "a", sign)

    assert needs(came(20, why="screen", worked=False), beside=Beside((hold,))) == [Need.HOLD]
    for_the_day = replace(hold, sign=replace(sign, effect="end_day"))
    assert Need.HOLD not in needs(*CALM, beside=Beside((for_the_day,)))


def test_words_that_are_not_heard_are_named_from_a_third_of_the_questions_on() -> None:
    assert needs(*(came(days, asked=3, unheard=1) for days in range(14))) == [Need.NOT_HEARD]
    assert needs(*(came(days, asked=4, unheard=1) for days in range(14))) == []
    assert needs(came(0, asked=9, unheard=9)) == []


@pytest.mark.parametrize(
    ("beside", "need"),
    [
        (Beside(review_on=TODAY), Need.REVIEW_ON),
        (Beside(steps_up=(3, 2)), Need.STEP_UP),
        (Beside(lasting=1), Need.LASTING),
        (Beside(unread=True), Need.UNREAD),
    ],
)
def test_what_else_is_known_is_a_reason_of_its_own(beside: Beside, need: Need) -> None:
    assert needs(*CALM, beside=beside) == [need]
    assert Need.NOT_BEGUN in needs()


def test_a_step_up_says_how_many_sessions_it_rests_on() -> None:
    (step,) = reasons(CALM, Beside(steps_up=(3, 2)), TODAY)

    assert dict(step.values) == {"n": 2, "least": 2}


def test_the_clinic_names_somebody_for_a_reason_if_and_only_if_their_own_page_does(tmp_path: Path) -> None:
    random_clinic(tmp_path / "home", draws(PEOPLE, 1000), Random(1), TODAY)
    home, now = Home(tmp_path / "home"), datetime.combine(TODAY, time(20), UTC)

    clinic = open_clinic(home.root)
    found = look(clinic, TODAY)

    theirs = {one.person: reviewed(home, one.person, now=now) for one in found.people}
    assert {one.person: one.reasons for one in found.people} == {who: one.reasons for who, one in theirs.items()}
    assert {one.person: one.holds for one in found.people} == {who: one.holds for who, one in theirs.items()}
    assert len({need for one in found.people for need in one.needs}) >= 8

    write_columns(clinic, tmp_path / "columns")
    again = {one.person: one for one in look(open_clinic(tmp_path / "columns"), TODAY).people}
    programs = {Need.STEP_UP, Need.LASTING, Need.REVIEW_ON, Need.UNREAD}
    for one in found.people:
        assert again[one.person].holds == one.holds
        assert again[one.person].reasons == tuple(each for each in one.reasons if each.need not in programs)
