"""Work out on which days a session was due, from the past sessions and the program's schedule."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from datetime import date, timedelta

from coach.logbook.decisions import local_moment
from coach.logbook.logged import Brief
from coach.program.model import Program


def due_days(sessions: Iterable[Brief], programs: Mapping[str, Program], today: date) -> tuple[date, ...]:
    """Return the days on which a session was due, of all programs together, in order.

    The first session of a program is due. The next is due the number of days later that this session announced. If the
    person did not come, the one after is due by the schedule of the kept program version, or, if it was not kept, after
    the shortest time that any session of the program announced. A late session makes up for the missed day; an early
    one was not due. `today` is due only if the person came, because the day is not over. A program that was replaced by
    another is no longer due after its last session.
    """
    mine: dict[str, list[Brief]] = {}
    for one in sessions:
        if local_moment(one.began) is not None:
            mine.setdefault(one.program, []).append(one)
    newest = max((_day(one) for some in mine.values() for one in some), default=today)
    last_program = {some[-1].program for some in mine.values() if _day(some[-1]) == newest}
    days: list[date] = []
    for program, some in mine.items():
        some.sort(key=lambda one: (one.began, one.session))
        began_last = min((_day(mine[name][0]) for name in last_program), default=today)
        running = program in last_program or _day(some[-1]) >= began_last
        days += _due(some, programs, today if running else _day(some[-1]) + timedelta(days=1))
    return tuple(sorted(days))


def _due(sessions: Sequence[Brief], programs: Mapping[str, Program], until: date) -> list[date]:
    """Return the due days of one program before `until`, and `until` itself if the person came."""
    told = [one.next_in_days for one in sessions if one.next_in_days and one.next_in_days > 0]
    kept = next((programs[one.digest] for one in reversed(sessions) if one.digest in programs), None)
    every = kept.schedule.every_days if kept else min(told, default=1)
    came: dict[date, int] = {}
    for one in sessions:
        came[_day(one)] = one.next_in_days or every
    due: list[date] = []
    following: date | None = None
    for day in sorted(came):
        while following is not None and following < day:
            due.append(following)
            following += timedelta(days=every)
        if following is None or following == day:
            due.append(day)
        following = day + timedelta(days=max(1, came[day]))
    while following is not None and following < until:
        due.append(following)
        following += timedelta(days=every)
    return due


def _day(session: Brief) -> date:
    began = local_moment(session.began)
    assert began is not None
    return began.date()
