"""Tell how everybody in a clinic is doing, and who needs a look, the most urgent first."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, fields
from datetime import date, timedelta
from itertools import groupby
from typing import Any

from coach.loglines.safety import SafetySign
from coach.review.columns import Clinic, ask
from coach.review.due import Came, adherence, due_days
from coach.review.logbooks import EPOCH, NotCounted
from coach.review.steps_up import ProgramAsks, asked_of_programs
from coach.review.urgency import Beside, Need, WhyLook, reasons
from coach.session.safety_holds import SafetyHold, SafetyOccasion, safety_holds

STRIP_DAYS = 56
"""Days covered by days.sql."""
RECENT = 28
"""Days that count as recent on the page, today included."""


@dataclass(frozen=True, slots=True)
class Standing:
    """One person's status; the fields up to `recent_halts` are the columns of people.sql."""

    person: str
    sessions: int
    last_day: int | None
    """Day number of the last session."""
    recent_sets_in_full: int | None
    recent_sets_planned: int | None
    recent_tension_s: float | None
    recent_tension_planned_s: float | None
    pain_now: float | None
    """Mean of the highest pain in each of the last three sessions with a stated pain."""
    pain_now_of: int | None
    pain_banded: int
    """1: some of these pains are the upper end of a band; else 0."""
    recent_halts: int
    recent_done: int | None = None
    """Sessions with work in the last 28 days; None: there is no session yet."""
    recent_due: int | None = None
    name: str = ""
    reasons: tuple[WhyLook, ...] = ()
    """Why somebody should look, most urgent first; empty: no reason is known."""
    holds: tuple[SafetyHold, ...] = ()
    """Why nothing may begin for them today."""
    days: tuple[tuple[int, bool, int | None], ...] = ()
    """For each of the last 56 days with a session: day (0: today, -1: yesterday), whether work began, highest pain."""

    @property
    def needs(self) -> tuple[Need, ...]:
        """Why somebody should look, most urgent first."""
        return tuple(one.need for one in self.reasons)

    @property
    def urgency(self) -> tuple[int, int, str]:
        """Sort key: the most urgent need, then how many there are, and the id."""
        return min(self.needs, default=len(Need)), -len(self.needs), self.person


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
    came = _by_person(ask(engine, "came"))
    signs = _by_person(ask(engine, "signs"))
    asked = asked_of_programs(clinic, today)
    columns = {one.name for one in fields(Standing)}
    people = []
    for row in ask(engine, "people"):
        person = row["person"]
        sessions = [_came(one) for one in came.get(person, ())]
        holds = _holds(signs.get(person, ()), today)
        program = asked.get(person, ProgramAsks(None, None, None))
        beside = Beside(holds, program.steps_up, program.lasting, program.review_on, person in clinic.unread)
        due = due_days(sessions, today)
        kept = adherence(sessions, due, today - timedelta(days=RECENT - 1))
        people.append(
            Standing(
                **{name: value for name, value in row.items() if name in columns},
                recent_done=kept.done if sessions else None,
                recent_due=kept.due if sessions else None,
                name=clinic.members[person].at_home.name if person in clinic.members else "",
                reasons=reasons(sessions, beside, today, due),
                holds=holds,
                days=tuple(days.get(person, ())),
            )
        )
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


_Row = dict[str, Any]


def _by_person(rows: Iterable[_Row]) -> dict[str, list[_Row]]:
    return {str(person): list(some) for person, some in groupby(rows, lambda row: row["person"])}


def _day(number: int | None) -> date | None:
    return None if number is None else date.fromordinal(number + EPOCH)


def _came(row: _Row) -> Came:
    """Return a session from a row of came.sql."""
    return Came(
        session=row["session"],
        began=row["began"],
        day=date.fromordinal(row["day_number"] + EPOCH),
        program=row["program"] or "",
        why=row["why"] or "",
        next_in_days=row["next_in_days"],
        worked=row["sets_begun"] > 0,
        sets_planned=row["sets_planned"],
        sets_in_full=row["sets_in_full"],
        pain=row["pain"],
        worse=row["worse"],
        asked=row["asked"],
        unheard=row["unheard"],
    )


def _holds(rows: Iterable[_Row], today: date) -> tuple[SafetyHold, ...]:
    """Return why nothing may begin for a person, from their rows of signs.sql."""
    told: list[SafetyOccasion] = []
    kept: list[SafetyHold] = []
    cleared = set()
    for row in rows:
        sign = SafetySign(
            row["why"], row["times"], row["days"], row["effect"], row["question"], row["asked"], row["answer"],
            row["call"],
        )  # fmt: skip
        day, program = _day(row["day_number"]), row["program"] or ""
        if row["kept"]:
            kept.append(SafetyHold(row["session"], row["began"], day, program, sign))
        else:
            told.append(SafetyOccasion(row["session"], row["whole"], row["began"], day, program, (sign,)))
        if row["cleared"]:
            cleared.add(row["session"])
    return safety_holds(told, kept, cleared, today)
