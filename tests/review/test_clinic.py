"""A clinic's review gives the true figures of known histories, and names those who need a look."""

from __future__ import annotations

import shutil
from dataclasses import replace
from datetime import timedelta
from pathlib import Path

import pytest
from clinics import TODAY, make_clinic

from coach.review.clinic import ClinicReview, Standing, look
from coach.review.columns import open_clinic, write_columns
from coach.review.urgency import Need
from coach.testing.histories import TrueHistory

RECENT = 28


@pytest.fixture(scope="module")
def truth(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, dict[str, TrueHistory]]:
    root = tmp_path_factory.mktemp("clinic")
    return root, make_clinic(root)


@pytest.fixture(scope="module")
def review(truth: tuple[Path, dict[str, TrueHistory]]) -> ClinicReview:
    return look(open_clinic(truth[0]), TODAY)


def person(review: ClinicReview, wanted: str) -> Standing:
    return next(one for one in review.people if one.person == wanted)


def recent(true: TrueHistory) -> int:
    """Return the day of that history from which on sessions are recent."""
    return (TODAY - true.begins).days - RECENT + 1


PEOPLE = ["ana", "bo", "cy", "dot", "eli"]


@pytest.mark.parametrize("who", PEOPLE)
def test_sessions_done_of_those_due_are_the_true_ones(
    who: str, truth: tuple[Path, dict[str, TrueHistory]], review: ClinicReview
) -> None:
    true, one = truth[1][who], person(review, who)
    since = recent(true)
    came = [session.day for session in true.sessions]

    assert one.recent_done == sum(day >= since for day in came)
    ended = (TODAY - true.until).days
    if not ended:  # after its end nobody knows of a history what was due
        today = (TODAY - true.begins).days
        assert one.recent_due == sum(day >= since and (day < today or day in came) for day in true.due)


@pytest.mark.parametrize("who", PEOPLE)
def test_sets_tension_and_halts_are_the_true_ones(
    who: str, truth: tuple[Path, dict[str, TrueHistory]], review: ClinicReview
) -> None:
    true, one = truth[1][who], person(review, who)
    visits = [session.visit for session in true.sessions if session.day >= recent(true)]
    sets = [each for visit in visits for each in visit.sets]

    assert one.recent_sets_in_full == sum(each.why in ("done", "enough") for each in sets)
    assert one.recent_tension_s == pytest.approx(sum(each.tension_s for each in sets))
    assert one.recent_tension_planned_s == pytest.approx(sum(each.tension_planned_s for each in sets))
    assert one.recent_halts == sum(len(visit.halts) for visit in visits)


@pytest.mark.parametrize("who", ["ana", "cy", "dot", "eli"])
def test_pain_now_is_the_true_mean(who: str, truth: tuple[Path, dict[str, TrueHistory]], review: ClinicReview) -> None:
    one = person(review, who)
    told = [visit.highest for session in truth[1][who].sessions if (visit := session.visit).highest is not None]

    assert one.pain_now == pytest.approx(sum(told[-3:]) / 3)
    assert (one.pain_now_of, one.pain_banded) == (3, 0)


def test_a_band_counts_by_its_upper_end_and_says_so(
    truth: tuple[Path, dict[str, TrueHistory]], review: ClinicReview
) -> None:
    one = person(review, "bo")
    sessions = truth[1]["bo"].sessions[-3:]
    ends = [
        max((0 if band == "none" else int(str(band).rpartition("-")[2]))
            for each in session.visit.sets if (band := session.visit.written(each.pain)) is not None)
        for session in sessions
    ]  # fmt: skip

    assert one.pain_banded == 1
    assert one.pain_now == pytest.approx(sum(ends) / 3)


def test_people_who_need_a_look_are_named_with_true_reasons(review: ClinicReview) -> None:
    needs = {one.person: one.needs for one in review.people}

    assert needs["eli"][0] is Need.SAFETY
    assert Need.PAIN in needs["dot"]
    assert needs["cy"][0] is Need.STOPPED
    assert needs["fay"] == (Need.NOT_BEGUN,)
    assert Need.STOPPED not in needs["ana"] + needs["dot"] + needs["eli"]


def test_the_most_urgent_come_first(review: ClinicReview) -> None:
    first = [min(one.needs, default=len(Need)) for one in review.people]

    assert first == sorted(first)
    assert review.people[0].person == "eli"


def test_the_days_are_those_on_which_they_came(
    truth: tuple[Path, dict[str, TrueHistory]], review: ClinicReview
) -> None:
    true = truth[1]["ana"]
    today = (TODAY - true.begins).days

    expected = tuple((one.day - today, bool(one.visit.sets), one.visit.highest) for one in true.sessions)
    assert person(review, "ana").days == expected


def test_columns_give_the_same(
    truth: tuple[Path, dict[str, TrueHistory]], review: ClinicReview, tmp_path: Path
) -> None:
    write_columns(open_clinic(truth[0]), tmp_path)

    again = look(open_clinic(tmp_path), TODAY)

    def known(one: Standing) -> Standing:
        of_programs = (Need.STEP_UP, Need.LASTING, Need.REVIEW_ON)
        return replace(one, name="", reasons=tuple(each for each in one.reasons if each.need not in of_programs))

    assert sorted(map(known, review.people), key=repr) == sorted(again.people, key=repr)
    assert (again.sessions, again.sets) == (review.sessions, review.sets)


def test_no_measure_crosses_from_one_person_to_another(truth: tuple[Path, dict[str, TrueHistory]], tmp_path: Path,
                                                       review: ClinicReview) -> None:  # fmt: skip
    alone = tmp_path / "alone"
    shutil.copytree(truth[0] / "people" / "ana", alone / "people" / "ana")

    assert look(open_clinic(alone), TODAY).people == (person(review, "ana"),)


def test_one_more_session_never_lowers_a_total(truth: tuple[Path, dict[str, TrueHistory]], tmp_path: Path) -> None:
    home = tmp_path / "home"
    shutil.copytree(truth[0], home)
    paths = sorted((home / "people" / "ana" / "sessions").glob("*.jsonl"))
    aside = paths[-5].read_bytes()
    paths[-5].unlink()
    less = look(open_clinic(home), TODAY)
    paths[-5].write_bytes(aside)
    more = look(open_clinic(home), TODAY)

    assert (more.sessions, less.sessions + 1) == (less.sessions + 1, more.sessions)
    before, after = person(less, "ana"), person(more, "ana")
    for name in ("sessions", "recent_done", "recent_sets_in_full", "recent_tension_s", "recent_halts"):
        assert getattr(after, name) >= getattr(before, name)


def test_sessions_of_a_clock_that_ran_ahead_are_listed_and_not_counted(
    truth: tuple[Path, dict[str, TrueHistory]],
) -> None:
    early = look(open_clinic(truth[0]), TODAY - timedelta(days=3))
    all_of_them = look(open_clinic(truth[0]), TODAY)

    late = [one for one in early.left_out if "began after today" in one.text]
    assert late
    assert early.sessions + len(late) == all_of_them.sessions
