"""`coach goals`: kept in the person's words, asked about when they are due, and shown with what was answered."""

from __future__ import annotations

from collections.abc import Callable
from datetime import UTC, date, datetime, timedelta
from pathlib import Path
from random import Random

import pytest

from coach.cli import main
from coach.cli.session_setup import halts_in, planned
from coach.logbook.store import Home
from coach.program_files import open_file, shipped
from coach.session.goals import goals_due
from coach.session.past import Goal, Rating
from coach.session.plan import Today
from coach.testing import RandomPerson, live_in

BEGINS = datetime(2027, 1, 11, 9, tzinfo=UTC)
Run = Callable[..., tuple[int, str, str]]


@pytest.fixture
def home(tmp_path: Path) -> Home:
    home = Home(tmp_path / "home")
    home.add_person("sam")
    return home


@pytest.fixture
def run(home: Home, capsys: pytest.CaptureFixture[str]) -> Run:
    def run(*words: str) -> tuple[int, str, str]:
        status = main(["goals", "sam", *words, "--home", str(home.root)])
        return status, *capsys.readouterr()

    return run


def today_after(home: Home, days: int) -> tuple[Home, Today]:
    later = Home(home.root, lambda: BEGINS + timedelta(days=days))
    return later, planned(open_file(shipped()["ankle_steady"], halts_in), later, "sam").today


def test_a_goal_is_asked_about_in_the_next_session_and_again_when_two_weeks_have_passed(home: Home, run: Run) -> None:
    run("--add", "carry the shopping upstairs")
    later, today = today_after(home, 0)
    assert [goal.text for goal in today.goals] == ["carry the shopping upstairs"]

    live_in(later, "sam", today, RandomPerson(Random(1), odd=0.0, silent=0.0))
    assert [len(today_after(home, days)[1].goals) for days in (1, 13, 14, 40)] == [0, 0, 1, 1]

    later, today = today_after(home, 14)
    live_in(later, "sam", today, RandomPerson(Random(5), odd=0.0, silent=0.0))
    told = run()[1]
    values = dict(later.history("sam").briefs[-1].goals)
    assert "g1  carry the shopping upstairs: " in told
    assert f"{values['g1']} on 2027-01-25, rated 2 times" in told


def test_a_goal_that_is_dropped_is_asked_about_no_more_and_its_id_means_no_other(home: Home, run: Run) -> None:
    run("--add", "dance")
    run("--drop", "g1")
    assert "No goal yet" in run()[1]

    run("--add", "swim")

    assert [goal.id for goal in home.decisions("sam").goals] == ["g2"]
    assert [goal.text for goal in today_after(home, 0)[1].goals] == ["swim"]


@pytest.mark.parametrize(
    ("words", "told"),
    [
        (("--add", "stop at the bench"), 'holds "stop", which would stop a session'),
        (("--add", "  "), "a few words"),
        (("--add", "x" * 61), "61 characters"),
        (("--drop", "g1"), "there is none"),
    ],
)
def test_what_cannot_be_asked_aloud_is_refused_and_nothing_is_written(
    home: Home, run: Run, words: tuple[str, str], told: str
) -> None:
    status, _, error = run(*words)

    assert status == 2
    assert told in error
    assert not home.person("sam").decisions.exists()


def test_three_goals_are_enough(home: Home, run: Run) -> None:
    for text in ("dance", "swim", "sing"):
        run("--add", text)

    status, _, error = run("--add", "fly")

    assert (status, len(home.decisions("sam").goals)) == (2, 3)
    assert "drop one first" in error


def test_a_rating_of_the_future_puts_no_question_off() -> None:
    goal, day = Goal("g1", "dance"), date(2027, 1, 11)

    assert goals_due([goal], [Rating("g1", day + timedelta(days=400), 3)], day, 14) == (goal,)
