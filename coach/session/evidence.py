"""The evidence for a decision: pain, effort, unsteadiness, mornings after, and how many days the sessions span."""

from __future__ import annotations

from collections.abc import Iterable
from datetime import date

from coach.program.model import AskAfter, Program, StepUp
from coach.session.past import Clause, PastSession, clause
from coach.session.progression import Done


def days_in_a_row(asked: StepUp, done: Iterable[Done], today: date | None, *, level: str = "") -> Clause:
    """Count the days from the first to the last of the latest sessions in a row that the body took well.

    A session with too much or unknown pain, or with unsteadiness, restarts the count, so inserting one adds no day. So
    does one at another level than `level`, if that is given. A session dated after today counts as today's.
    """
    run: list[date] = []
    for one in done:
        pain = _value("pain", one)
        well = pain is not None and pain <= asked.pain_to and (asked.unsteady or not one.exercise.unsteady)
        day = one.session.day if today is None else min(one.session.day, today)
        run = [*run, day] if well and level in ("", one.exercise.level) else []
    span = (run[-1] - run[0]).days if run else 0
    return clause("step_days", met=span >= asked.days, needed=asked.days, found=span, since=str(run[0]) if run else "-")


def body(
    asked: StepUp, done: tuple[Done, ...], program: Program, past: tuple[PastSession, ...], *, enough: bool
) -> tuple[Clause, ...]:
    """Return how the body took the sessions `done`, clause by clause; no clause is met unless they are `enough`."""
    found = [_stated("pain", asked.pain_to, done, enough=enough)]
    if program.ask_effort is AskAfter.NEVER:
        found.append(clause("step_effort_not_asked"))
    else:
        found.append(_stated("effort", asked.effort_to, done, enough=enough))
    if not asked.unsteady:
        unsteady = sum(one.exercise.unsteady for one in done)
        found.append(clause("step_unsteady", met=enough and not unsteady, found=unsteady, of=len(done)))
    return (*found, _mornings(done, past, enough=enough))


def _stated(what: str, most: int, done: tuple[Done, ...], *, enough: bool) -> Clause:
    """Compare the highest pain or effort with the most that is allowed."""
    values = [_value(what, one) for one in done]
    known = [value for value in values if value is not None]
    unknown = len(values) - len(known)
    highest = max(known, default=None)
    met = enough and not unknown and highest is not None and highest <= most
    key = f"step_{what}" if not unknown else f"step_{what}_unknown"
    return clause(key, met=met, most=most, highest="-" if highest is None else highest, unknown=unknown)


def _value(what: str, done: Done) -> int | None:
    if what == "effort":
        return done.exercise.effort
    return None if done.exercise.pain_unanswered else done.exercise.pain


def _mornings(done: Iterable[Done], past: tuple[PastSession, ...], *, enough: bool) -> Clause:
    """Count the mornings after, as told in the sessions that followed."""
    told = [_morning(one.session, past) for one in done]
    pending = bool(told) and told[-1] == "pending"
    values = {"worse": told.count("worse"), "unknown": told.count("unknown"), "of": len(told)}
    met = enough and not values["worse"] and not values["unknown"]
    key = "step_next_day_pending" if pending else "step_next_day"
    return Clause(key, tuple(sorted(values.items())), met)


def _morning(session: PastSession, past: tuple[PastSession, ...]) -> str:
    """Return how the morning after `session` was: "same", "worse", "unknown", or "pending" if not asked yet."""
    later = past[past.index(session) + 1 :]
    answers = [one.next_day_worse for one in later[: _next_work(later)]]
    if True in answers:
        return "worse"
    if False in answers:
        return "same"
    return "unknown" if any(one.may_have_worked for one in later) else "pending"


def _next_work(later: tuple[PastSession, ...]) -> int:
    """Return how many of `later` ask about the session before: those up to the next in which work may have begun."""
    return next((at for at, one in enumerate(later, start=1) if one.may_have_worked), len(later))
