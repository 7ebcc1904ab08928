"""Work out what the plan needs from the logbook: the earlier sessions of one program."""

from __future__ import annotations

from collections.abc import Iterable
from datetime import UTC, date, datetime, timedelta

from coach.logbook import EasedRecord, SessionRecord, joined
from coach.logbook.decisions import DecisionLines, local_moment
from coach.logbook.logged import Brief, LoggedSession
from coach.logbook.pain import highest
from coach.loglines.safety import SignWhy
from coach.program.model import HoldRule, Program
from coach.session.past import PastSession, Rating
from coach.session.progression import alarming
from coach.session.safety_holds import SafetyHold, SafetyOccasion, near_hold, safety_holds
from coach.session.taken_up import Broken, BrokenExercise

Sessions = Iterable[LoggedSession | SessionRecord]


def past(sessions: Sessions, program: str, unread: Iterable[PastSession] = ()) -> tuple[PastSession, ...]:
    """Return the earlier sessions of `program` with work or an answer about the morning after, oldest first.

    A session without a readable time is left out (see `undated`). A session that broke off and was resumed is one
    session. Each of `unread` is included: its file cannot be read, so it may be of any program.
    """
    known = [_past(one.brief) for one in joined(sessions) if one.brief.program == program]
    told = [one for one in known if one is not None and (one.exercises or one.next_day_worse or alarming(one))]
    return tuple(sorted((*told, *unread), key=lambda session: session.began))


def holds_of(sessions: Iterable[Brief], decided: DecisionLines, today: date) -> tuple[SafetyHold, ...]:
    """Return why nothing may begin `today`, from the sessions of all programs; empty: something may."""
    return safety_holds(_occasions(sessions), decided.holds, decided.cleared, today)


def ratings_of(sessions: Iterable[Brief]) -> tuple[Rating, ...]:
    """Return how near the goals were, as the sessions of all programs tell; without those of unknown days."""
    return tuple(
        Rating(goal, day, value) for one in sessions if (day := day_of(one)) is not None for goal, value in one.goals
    )


def near_hold_of(
    sessions: Iterable[Brief], decided: DecisionLines, program: Program, today: date, *, within: str = ""
) -> tuple[SignWhy, ...]:
    """Return the signs that would put the person on hold in a session of `today`; `within`: the session taken up."""
    rules: tuple[tuple[SignWhy, HoldRule], ...] = (
        ("pain", program.limits.hold_after_pain),
        ("unsteady", program.limits.hold_after_unsteady),
    )
    return near_hold(rules, _occasions(sessions), decided.cleared, today, within=within)


def cleared_since(sessions: Iterable[Brief], decided: DecisionLines) -> bool:
    """Tell whether the clinician cleared the person after the last session in which work began."""
    clears = [moment for one in decided.clears if (moment := local_moment(one.at)) is not None]
    worked = [moment for one in sessions if one.exercises and (moment := local_moment(one.began)) is not None]
    return bool(clears) and (not worked or max(clears) > max(worked))


def signed(sessions: Iterable[Brief]) -> tuple[str, ...]:
    """Return the ids of the sessions with safety signs: a clear names them."""
    return tuple(one.session for one in _occasions(sessions))


def _occasions(sessions: Iterable[Brief]) -> tuple[SafetyOccasion, ...]:
    return tuple(
        SafetyOccasion(one.session, one.continues or one.session, one.began, day_of(one), one.program, one.signs)
        for one in sessions
        if one.signs
    )


def day_of(session: Brief | SessionRecord) -> date | None:
    """Return the local day on which a session began; None if its file does not say."""
    moment = local_moment(session.began)
    return None if moment is None else moment.date()


def undated(sessions: Iterable[Brief | SessionRecord]) -> tuple[str, ...]:
    """Return the ids of the sessions that no plan can use, because their files do not say when they were."""
    return tuple(one.session for one in sessions if day_of(one) is None)


BROKE_OFF = frozenset({"interrupted", "quit", "told_to_end", "hung_up", "not_heard", "deaf", "mute"})
"""Ends caused by the machine, not by the person or a rule: such a session may be resumed."""

STILL_TODAY = timedelta(hours=6)
"""Time after its beginning in which a session may be resumed even past midnight. Our own choice: the alternative is a
whole new session, so a wide window adds no work."""


def broken_off(sessions: Sessions, program: str, now: datetime) -> Broken | None:
    """Return the last session of `program` if it broke off today (local time `now`) with work begun; else None.

    A session whose file has no end may still be running; `Home.close_broken` closes it first.
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
    """Return the factor by which phases were last lengthened; 1: as written."""
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
        gave_way=any(sign.why == "unsteady" for sign in brief.signs),
    )
