"""A session in the logbook: its brief, which later plans need, at once; its tally and whole record on demand."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from functools import cached_property

from coach.logbook.pain import highest, is_pain
from coach.logbook.session_record import QuestionRecord, SessionRecord, SetRecord
from coach.logbook.tallied import Tally, tally_of
from coach.loglines.safety import SafetySign, SignWhy
from coach.session.goals import GOAL
from coach.session.past import PastExercise
from coach.session.plan import NEXT_DAY


@dataclass(frozen=True, slots=True)
class Brief:
    """What a later plan needs of a session; most commands need no more."""

    session: str
    person: str
    program: str
    digest: str
    """SHA-256 of its program file, in hex; may be empty."""
    began: str
    """UTC, ISO 8601; may be empty."""
    continues: str
    """Id of the session that broke off and was taken up here; empty: none was."""
    why: str
    """Why it ended; empty: it has not, or its end is missing."""
    next_in_days: int | None
    next_day_worse: bool | None
    """Its answer about the morning after the session before; None: not asked or not answered."""
    goals: tuple[tuple[str, int], ...]
    """Id of each goal that was rated, and how near it was, 0-10."""
    signs: tuple[SafetySign, ...]
    """Its safety signs."""
    exercises: tuple[PastExercise, ...]
    """The exercises with a set that began."""


@dataclass(frozen=True)
class LoggedSession:
    """A session of a history: equal if its brief is."""

    brief: Brief
    fetch: Callable[[], SessionRecord] = field(compare=False, repr=False)
    """Returns the record. Raises RecordError if its file was changed since."""
    fetch_tally: Callable[[], Tally] | None = field(default=None, compare=False, repr=False)
    """Returns it added up, errors as for `fetch`; None: it is made of the record."""

    @cached_property
    def record(self) -> SessionRecord:
        """The whole record."""
        return self.fetch()

    @cached_property
    def tally(self) -> Tally:
        """What a review adds up of it."""
        return tally_of(self.record) if self.fetch_tally is None else self.fetch_tally()


def logged(session: LoggedSession | SessionRecord) -> LoggedSession:
    """Return a session as one of the logbook; a record gets its brief."""
    return session if isinstance(session, LoggedSession) else LoggedSession(brief_of(session), lambda: session)


def brief_of(record: SessionRecord) -> Brief:
    """Return the brief of a session."""
    pains = [one for one in record.questions if is_pain(one.question)]
    sets: dict[str, list[SetRecord]] = {}
    for one in record.sets:
        sets.setdefault(one.exercise, []).append(one)
    return Brief(
        session=record.session,
        person=record.person,
        program=record.program,
        digest=record.digest,
        began=record.began,
        continues=record.continues,
        why=record.why,
        next_in_days=record.next_in_days,
        next_day_worse=_next_day(record),
        exercises=tuple(_exercise(record, name, mine, pains) for name, mine in sets.items()),
        goals=tuple(_goals(record)),
        signs=(*record.signs, *_unsigned(record)),
    )


def _unsigned(record: SessionRecord) -> tuple[SafetySign, ...]:
    """Return what an older record tells without a line for it: it counts as an occasion, by no rule of its own."""
    told: dict[SignWhy, bool] = {
        "pain": record.why == "pain",
        "unsteady": record.why == "unsteady" or any(halt.why == "unsteady" for halt in record.halts),
    }
    signed = {sign.why for sign in record.signs}
    return tuple(SafetySign(why, times=0) for why, found in told.items() if found and why not in signed)


def _goals(record: SessionRecord) -> Iterator[tuple[str, int]]:
    for one in record.questions:
        goal = one.question.removeprefix(GOAL)
        if goal != one.question and isinstance(one.value, int) and not isinstance(one.value, bool):
            yield goal, one.value


def _next_day(record: SessionRecord) -> bool | None:
    """Return the answer about the morning after the session before; None: not asked or not answered."""
    answers = [one.value for one in record.questions if one.question == f"screen.{NEXT_DAY}"]
    return answers[-1] if answers and isinstance(answers[-1], bool) else None


OUT_OF_ANY = ""
"""Exercise of a halt outside any exercise; it counts for every exercise of the day."""
BEFORE_ANY = 0
"""Set of an answer before the first set of a session or of a part taken up; a pain counts for every exercise."""


def _exercise(record: SessionRecord, name: str, sets: list[SetRecord], pains: list[QuestionRecord]) -> PastExercise:
    planned = next((one for one in record.plan if one.exercise == name), None)
    eased = [step for step in record.steps if step.exercise == name and step.what != "slower"]
    lasting = [step for step in eased if step.what == "level" and not _for_today_only(step.because)]
    halts = [halt for halt in record.halts if halt.exercise in (name, OUT_OF_ANY)]
    ids = {BEFORE_ANY, *(one.set_id for one in sets)}
    before = [one.value for one in pains if one.set_id == BEFORE_ANY]
    asked = {one.set_id: one.answered for one in pains if one.set_id in ids}
    return PastExercise(
        exercise=name,
        level=str(lasting[-1].after) if lasting else planned.level if planned else sets[0].level,
        target=planned.target if planned else sets[0].planned_high,
        sets_planned=planned.sets if planned else len(sets),
        sets_in_full=sum(one.in_full for one in sets),
        pain=highest([*(one.pain for one in sets), *(halt.pain for halt in halts), *before]),
        effort=highest(one.effort for one in sets),
        unsteady=any(halt.why == "unsteady" for halt in halts) or any(one.why == "halted_unsteady" for one in sets),
        eased=bool(eased),
        pain_unanswered=record.doubtful or sets[-1].pain is None or not all(asked.values()),
        least=_least(sets),
    )


def _least(sets: list[SetRecord]) -> int | None:
    """Return the fewest per side of any set, counted or stated, whichever is less; None: not known of every set."""
    done = []
    for one in sets:
        if one.counted is None:
            return None
        sides = 2 if "+" in one.side else 1
        done.append(min(one.counted, one.counted if one.stated is None else one.stated) // sides)
    return min(done, default=None)


def _for_today_only(because: str) -> bool:
    """Tell whether an easing ends with the day: after a screen answer, except that about a worse morning."""
    return because.startswith("screen.") and because != f"screen.{NEXT_DAY}"
