"""What the plan needs of the logbook: earlier sessions of one program, from the records."""

from __future__ import annotations

from collections.abc import Iterable
from datetime import UTC, date, datetime, timedelta

from coach.logbook import EasedRecord, SessionRecord, joined
from coach.logbook.decisions import local_moment
from coach.logbook.logged import Brief, LoggedSession
from coach.logbook.pain import highest
from coach.session.past import PastSession
from coach.session.taken_up import Broken, BrokenExercise

Sessions = Iterable[LoggedSession | SessionRecord]


def past(sessions: Sessions, program: str, unread: Iterable[PastSession] = ()) -> tuple[PastSession, ...]:
    """Return the earlier sessions of `program` in which work began or the morning after was told of, oldest first.

    A session whose time cannot be read is left out; see `undated`. One that broke off and was taken up is one session.
    Each of `unread`, whose files cannot be read, may be of any program, and stands among them.
    """
    known = [_past(one.brief) for one in joined(sessions) if one.brief.program == program]
    told = [one for one in known if one is not None and (one.exercises or one.next_day_worse)]
    return tuple(sorted((*told, *unread), key=lambda session: session.began))


def day_of(session: Brief | SessionRecord) -> date | None:
    """Return the day on which a session began, where this machine is; None if its file does not tell."""
    moment = local_moment(session.began)
    return None if moment is None else moment.date()


def undated(sessions: Iterable[Brief | SessionRecord]) -> tuple[str, ...]:
    """Return the ids of the sessions that no plan can use, since the file does not tell when they were."""
    return tuple(one.session for one in sessions if day_of(one) is None)


BROKE_OFF = frozenset({"interrupted", "quit", "told_to_end", "hung_up", "not_heard", "deaf", "mute"})
"""Ends of a session that came from the machine and not from the person or a rule: it may be taken up."""

STILL_TODAY = timedelta(hours=6)
"""How long after its beginning a session may be taken up past midnight, too. Our own choice: what is offered in its
place is a whole session, so a wide window adds no work."""


def broken_off(sessions: Sessions, program: str, now: datetime) -> Broken | None:
    """Return the last session of `program` if it broke off with work begun, today by local time `now`; else None.

    One whose file lacks its end may still run: it is closed first, see `Home.close_broken`.
    """
    known = [one for one in joined(sessions) if one.brief.program == program and one.brief.began]
    newest = known[-1] if known else None
    began = local_moment(newest.brief.began) if newest else None
    if newest is None or began is None or newest.brief.why not in BROKE_OFF or not newest.brief.exercises:
        return None
    if not timedelta(0) <= now - began < STILL_TODAY and (began.date() != now.date() or began > now):
        return None
    last = newest.record
    return Broken(
        session=last.session,
        digest=last.digest,
        seconds=last.seconds,
        exercises=tuple(_broken(last, planned.exercise) for planned in last.plan),
        halts=tuple((halt.exercise, halt.why) for halt in last.halts),
        worst_pain=highest([last.highest_pain, *(one.pain for one in last.sets)]),
        pain_open=any(halt.why == "pain" and halt.pain is None for halt in last.halts),
        next_day_worse=newest.brief.next_day_worse is True,
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


def _past(brief: Brief) -> PastSession | None:
    moment = local_moment(brief.began)
    if moment is None:
        return None
    return PastSession(
        day=moment.date(),
        why=brief.why,
        exercises=brief.exercises,
        began=moment.astimezone(UTC).isoformat(timespec="milliseconds"),
        next_day_worse=brief.next_day_worse,
        digest=brief.digest,
        session=brief.session,
        next_in_days=brief.next_in_days,
    )
