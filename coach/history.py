"""What the plan needs of the logbook: earlier sessions of one program, from the records."""

from __future__ import annotations

from collections.abc import Iterable
from datetime import datetime

from coach.logbook import SessionRecord
from coach.logbook.assembled import edge
from coach.logbook.kinds import Answer
from coach.session.past import PastExercise, PastSession
from coach.session.plan import NEXT_DAY


def past(records: Iterable[SessionRecord], program: str) -> tuple[PastSession, ...]:
    """Return the earlier sessions of `program` in which work began, oldest first."""
    sessions = [_session(record) for record in records if record.program == program and record.sets and record.began]
    return tuple(sorted(sessions, key=lambda session: session.day))


def _session(record: SessionRecord) -> PastSession:
    day = datetime.fromisoformat(record.began).astimezone().date()
    names = list(dict.fromkeys(one.exercise for one in record.sets))
    return PastSession(day, record.why, tuple(_exercise(record, name) for name in names))


def _exercise(record: SessionRecord, name: str) -> PastExercise:
    sets = [one for one in record.sets if one.exercise == name]
    planned = next((one for one in record.plan if one.exercise == name), None)
    eased = [step for step in record.steps if step.exercise == name and step.what != "slower"]
    lasting = [step for step in eased if step.what == "level" and not _for_today_only(step.because)]
    unsteady = any(halt.exercise == name and halt.why == "unsteady" for halt in record.halts)
    return PastExercise(
        exercise=name,
        level=str(lasting[-1].after) if lasting else planned.level if planned else sets[0].level,
        target=planned.target if planned else sets[0].planned_high,
        sets_planned=planned.sets if planned else len(sets),
        sets_in_full=sum(one.in_full for one in sets),
        pain=_highest([*(one.pain for one in sets), *(h.pain for h in record.halts if h.exercise == name)]),
        effort=_highest(one.effort for one in sets),
        unsteady=unsteady or any(one.why in ("unsteady", "halted_unsteady") for one in sets),
        eased=bool(eased),
    )


def _for_today_only(because: str) -> bool:
    """A screen answer eases one day; a worse next day, a limit or the person's wish steps down until it is decided."""
    return because.startswith("screen.") and because != f"screen.{NEXT_DAY}"


def _highest(values: Iterable[Answer]) -> int | None:
    return max((highest for value in values if (highest := edge(value)) is not None), default=None)
