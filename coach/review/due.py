"""Work out on which days a session was due, and how the person kept to them: THE definition of adherence."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date, timedelta


@dataclass(frozen=True, slots=True)
class Came:
    """One session, as the rules of urgency ask for it. A session that broke off and was resumed is one."""

    session: str
    began: str
    """UTC, ISO 8601."""
    day: date
    """Local day."""
    program: str
    why: str
    """Why it ended; empty: its end is missing."""
    next_in_days: int | None
    """Days to the next session, as announced; None: not announced."""
    worked: bool
    """Whether a set began: THE definition of a session that was done."""
    sets_planned: int
    sets_in_full: int
    pain: int | None
    """Highest pain stated, of a band its upper end; None: none was."""
    worse: bool | None
    """Its answer about the morning after the session before; None: not asked or not answered."""
    asked: int
    """Questions that were put."""
    unheard: int
    """Of these, those that were put again, or never answered."""


@dataclass(frozen=True, slots=True)
class Adherence:
    """Sessions compared with the program's schedule."""

    due: int
    """Days with a due session, until the day before the review; the review's day counts only if it was done."""
    done: int
    """Sessions in which work began."""
    came: int
    """Sessions that were started, with or without work."""
    last: date | None
    """Day of the last session, also before the period of the review."""
    missed_since: int
    """Days with a due session after it."""


def adherence(sessions: Sequence[Came], due: Sequence[date], first: date) -> Adherence:
    """Return how the person kept to the days from `first` on; `due` are all days on which a session was due."""
    last = max((one.day for one in sessions), default=None)
    return Adherence(
        due=sum(day >= first for day in due),
        done=sum(one.worked for one in sessions if one.day >= first),
        came=sum(one.day >= first for one in sessions),
        last=last,
        missed_since=0 if last is None else sum(day > last for day in due),
    )


def due_days(sessions: Iterable[Came], today: date) -> tuple[date, ...]:
    """Return the days on which a session was due, of all programs together, in order.

    The first session of a program is due. The next is due the number of days later that this session announced. If the
    person did not come, the one after is due after the shortest time that any session of the program announced. A late
    session makes up for the missed day; an early one was not due. `today` is due only if the person came, because the
    day is not over. A program that was replaced by another is no longer due after its last session.
    """
    mine: dict[str, list[Came]] = {}
    for one in sessions:
        mine.setdefault(one.program, []).append(one)
    newest = max((one.day for some in mine.values() for one in some), default=today)
    for some in mine.values():
        some.sort(key=lambda one: (one.began, one.session))
    last_program = {program for program, some in mine.items() if some[-1].day == newest}
    began_last = min((mine[name][0].day for name in last_program), default=today)
    days: list[date] = []
    for program, some in mine.items():
        running = program in last_program or some[-1].day >= began_last
        days += _due(some, today if running else some[-1].day + timedelta(days=1))
    return tuple(sorted(days))


def _due(sessions: Sequence[Came], until: date) -> list[date]:
    """Return the due days of one program before `until`, and `until` itself if the person came."""
    told = [one.next_in_days for one in sessions if one.next_in_days and one.next_in_days > 0]
    every = min(told, default=1)
    came = {one.day: one.next_in_days or every for one in sessions}
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
