"""Tell how everybody in a clinic is doing, and who needs a look, the most urgent first."""

from __future__ import annotations

from dataclasses import dataclass, fields
from datetime import date
from enum import IntEnum

from coach.review.asks import PAIN_RISE, STOPPED_AFTER
from coach.review.columns import Clinic, ask
from coach.review.logbooks import EPOCH, NotCounted
from coach.review.steps_up import steps_up

PAIN_BEFORE = 3
"""Earlier sessions with a stated pain that are needed to compare the last three with."""
WORSE = 2
"""Worse mornings in the last 28 days from which on they are a need. Our own choice."""
STRIP_DAYS = 56
"""Days covered by days.sql."""

FOR_SAFETY = ("pain", "unsteady", "halts", "no_answer_halt", "screen", "tired")
"""Ends of a session that somebody should look at before the next session."""
OF_MACHINE = ("not_heard", "deaf", "mute", "interrupted", "told_to_end", "no_answer")
"""Ends of a session caused by the machine, the room or the hearing."""


class Need(IntEnum):
    """Why somebody should look, the most urgent first."""

    SAFETY = 0
    """The last session ended for safety."""
    PAIN = 1
    """Pain is rising."""
    WORSE = 2
    """Pain was worse on mornings after sessions."""
    STOPPED = 3
    """The person has stopped coming."""
    STEP_UP = 4
    """A step up is proposed and waits for a decision."""
    MACHINE = 5
    """The last session ended because of the machine, the room or the hearing."""
    UNREAD = 6
    """Some of their session files cannot be read."""
    NOT_BEGUN = 7
    """There is no session yet."""


@dataclass(frozen=True, slots=True)
class Standing:
    """One person's status; the fields up to `recent_worse` are the columns of people.sql."""

    person: str
    sessions: int
    program: str | None
    last_session: str | None
    last_day: int | None
    """Day number of the last session."""
    last_why: str | None
    next_due: int | None
    missed_now: int | None
    """Sessions due since the last one, without today's."""
    recent_done: int | None
    recent_due: int | None
    recent_sets_in_full: int | None
    recent_sets_planned: int | None
    recent_tension_s: float | None
    recent_tension_planned_s: float | None
    pain_now: float | None
    """Mean of the highest pain in each of the last three sessions with a stated pain."""
    pain_now_of: int | None
    pain_before: float | None
    """The same mean of the six sessions (or fewer) before those."""
    pain_before_of: int | None
    pain_banded: int
    """1: some of these pains are the upper end of a band; else 0."""
    recent_pain_untold: int | None
    recent_halts: int
    recent_mornings: int
    """Answers about the morning after."""
    recent_worse: int
    name: str = ""
    unread: bool = False
    """True: some or all of their session files cannot be read."""
    steps_up: int | None = None
    """Step-ups that wait for a decision; None: not known."""
    days: tuple[tuple[int, bool, int | None], ...] = ()
    """For each of the last 56 days with a session: day (0: today, -1: yesterday), whether work began, highest pain."""

    @property
    def needs(self) -> tuple[Need, ...]:
        """Why somebody should look, most urgent first; empty: no reason is known."""
        found = {
            Need.SAFETY: self.last_why in FOR_SAFETY,
            Need.PAIN: self.pain_rise >= PAIN_RISE,
            Need.WORSE: self.recent_worse >= WORSE,
            Need.STOPPED: (self.missed_now or 0) >= STOPPED_AFTER,
            Need.STEP_UP: bool(self.steps_up),
            Need.MACHINE: self.last_why in OF_MACHINE,
            Need.UNREAD: self.unread,
            Need.NOT_BEGUN: not self.sessions and not self.unread,
        }
        return tuple(need for need in Need if found[need])

    @property
    def pain_rise(self) -> float:
        """Rise in pain, in points; 0 if too few pains were stated."""
        if self.pain_now is None or self.pain_before is None or (self.pain_before_of or 0) < PAIN_BEFORE:
            return 0.0
        return self.pain_now - self.pain_before

    @property
    def urgency(self) -> tuple[int, float, int, str]:
        """Sort key: the most urgent need, then the rise in pain, the sessions missed and the id."""
        first = min(self.needs, default=len(Need))
        return first, -self.pain_rise, -(self.missed_now or 0), self.person


@dataclass(frozen=True, slots=True)
class ClinicReview:
    """A whole clinic on one day."""

    today: date
    people: tuple[Standing, ...]
    """Everybody, most urgent first."""
    sessions: int
    sets: int
    left_out: tuple[NotCounted, ...] = ()

    def of(self, need: Need) -> tuple[Standing, ...]:
        """Return those who have this need."""
        return tuple(one for one in self.people if need in one.needs)


def look(clinic: Clinic, today: date) -> ClinicReview:
    """Return the review of a clinic as of `today`, the local day."""
    engine = clinic.engine
    engine.execute(f"CREATE OR REPLACE TEMPORARY VIEW today AS SELECT {today.toordinal() - EPOCH} AS day_number")
    days: dict[str, list[tuple[int, bool, int | None]]] = {}
    for row in ask(engine, "days"):
        days.setdefault(row["person"], []).append((row["day"], bool(row["worked"]), row["pain"]))
    waiting = steps_up(clinic, today)
    columns = {one.name for one in fields(Standing)}
    people = [
        Standing(
            **{name: value for name, value in row.items() if name in columns},
            name=clinic.members[row["person"]].at_home.name if row["person"] in clinic.members else "",
            unread=row["person"] in clinic.unread,
            steps_up=waiting.get(row["person"]),
            days=tuple(days.get(row["person"], ())),
        )
        for row in ask(engine, "people")
    ]
    left_out = [
        NotCounted(*row) for row in engine.execute("SELECT file, line, text FROM left_out ORDER BY ALL").fetchall()
    ]
    left_out += [
        NotCounted(f"{row['person']}, session {row['session']}", 0, "began after today: check the clock of its machine")
        for row in ask(engine, "later")
    ]
    (counts,) = ask(engine, "counts")
    return ClinicReview(
        today,
        tuple(sorted(people, key=lambda one: one.urgency)),
        counts["sessions"],
        counts["sets"],
        tuple(left_out),
    )
