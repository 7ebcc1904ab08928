"""Make weeks of plausible sessions of a person with the real session core, as real files, with their true facts.

Everything follows from a `SimulatedCourse` and a seed. The true facts come from how the days were made, not from the
record, so measures can be tested against them. A session with the plan and script of an earlier one is not run again,
because the core would give the same lines.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass, replace
from datetime import UTC, date, datetime, time, timedelta
from functools import lru_cache
from random import Random

from coach.history import past
from coach.logbook import assemble, encode, line_of, seal
from coach.logbook.reading import STAMP
from coach.logbook.store import Home
from coach.logbook.writing import ENDING
from coach.loglines.changes import Decided
from coach.program.model import Program
from coach.session.commands import Record
from coach.session.lines import session_begun
from coach.session.past import Decision, PastSession, Verdict
from coach.session.plan import Today, days_to_next, plan
from coach.session.proposals import proposals
from coach.tempo.units import to_seconds
from coach.testing.visits import SessionScript, TrueVisit, visit

MORNING = time(9, 0)
"""Earliest start of a day's sessions, UTC: a time at which almost every zone has the same date."""

DECIDES = time(8, 0)
"""When a clinician decides, UTC."""


@dataclass(frozen=True, slots=True)
class SimulatedCourse:
    """How a person's weeks with a program go."""

    days: int = 84
    adherence: float = 0.8
    """Share of the due days on which they come, 0 to 1. They always come on the first."""
    pain: tuple[int, int] = (2, 1)
    """Usual pain (0-10) after a set on the first and on the last day; it changes linearly between them."""
    flare: tuple[int, int, int] = (0, 0, 0)
    """A flare: its first day, from 0; its length in days; the added pain. During it the mornings after are worse."""
    halts: float = 0.06
    """Share of sessions with a halt."""
    trouble: float = 0.1
    """Share of sessions with a fault of hearing: unclear, misheard, unanswered, no microphone."""
    fewer: float = 0.1
    """Share of sessions in which they report fewer reps of a set than were counted."""
    decides: bool = False
    """Whether the clinician decides for each proposed step up, on the morning of the next session."""
    ladder: bool = False
    """Whether their numbers are not heard well, so the yes/no ladder asks about pain."""


def random_course(chance: Random, days: int) -> SimulatedCourse:
    """Return any course of so many days: calm or not, heard well or not, seen to or not."""
    return SimulatedCourse(
        days=days,
        adherence=chance.choice((0.2, 0.4, 0.7, 0.9, 1.0)),
        pain=(chance.randint(0, 4), chance.choice((0, 1, 2, 4, 6))),
        flare=(chance.randrange(days), chance.choice((0, 3, 10)), chance.choice((1, 3, 5))),
        halts=chance.choice((0.0, 0.1, 0.5)),
        trouble=chance.choice((0.0, 0.1, 0.6)),
        decides=chance.random() < 0.5,
        ladder=chance.random() < 0.3,
    )


@dataclass(frozen=True, slots=True)
class TrueSession:
    """One session and its true facts."""

    session: str
    """Its id, which is the name of its file."""
    day: int
    """Day of the history, from 0."""
    began: datetime
    visit: TrueVisit


@dataclass(frozen=True, slots=True)
class TrueHistory:
    """The true facts of a person's weeks."""

    person: str
    program: Program
    begins: date
    until: date
    """The last day."""
    due: tuple[int, ...]
    """Days on which a session was due, from 0; the person came on those of `sessions`."""
    sessions: tuple[TrueSession, ...]
    decisions: tuple[Decision, ...]


@dataclass(frozen=True, slots=True)
class Lived:
    """A session as it is in its file, and its true facts."""

    true: TrueSession
    past: PastSession | None
    """The session as the plan of the next one sees it; None: no work began."""
    text: str
    """Its file."""
    decided: tuple[Decision, ...]
    """Decisions of its morning."""


def write_history(
    home: Home,
    person: str,
    program: Program,
    course: SimulatedCourse,
    *,
    seed: int,
    begins: date = date(2027, 1, 11),
    source: bytes = b"",
) -> TrueHistory:
    """Write the sessions of a person into `home`, as the store would; return their true facts.

    `source` is the content of the program file; it is kept with the person, as in a real session.
    """
    folder = home.add_person(person).sessions
    if source:
        home.keep_program(person, program.id, program.digest, source)
    due: list[int] = []
    sessions: list[TrueSession] = []
    decisions: list[Decision] = []
    for lived in live_through(person, program, course, seed=seed, begins=begins, due=due):
        decisions += lived.decided
        (folder / f"{lived.true.session}{ENDING}").write_bytes(lived.text.encode())
        sessions.append(lived.true)
    for one in decisions:
        _write_decision(home, person, one)
    until = begins + timedelta(days=course.days - 1)
    return TrueHistory(person, program, begins, until, tuple(due), tuple(sessions), tuple(decisions))


def _write_decision(home: Home, person: str, one: Decision) -> None:
    line = Decided(
        one.program, one.digest, one.exercise, one.verdict.value, one.from_level, one.to_level, one.by, one.note
    )
    Home(home.root, now=lambda: datetime.fromisoformat(one.at)).decide(person, line)


def live_through(
    person: str, program: Program, course: SimulatedCourse, *, seed: int, begins: date, due: list[int]
) -> Iterator[Lived]:
    """Yield the sessions in order; add each day on which one was due to `due`."""
    chance = Random(f"{seed} {person}")  # noqa: S311 - plausible, not secret
    known: tuple[PastSession, ...] = ()
    decisions: tuple[Decision, ...] = ()
    next_due = 0
    for day in range(course.days):
        if day != next_due:
            continue
        due.append(day)
        if day and chance.random() >= course.adherence:
            next_due = day + days_to_next(program, sore=False)
            continue
        decided = _decided(program, known, decisions, begins + timedelta(days=day)) if course.decides else ()
        decisions += decided
        today = plan(program, known, begins + timedelta(days=day), decisions)
        began = datetime.combine(begins + timedelta(days=day), MORNING, UTC) + timedelta(seconds=chance.randrange(3600))
        today = replace(today, numbers_heard=not course.ladder)
        lived = _lived(person, today, _script(chance, course, day), began, day, decided)
        known += (lived.past,) if lived.past else ()
        next_due = day + days_to_next(program, sore=lived.true.visit.sore)
        yield lived


def _decided(
    program: Program, known: tuple[PastSession, ...], decisions: tuple[Decision, ...], today: date
) -> tuple[Decision, ...]:
    """Return a decision for each proposed step up, an hour before the first session of the day can begin."""
    at = datetime.combine(today, DECIDES, UTC).isoformat(timespec="milliseconds").replace("+00:00", "Z")
    return tuple(
        Decision(program.id, one.exercise, Verdict.UP, one.from_level, one.to_level, "a clinician", "", at, today,
                 program.digest)
        for one in proposals(program, known, decisions, today) if one.due
    )  # fmt: skip


def _script(chance: Random, course: SimulatedCourse, day: int) -> SessionScript:
    begin, end = course.pain
    first, days, more = course.flare
    flaring = first <= day < first + days
    usual = begin + (end - begin) * day / max(1, course.days - 1) + (more if flaring else 0)
    pain = min(10, max(0, round(usual + chance.choice((-0.5, 0, 0, 0.5)))))
    script = SessionScript(
        pain=pain,
        peak=chance.choice((0, 0, 0, 2)) if pain < 10 else 0,
        effort=chance.choice((4, 5, 5, 6)) + flaring,
        worse=flaring and day > first,
        missed=int(chance.random() < course.fewer),
    )
    if chance.random() < course.halts:
        why = chance.choice(("pain", "tired", "unsteady", "break", "break"))
        script = replace(script, halt=chance.choice((1, 2)), halt_why=why, halt_pain=max(1, pain),
                         at_once=chance.random() < 0.5)  # fmt: skip
    if chance.random() < course.trouble:
        at = chance.choice((1, 2))
        kinds = (
            replace(script, denied=at),
            replace(script, unclear=at),
            replace(script, silent=at),
            replace(script, deaf=at),
        )
        script = chance.choice(kinds)
    return script


def _lived(
    person: str, today: Today, script: SessionScript, began: datetime, day: int, decided: tuple[Decision, ...]
) -> Lived:
    session = f"{began.strftime(STAMP)}-1"
    begun = session_begun(today, session=session, person=person, ears=("taught", "vosk", "keys"), voice="made up",
                          device="none", app_version="test")  # fmt: skip
    bare = replace(today, exercises=tuple(replace(one, because=()) for one in today.exercises), because=(), due=None)
    ran = _ran(bare, script)
    first = _unsealed((Record(0, begun),), n=1)
    texts, chain = [], session
    for head, at, tail in (*first, *ran.unsealed):
        t = (began + timedelta(seconds=to_seconds(at))).isoformat(timespec="milliseconds").replace("+00:00", "Z")
        text, chain = seal(f"{head}{t}{tail}", chain)
        texts.append(text)
    past = (
        replace(ran.past, day=began.date(), began=began.isoformat(timespec="milliseconds"), session=session)
        if ran.past
        else None
    )
    return Lived(TrueSession(session, day, began, ran.true), past, "\n".join(texts) + "\n", decided)


@dataclass(frozen=True, slots=True)
class _Ran:
    true: TrueVisit
    past: PastSession | None
    """The session as the plan sees it; None: no work began."""
    unsealed: tuple[tuple[str, int, str], ...]
    """For each line, the text before its time, the text after it, and its sample."""


@lru_cache(maxsize=20_000)
def _ran(today: Today, script: SessionScript) -> _Ran:
    records, true = visit(today, script)
    begun = session_begun(today, session="", person="", ears=(), voice="", device="", app_version="")
    whole = (Record(0, begun), *records)
    record = assemble(line_of(n, NOON, one.at, one.fact) for n, one in enumerate(whole, start=1))
    return _Ran(true, next(iter(past((record,), today.program.id)), None), tuple(_unsealed(records, n=2)))


NOON = "2027-01-11T12:00:00.000Z"
"""Placeholder for the time of a line."""


def _unsealed(records: Iterable[Record], n: int) -> Iterator[tuple[str, int, str]]:
    for number, record in enumerate(records, start=n):
        text, _ = encode(line_of(number, NOON, record.at, record.fact), "")
        head, _, tail = text.partition(NOON)
        yield head, record.at, tail[: tail.rindex(',"chain"')] + "}"
