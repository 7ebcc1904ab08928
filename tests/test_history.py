"""Which day a session counts for and when the next is due, whatever the clocks of people and machines do."""

from __future__ import annotations

import os
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import replace
from datetime import UTC, date, datetime, timedelta
from pathlib import Path
from random import Random
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from coach.history import broken_off, day_of, past
from coach.logbook import SessionRecord
from coach.logbook.fields import fact
from coach.logbook.session_record import HaltRecord
from coach.logbook.store import Home
from coach.program_files import read, shipped
from coach.review.due import Came, due_days
from coach.session.plan import due_on, plan
from coach.testing import RandomPerson, live_in

Told = list[tuple[str, int, dict[str, Any]]]

ANKLE = read(shipped()["ankle_steady"])

ZONES = (
    "UTC0",
    "CET-1CEST,M3.5.0,M10.5.0/3",
    "EST5EDT,M3.2.0,M11.1.0",
    "KST-9",
    "NZST-12NZDT,M9.5.0,M4.1.0/3",
    "<-03>3",
    "<+1245>-12:45<+1345>,M9.5.0/2:45,M4.1.0/3:45",
    "<+1030>-10:30<+11>-11,M10.1.0,M4.1.0",
    "<-04>4<-03>,M9.1.6/24,M4.1.6/24",
    "EET-2EEST,M3.5.0/0,M10.5.0/0",
    "EET-2EEST,M4.5.5/0,M10.5.4/24",
    "<-12>12",
    "<+14>-14",
    "Nowhere/Land",
    "",
)
"""Places as POSIX writes them, with the days on which their clocks change: by half an hour too, and at midnight, so
that a day has no 00:00 or two 23:30; both sides of the date line; a zone that there is not, and none."""

pytestmark = pytest.mark.skipif(not hasattr(time, "tzset"), reason="the zone of a process cannot be set here")


@contextmanager
def living_in(zone: str) -> Iterator[None]:
    before = os.environ.get("TZ")
    os.environ["TZ"] = zone
    time.tzset()
    try:
        yield
    finally:
        del os.environ["TZ"]
        if before is not None:
            os.environ["TZ"] = before
        time.tzset()


def written(root: Path, told: Told, moments: Callable[[], datetime]) -> SessionRecord:
    """Return a session as it is read back from the disk, its lines written at these moments."""
    home = Home(root, moments)
    home.add_person("mira")
    with home.begin("mira") as store:
        for kind, at, fields in told:
            more = {"session": store.session, "program": ANKLE.id} if kind == "session_begun" else {}
            store.append(at, fact(kind, fields | more))
    history = home.history("mira")
    assert history.problems == ()
    return history.records[0]


def clock(begin: datetime, steps: Iterator[timedelta]) -> Callable[[], datetime]:
    now = [begin]

    def tick() -> datetime:
        now[0] += next(steps, timedelta(0))
        return now[0]

    return tick


def each(seconds: float) -> Iterator[timedelta]:
    while True:
        yield timedelta(seconds=seconds)


@pytest.mark.parametrize("zone", ZONES)
def test_a_session_over_midnight_counts_for_the_evening_on_which_it_began(
    zone: str, tmp_path: Path, told: Told
) -> None:
    with living_in(zone):
        evening = datetime.fromtimestamp(time.mktime((2027, 1, 11, 23, 58, 0, 0, 0, -1)), UTC)
        record = written(tmp_path, told, clock(evening, each(20)))
        morning = date(2027, 1, 12)

        assert datetime.fromisoformat(record.ended).astimezone().date() >= morning
        assert day_of(record) == date(2027, 1, 11)
        due, _ = due_on(ANKLE, past([record], ANKLE.id), morning)
        assert due == date(2027, 1, 11) + timedelta(days=record.next_in_days or 0)


SPECIAL = tuple(
    datetime(year, month, day, tzinfo=UTC)
    for year, month, day in ((2028, 2, 29), (2032, 2, 29), (2027, 3, 28), (2027, 10, 31), (2027, 3, 14), (2027, 11, 7),
                             (2027, 12, 31), (2027, 4, 4), (2027, 9, 26))
)  # fmt: skip
"""Leap days, changes of the clocks in ZONES, and the end of a year."""
NEAR = st.builds(
    lambda at, minutes: at + timedelta(minutes=minutes), st.sampled_from(SPECIAL), st.integers(-3000, 3000)
)
ANY = st.integers(0, 6 * 366 * 24 * 60).map(
    lambda minutes: datetime(2027, 1, 1, tzinfo=UTC) + timedelta(minutes=minutes)
)


def came(record: SessionRecord) -> Came:
    day = day_of(record)
    assert day is not None
    return Came(record.session, record.began, day, record.program, record.why, record.next_in_days, worked=True,
                sets_planned=1, sets_in_full=1, pain=None, worse=None, asked=0, unheard=0)  # fmt: skip


@given(
    zone=st.sampled_from(ZONES),
    moment=NEAR | ANY,
    gaps=st.lists(st.integers(1, 9), min_size=1, max_size=6),
    said=st.integers(1, 7),
)  # fmt: skip
def test_days_are_those_of_the_place_and_the_schedule_counts_calendar_days(
    kept: SessionRecord, zone: str, moment: datetime, gaps: list[int], said: int
) -> None:
    with living_in(zone):
        records, at = [], moment
        for number, gap in enumerate(gaps):
            began = at.isoformat(timespec="milliseconds").replace("+00:00", "Z")
            records.append(replace(kept, session=f"s{number}", began=began, next_in_days=said))
            at += timedelta(days=gap)
        days = [date(*time.localtime(datetime.fromisoformat(one.began).timestamp())[:3]) for one in records]
        sessions = past(records, ANKLE.id)

        assert [session.day for session in sessions] == days
        due, _ = due_on(ANKLE, sessions, days[-1])
        assert due is not None
        assert (due - days[-1]).days == said
        assert plan(ANKLE, sessions, due).due == due
        over = due_days([came(one) for one in records], days[-1])
        assert list(over) == sorted(set(over))
        assert all(day <= days[-1] for day in over)
        assert over[0] == days[0]


def day_in(zone: str, at: datetime) -> date:
    with living_in(zone):
        return at.astimezone().date()


@settings(max_examples=40)
@given(
    zones=st.tuples(st.sampled_from(ZONES), st.sampled_from(ZONES)),
    moment=NEAR | ANY,
    gaps=st.lists(st.integers(1, 9), min_size=1, max_size=6),
)  # fmt: skip
def test_whoever_travels_has_the_same_session_due_sooner_or_later_by_no_more_than_the_calendars_differ(
    kept: SessionRecord, zones: tuple[str, str], moment: datetime, gaps: list[int]
) -> None:
    records, at, differ = [], moment, [0]
    for number, gap in enumerate(gaps):
        differ.append(abs((day_in(zones[0], at) - day_in(zones[1], at)).days))  # two, where 25 hours lie between
        records.append(replace(kept, session=f"s{number}", began=at.isoformat(), next_in_days=2))
        at += timedelta(days=gap)
    plans = []
    for zone in zones:
        with living_in(zone):
            plans.append(plan(ANKLE, past(records, ANKLE.id), Home(Path(), lambda: at).today()))
    there, here = plans

    assert [(one.level, one.target) for one in there.exercises] == [(one.level, one.target) for one in here.exercises]
    assert there.due is not None
    assert here.due is not None
    assert abs((there.due - here.due).days) <= max(differ)


def test_a_day_that_a_place_left_out_moves_the_next_session_by_no_more_than_it(kept: SessionRecord) -> None:
    with living_in("Pacific/Apia"):
        before = datetime(2011, 12, 30, 5, tzinfo=UTC)  # there the evening of the 29th; the 30th never was
        if time.localtime(before.timestamp() + 86_400).tm_mday != 31:
            pytest.skip("this system does not know that place")
        sessions = past([replace(kept, began=before.isoformat(), next_in_days=1)], ANKLE.id)
        today = Home(Path(), lambda: before + timedelta(days=1)).today()

        assert (sessions[0].day, today) == (date(2011, 12, 29), date(2011, 12, 31))
        assert due_on(ANKLE, sessions, today)[0] == date(2011, 12, 30)


def test_a_zone_that_changes_while_the_program_runs_is_noticed() -> None:
    late = datetime(2027, 1, 11, 23, tzinfo=UTC)
    with living_in("UTC0"):
        home = Home(Path(), lambda: late)
        before = home.today()
        os.environ["TZ"] = "KST-9"  # nobody tells the process

        assert (before, home.today()) == (date(2027, 1, 11), date(2027, 1, 12))


@pytest.mark.parametrize(
    ("last", "days", "due"),
    [
        (date(2028, 2, 28), 1, date(2028, 2, 29)),
        (date(2028, 2, 28), 2, date(2028, 3, 1)),
        (date(2028, 2, 29), 1, date(2028, 3, 1)),
        (date(2027, 2, 28), 1, date(2027, 3, 1)),
        (date(2028, 2, 22), 7, date(2028, 2, 29)),
    ],
)
def test_a_leap_day_is_a_day_like_any_other(kept: SessionRecord, last: date, days: int, due: date) -> None:
    with living_in("UTC0"):
        noon = datetime(last.year, last.month, last.day, 12, tzinfo=UTC).isoformat()
        sessions = past([replace(kept, began=noon, next_in_days=days)], ANKLE.id)

        assert due_on(ANKLE, sessions, due)[0] == due


@given(steps=st.lists(st.floats(-400 * 86400.0, 400 * 86400.0), max_size=30))
def test_a_time_of_day_that_jumps_in_a_session_changes_nothing_but_the_times_of_its_lines(
    tmp_path_factory: pytest.TempPathFactory, told: Told, kept: SessionRecord, steps: list[float]
) -> None:
    jumps = iter([timedelta(0)] * 3 + [timedelta(seconds=step) for step in steps])
    record = written(tmp_path_factory.mktemp("home"), told, clock(BEGAN, jumps))

    assert record.began == kept.began
    assert day_of(record) == day_of(kept)
    assert (record.seconds, record.sets, record.questions) == (kept.seconds, kept.sets, kept.questions)
    assert replace(past([record], ANKLE.id)[0], session="") == replace(past([kept], ANKLE.id)[0], session="")


@given(back=st.integers(1, 1000))
def test_a_clock_set_back_makes_no_session_harder_and_takes_up_nothing_of_the_future(
    kept: SessionRecord, back: int
) -> None:
    """The sessions done before are then dated after today."""
    today = day_of(kept)
    assert today is not None
    earlier = today - timedelta(days=back)
    known, fresh = plan(ANKLE, past([kept], ANKLE.id), earlier), plan(ANKLE, (), earlier)

    assert known.due is None
    assert [one.level for one in known.exercises] <= [one.level for one in fresh.exercises]
    assert "because_future" in [one.key for one in known.because]
    cut = replace(kept, why="quit")
    assert broken_off([cut], ANKLE.id, datetime.fromisoformat(cut.began).astimezone() - timedelta(days=back)) is None


BEGAN = datetime(2027, 1, 11, 9, 30, tzinfo=UTC)


@pytest.fixture(scope="module")
def kept(tmp_path_factory: pytest.TempPathFactory, told: Told) -> SessionRecord:
    """A session as it is read back whose clock stood still."""
    return written(tmp_path_factory.mktemp("kept"), told, lambda: BEGAN)


def test_unsteadiness_among_the_questions_counts_for_every_exercise_of_the_day(tmp_path: Path) -> None:
    home = Home(tmp_path)
    home.add_person("mira")
    live_in(home, "mira", plan(ANKLE, (), home.today()), RandomPerson(Random(0), odd=0.0, silent=0.0))
    record = replace(home.history("mira").records[0], halts=())
    halt = HaltRecord(0, "screening", "", 0, 0, 0, "", "", "", "keys", "unsteady", None)

    (before,), (now,) = past([record], ANKLE.id), past([replace(record, halts=(halt,))], ANKLE.id)

    assert len(now.exercises) > 1
    assert {one.unsteady for one in before.exercises} == {False}
    assert {one.unsteady for one in now.exercises} == {True}
