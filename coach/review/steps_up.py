"""Find what the programs of everybody in a clinic ask: steps up, trouble that lasts, a day of review."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import replace
from datetime import date
from itertools import groupby
from typing import Any, NamedTuple

from coach.errors import ProgramError
from coach.logbook.files import UnreadableError
from coach.program.model import Program
from coach.program_files import read, shipped
from coach.review.columns import Clinic, ask
from coach.review.logbooks import EPOCH, Member
from coach.session.past import PastExercise, PastSession
from coach.session.progression import alarming, lasting
from coach.session.proposals import proposals

Rows = Iterable[dict[str, Any]]


class ProgramAsks(NamedTuple):
    """What the program of a person's last session asks."""

    steps_up: tuple[int, ...] | None
    """Of each step up that waits, the sessions that it rests on; None: not known."""
    lasting: int | None
    """Exercises in trouble that lasts; None: not known."""
    review_on: date | None


def asked_of_programs(clinic: Clinic, today: date) -> dict[str, ProgramAsks]:
    """Return it by person; people without a kept program file here are left out."""
    if not clinic.members:
        return {}
    programs: dict[str, Program | None] = {}
    waiting = {}
    for person, rows in groupby(ask(clinic.engine, "past"), lambda row: str(row["person"])):
        member, known = clinic.members[person], list(rows)
        digest = known[0]["digest"]
        if digest not in programs:
            programs[digest] = _kept(member, known[0]["program"], digest)
        program = programs[digest]
        if program is not None:
            history = (*past(known), *clinic.unread.get(person, ()))
            on = program.written_by.review_on
            decided = clinic.decided.get(person)
            if decided is None:  # an unreadable decision may have been made since
                waiting[person] = ProgramAsks(None, None, on)
                continue
            due = [one for one in proposals(program, history, decided.decisions, today) if one.due]
            troubled = lasting(program, history, decided.decisions, today)
            waiting[person] = ProgramAsks(tuple(one.rests_on for one in due), len(troubled), on)
    return waiting


def past(rows: Rows) -> Iterator[PastSession]:
    """Yield the earlier sessions of one person, from the rows of past.sql."""
    for _, some in groupby(rows, lambda row: row["session"]):
        each = list(some)
        first = each[0]
        exercises = tuple(_exercise(row) for row in each if row["exercise"] is not None)
        session = PastSession(
            day=date.fromordinal(first["day_number"] + EPOCH),
            why=first["why"] or "",
            exercises=exercises,
            began=first["began"].replace("Z", "+00:00"),
            next_day_worse=first["next_day_worse"],
            session=first["session"],
            next_in_days=first["next_in_days"],
            gave_way=bool(first["gave_way"]),
        )
        if exercises or session.next_day_worse or alarming(session):
            yield session


def _exercise(row: dict[str, Any]) -> PastExercise:
    flags: dict[str, Any] = {name: bool(row[name]) for name in ("unsteady", "eased", "pain_unanswered")}
    told = {
        name: row[name]
        for name in ("exercise", "level", "target", "sets_planned", "sets_in_full", "pain", "effort", "least")
    }
    return PastExercise(**told, **flags)


def _kept(member: Member, name: str, digest: str) -> Program | None:
    """Return the program version with that digest, kept or shipped."""
    try:
        path = member.home.kept(member.at_home.id, name, digest) or shipped().get(name)
        program = None if path is None else replace(read(path), id=name)  # a copy's own name holds its digest
    except (ProgramError, UnreadableError):
        return None
    return program if program is not None and program.digest == digest else None
