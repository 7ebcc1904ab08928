"""When a harder level is proposed to the clinician: each clause of the program with its evidence."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date

from coach.program.model import AskAfter, Exercise, Program, Range, StepUp
from coach.session.past import Clause, Decision, PastSession, clause
from coach.session.plan import has_joined
from coach.session.progression import Done, Reached, in_full, in_order, reached


@dataclass(frozen=True, slots=True)
class Proposal:
    """A step up that the program allows; the clinician decides."""

    exercise: str
    """Its id."""
    from_level: str
    """Id of the present level."""
    to_level: str
    """Id of the next harder level."""
    clauses: tuple[Clause, ...]
    """Every condition of the program, met or not."""

    @property
    def due(self) -> bool:
        """Whether all clauses are met: it now waits for the clinician."""
        return bool(self.clauses) and all(clause.met for clause in self.clauses)


def proposals(
    program: Program,
    history: tuple[PastSession, ...],
    decisions: tuple[Decision, ...] = (),
    today: date | None = None,
) -> tuple[Proposal, ...]:
    """Return a proposal for each exercise that has joined, has a harder level and has `step_up_after`.

    The evidence is the last sessions since the level was reached or last decided about, as many as `step_up_after`
    names. What is not known meets no clause, except the morning after the last session: it is asked about at the next.
    With `today`, a gap up to that day lowers the level as in the plan.
    """
    past = in_order(history)
    found = []
    for exercise in program.exercises:
        if exercise.step_up is None or not has_joined(exercise, past, program):
            continue
        now = reached(exercise, program, past, decisions, today)
        if now.level + 1 < len(exercise.levels):
            ids = [level.id for level in exercise.levels]
            clauses = _clauses(exercise, exercise.step_up, program, past, now, today)
            found.append(Proposal(exercise.id, ids[now.level], ids[now.level + 1], clauses))
    return tuple(found)


def _clauses(
    exercise: Exercise,
    asked: StepUp,
    program: Program,
    past: tuple[PastSession, ...],
    now: Reached,
    today: date | None,
) -> tuple[Clause, ...]:
    here = exercise.levels[now.level]
    last = now.since[-asked.sessions :]
    at_level = last if all(done.exercise.level == here.id for done in last) else ()
    enough = len(at_level) >= asked.sessions
    days = ", ".join(str(done.session.day) for done in at_level) or "-"
    found = [
        clause("step_sessions", met=enough, needed=asked.sessions, found=len(at_level), days=days, level=here.id),
        _days(asked, here.id, now.since, today),
        _amounts(here.dose.work.amount, at_level, at_top=asked.at_top, enough=enough),
        _stated("pain", asked.pain_to, at_level, enough=enough),
    ]
    if program.ask_effort is AskAfter.NEVER:
        found.append(clause("step_effort_not_asked"))
    else:
        found.append(_stated("effort", asked.effort_to, at_level, enough=enough))
    if not asked.unsteady:
        unsteady = sum(done.exercise.unsteady for done in at_level)
        found.append(clause("step_unsteady", met=enough and not unsteady, found=unsteady, of=len(at_level)))
    found.append(_mornings(at_level, past, enough=enough))
    return tuple(found)


def _days(asked: StepUp, level: str, since: Iterable[Done], today: date | None) -> Clause:
    """Count the days from the first to the last of the sessions in a row that the body took well.

    One in which it hurt too much begins the count anew, so a session that hurt, wherever it is put in, adds no day. A
    session that is dated after today counts as of today.
    """
    run: list[date] = []
    for done in since:
        pain = _value("pain", done)
        well = done.exercise.level == level and pain is not None and pain <= asked.pain_to
        day = done.session.day if today is None else min(done.session.day, today)
        run = [*run, day] if well and (asked.unsteady or not done.exercise.unsteady) else []
    span = (run[-1] - run[0]).days if run else 0
    return clause("step_days", met=span >= asked.days, needed=asked.days, found=span, since=str(run[0]) if run else "-")


def _amounts(within: Range, at_level: tuple[Done, ...], *, at_top: bool, enough: bool) -> Clause:
    """Count the sessions whose every set reached the top or the bottom of the range, as the program asks."""
    need = within.high if at_top else within.low
    reached_it = sum(in_full(done.exercise) and (done.exercise.least or 0) >= need for done in at_level)
    met = enough and reached_it == len(at_level)
    return clause("step_top" if at_top else "step_bottom", met=met, needed=need, found=reached_it, of=len(at_level))


def _stated(what: str, most: int, at_level: tuple[Done, ...], *, enough: bool) -> Clause:
    """Compare the highest pain or effort with the most that is allowed."""
    values = [_value(what, done) for done in at_level]
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


def _mornings(at_level: Iterable[Done], past: tuple[PastSession, ...], *, enough: bool) -> Clause:
    """Count the mornings after, as told in the sessions that followed."""
    told = [_morning(done.session, past) for done in at_level]
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
