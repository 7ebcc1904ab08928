"""What the plan needs of the logbook: earlier sessions of one program, from the records."""

from __future__ import annotations

from collections.abc import Iterable
from datetime import UTC, date, datetime, timedelta

from coach.logbook import EasedRecord, QuestionRecord, SessionRecord, SetRecord, joined
from coach.logbook.decisions import local_moment
from coach.logbook.pain import edge, is_pain
from coach.loglines.kinds import Answer
from coach.session.past import PastExercise, PastSession
from coach.session.plan import NEXT_DAY
from coach.session.taken_up import Broken, BrokenExercise


def past(records: Iterable[SessionRecord], program: str, unread: Iterable[PastSession] = ()) -> tuple[PastSession, ...]:
    """Return the earlier sessions of `program` in which work began or the morning after was told of, oldest first.

    A session whose time cannot be read is left out; see `undated`. One that broke off and was taken up is one session.
    Each of `unread`, whose files cannot be read, may be of any program, and stands among them.
    """
    known = [_session(record) for record in joined(records) if record.program == program]
    sessions = [one for one in known if one is not None and (one.exercises or one.next_day_worse)]
    return tuple(sorted((*sessions, *unread), key=lambda session: session.began))


def day_of(record: SessionRecord) -> date | None:
    """Return the day on which a session began, where this machine is; None if its file does not tell."""
    moment = local_moment(record.began)
    return None if moment is None else moment.date()


def undated(records: Iterable[SessionRecord]) -> tuple[str, ...]:
    """Return the ids of the sessions that no plan can use, since the file does not tell when they were."""
    return tuple(record.session for record in records if day_of(record) is None)


BROKE_OFF = frozenset({"interrupted", "quit", "told_to_end", "hung_up", "not_heard", "deaf", "mute"})
"""Ends of a session that came from the machine and not from the person or a rule: it may be taken up."""

STILL_TODAY = timedelta(hours=6)
"""How long after its beginning a session may be taken up past midnight, too. Our own choice: what is offered in its
place is a whole session, so a wide window adds no work."""


def broken_off(records: Iterable[SessionRecord], program: str, now: datetime) -> Broken | None:
    """Return the last session of `program` if it broke off with work begun, today by local time `now`; else None.

    One whose file lacks its end may still run: it is closed first, see `Home.close_broken`.
    """
    known = [record for record in joined(records) if record.program == program and record.began]
    last = known[-1] if known else None
    began = local_moment(last.began) if last else None
    if last is None or began is None or last.why not in BROKE_OFF or not last.sets:
        return None
    if not timedelta(0) <= now - began < STILL_TODAY and (began.date() != now.date() or began > now):
        return None
    return Broken(
        session=last.session,
        digest=last.digest,
        seconds=last.seconds,
        exercises=tuple(_broken(last, planned.exercise) for planned in last.plan),
        halts=tuple((halt.exercise, halt.why) for halt in last.halts),
        worst_pain=_highest([last.highest_pain, *(one.pain for one in last.sets)]) or -1,
        pain_open=any(halt.why == "pain" and halt.pain is None for halt in last.halts),
        next_day_worse=_next_day(last) is True,
    )


def _broken(record: SessionRecord, name: str) -> BrokenExercise:
    planned = next(one for one in record.plan if one.exercise == name)
    eased = [step for step in record.steps if step.exercise == name]
    sets = [one for one in record.sets if one.exercise == name]
    return BrokenExercise(
        name,
        planned.level,
        planned.target,
        level=str(next((step.after for step in reversed(eased) if step.what == "level"), planned.level)),
        target=min([planned.target, *(int(step.after) for step in eased if _is_amount(step))]),
        begun=tuple((one.set, one.side) for one in sets),
        cut=sum(not one.in_full and one.why != "interrupted" for one in sets),
        over=next((why for exercise, why in record.exercise_ends if exercise == name), ""),
        stretch=_stretch(eased),
    )


def _is_amount(step: EasedRecord) -> bool:
    return step.what not in ("level", "slower", "sets") and str(step.after).isdecimal()


def _stretch(eased: Iterable[EasedRecord]) -> float:
    """Return how much longer every phase was asked for last; 1: as written."""
    try:
        return max([1.0, *(float(step.after) for step in eased if step.what == "slower")])
    except ValueError:
        return 1.0


def _session(record: SessionRecord) -> PastSession | None:
    moment = local_moment(record.began)
    if moment is None:
        return None
    pains = [one for one in record.questions if is_pain(one.question)]
    sets: dict[str, list[SetRecord]] = {}
    for one in record.sets:
        sets.setdefault(one.exercise, []).append(one)
    return PastSession(
        day=moment.date(),
        why=record.why,
        exercises=tuple(_exercise(record, name, mine, pains) for name, mine in sets.items()),
        began=moment.astimezone(UTC).isoformat(timespec="milliseconds"),
        next_day_worse=_next_day(record),
        digest=record.digest,
        session=record.session,
        next_in_days=record.next_in_days,
    )


def _next_day(record: SessionRecord) -> bool | None:
    answers = [one.value for one in record.questions if one.question == f"screen.{NEXT_DAY}"]
    return answers[-1] if answers and isinstance(answers[-1], bool) else None


OUT_OF_ANY = ""
"""Exercise of a halt that came outside of any, among the questions before the work above all: it, too, counts for every
exercise of the day."""
BEFORE_ANY = 0
"""Set of the answers that came before any set, or before the first since a session was taken up: a pain told there
counts for every exercise of the day."""


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
        pain=_highest([*(one.pain for one in sets), *(halt.pain for halt in halts), *before]),
        effort=_highest(one.effort for one in sets),
        unsteady=any(halt.why == "unsteady" for halt in halts) or any(one.why == "halted_unsteady" for one in sets),
        eased=bool(eased),
        pain_unanswered=record.doubtful or sets[-1].pain is None or not all(asked.values()),
        least=_least(sets),
    )


def _least(sets: list[SetRecord]) -> int | None:
    """Return the fewest that any set had on each side, as counted or as stated; None: of some set it is not known."""
    done = []
    for one in sets:
        if one.counted is None:
            return None
        sides = 2 if "+" in one.side else 1
        done.append(min(one.counted, one.counted if one.stated is None else one.stated) // sides)
    return min(done, default=None)


def _for_today_only(because: str) -> bool:
    """A screen answer eases one day; a worse next day, a limit or the person's wish steps down until it is decided."""
    return because.startswith("screen.") and because != f"screen.{NEXT_DAY}"


def _highest(values: Iterable[Answer]) -> int | None:
    return max((highest for value in values if (highest := edge(value)) is not None), default=None)
