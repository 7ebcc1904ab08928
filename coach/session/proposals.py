"""Propose harder levels and joining exercises to the clinician, each clause with its evidence."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date

from coach.program.model import Exercise, Program, Range, StepUp
from coach.session.evidence import body, days_in_a_row
from coach.session.joining import MemberStanding, joining_clauses, membership
from coach.session.past import Clause, Decision, PastSession, Verdict, clause
from coach.session.progression import Done, Reached, in_full, in_order, reached


@dataclass(frozen=True, slots=True)
class Proposal:
    """A step up or a joining exercise that the program allows; the clinician decides."""

    exercise: str
    """Its id."""
    name: str
    verdict: Verdict
    """UP or ADMIT."""
    from_level: str
    """Id of the present level."""
    to_level: str
    """Id of the next harder level, or of the first level of a joining exercise."""
    clauses: tuple[Clause, ...]
    """Every condition of the program, met or not."""
    taken_out: Clause | None = None
    """The trouble that took the exercise out of the sessions; None: there was none."""

    @property
    def due(self) -> bool:
        """Whether all clauses are met: it now waits for the clinician."""
        return bool(self.clauses) and all(clause.met for clause in self.clauses)

    @property
    def rests_on(self) -> int:
        """How many sessions it rests on."""
        in_a_row = next((one for one in self.clauses if one.key in ("step_sessions", "join_sessions")), clause(""))
        return int(dict(in_a_row.values).get("found", 0))


def proposals(
    program: Program,
    history: tuple[PastSession, ...],
    decisions: tuple[Decision, ...] = (),
    today: date | None = None,
) -> tuple[Proposal, ...]:
    """Return a proposal for each exercise that waits to join, or that is in and has a harder level and `step_up_after`.

    The evidence is the last sessions since the level was reached or last decided about, as many as `step_up_after`
    names. What is not known meets no clause, except the morning after the last session: it is asked about at the next.
    With `today`, a gap up to that day lowers the level as in the plan.
    """
    past = in_order(history)
    found = []
    for exercise in program.exercises:
        member = membership(exercise, program, past, decisions, today)
        now = reached(exercise, program, past, decisions, today)
        ids = [level.id for level in exercise.levels]
        here = ids[now.level]
        if member.standing in (MemberStanding.WAITS, MemberStanding.TAKEN_OUT):
            trouble = member.because if member.standing is MemberStanding.TAKEN_OUT else None
            clauses = joining_clauses(exercise, program, past, member.since, today)
            found.append(Proposal(exercise.id, exercise.name, Verdict.ADMIT, here, here, clauses, trouble))
        elif member.standing is MemberStanding.IN and exercise.step_up is not None and now.level + 1 < len(ids):
            clauses = _clauses(exercise, exercise.step_up, program, past, now, today)
            found.append(Proposal(exercise.id, exercise.name, Verdict.UP, here, ids[now.level + 1], clauses))
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
    return (
        clause("step_sessions", met=enough, needed=asked.sessions, found=len(at_level), days=days, level=here.id),
        days_in_a_row(asked, now.since, today, level=here.id),
        _amounts(here.dose.work.amount, at_level, at_top=asked.at_top, enough=enough),
        *body(asked, at_level, program, past, enough=enough),
    )


def _amounts(within: Range, at_level: tuple[Done, ...], *, at_top: bool, enough: bool) -> Clause:
    """Count the sessions whose every set reached the top or the bottom of the range, as the program asks."""
    need = within.high if at_top else within.low
    reached_it = sum(in_full(done.exercise) and (done.exercise.least or 0) >= need for done in at_level)
    met = enough and reached_it == len(at_level)
    return clause("step_top" if at_top else "step_bottom", met=met, needed=need, found=reached_it, of=len(at_level))
