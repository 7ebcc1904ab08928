"""Tell whether an exercise is part of the sessions: it waits, joins, or is taken out, paused or withdrawn.

It follows from the records and the decisions, in order of time:
- An exercise with `joins_after` waits. It joins by "admit". If the program says so, it joins by itself after the first
  session that meets `joins_after`, unless there was trouble before.
- Trouble is pain above `carry_on_to` or unsteadiness, in the exercise or in one that carries it. It takes the exercise
  out until the clinician decides.
- "pause" leaves any exercise out until a date or "admit", "withdraw" until "admit".
So inserting a session that hurt can only take an exercise out.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date
from enum import StrEnum
from typing import Any

from coach.program.model import Exercise, Program, StepUp
from coach.session.evidence import body, days_in_a_row
from coach.session.past import Clause, Decision, PastExercise, PastSession, Verdict, clause, effective
from coach.session.progression import Done, hurt, moment, steady


class MemberStanding(StrEnum):
    """Whether an exercise is part of the sessions, and if not, in what way."""

    IN = "in"
    WAITS = "waits"
    """It has not joined yet."""
    TAKEN_OUT = "taken_out"
    """Trouble took it out."""
    PAUSED = "paused"
    WITHDRAWN = "withdrawn"


@dataclass(frozen=True, slots=True)
class Membership:
    """Whether an exercise is part of the sessions, and why."""

    standing: MemberStanding
    because: Clause | None
    """Why it is left out; None: it is not."""
    since: str
    """The moment of the decision or session that led here; empty: none did."""
    admitted: Decision | None
    """The decision that let it in; None: it is out, or needed none."""
    back_on: date | None
    """The day on which its pause ended; None: it was not paused, or is out."""


def carriers(exercise: Exercise, program: Program) -> tuple[str, ...]:
    """Return the ids of the exercises that carry one: the one it waits for, the one that waits for, and so on."""
    known = {each.id: each for each in program.exercises}
    found: list[str] = []
    while exercise.joins_after is not None and exercise.joins_after.exercise in known:
        exercise = known[exercise.joins_after.exercise]
        found.append(exercise.id)
    return tuple(found)


def membership(
    exercise: Exercise,
    program: Program,
    past: tuple[PastSession, ...],
    decisions: tuple[Decision, ...],
    today: date | None = None,
) -> Membership:
    """Return the membership of `exercise` `today`, from `past` (in order) and `decisions`.

    If a clock jumped, events may be dated after today: such an "admit" does not count.
    """
    walk = _Standings(exercise, program, past, today)
    events: list[tuple[str, int, int | Decision]] = [
        *((moment(session), 0, at) for at, session in enumerate(past)),
        *((one.at, 1, one) for one in effective(decisions, program.id, exercise.id, membership=True)),
    ]
    for _, _, event in sorted(events, key=lambda event: event[:2]):
        if isinstance(event, Decision):
            walk.decision(event)
        else:
            walk.session(event)
    return walk.membership()


class _Standings:
    """Go from the beginning to today, one event after the other."""

    def __init__(self, exercise: Exercise, program: Program, past: tuple[PastSession, ...], today: date | None) -> None:
        self._exercise, self._program, self._past, self._today = exercise, program, past, today
        joins = exercise.joins_after
        self._standing = MemberStanding.WAITS if joins else MemberStanding.IN
        self._by_itself = joins is not None and joins.by_itself
        """It may join by itself: there was no trouble yet."""
        self._watched = {exercise.id, *carriers(exercise, program)} if joins else set()
        self._because = _waits(exercise, program) if joins else None
        self._since = ""
        self._admitted: Decision | None = None
        self._pause: Decision | None = None

    def session(self, at: int) -> None:
        session = self._past[at]
        trouble = [one for one in session.exercises if one.exercise in self._watched and hurt(one, self._program)]
        if trouble and self._standing is not MemberStanding.WITHDRAWN:
            self._by_itself = False
            if self._standing is not MemberStanding.WAITS:
                self._out(MemberStanding.TAKEN_OUT, _taken_out(self._exercise, self._program, session, trouble[0]))
            self._since = moment(session)
        elif self._by_itself and self._standing is MemberStanding.WAITS and not self._is_future(session.day):
            known = self._past[: at + 1]
            if all(one.met for one in joining_clauses(self._exercise, self._program, known, "", session.day)):
                self._standing, self._because, self._since = MemberStanding.IN, None, moment(session)

    def decision(self, one: Decision) -> None:
        values: dict[str, Any] = {"name": self._exercise.name, "by": one.by, "day": str(one.day)}
        if one.verdict is Verdict.ADMIT:
            if self._is_future(one.day):
                return
            self._standing, self._because, self._since = MemberStanding.IN, None, one.at
            self._admitted, self._pause = one, None
        elif one.verdict is Verdict.PAUSE:
            self._pause = one
        else:
            self._pause = None
            self._out(MemberStanding.WITHDRAWN, clause("because_withdrawn", **values))
            self._since = one.at

    def _out(self, standing: MemberStanding, because: Clause) -> None:
        self._standing, self._because, self._admitted = standing, because, None

    def _is_future(self, day: date) -> bool:
        return self._today is not None and day > self._today

    def membership(self) -> Membership:
        """Return the result of the events so far; a pause hides it until its day."""
        pause = self._pause
        if pause is None or (pause.until and self._today is not None and self._today >= pause.until):
            back = pause.until if pause and self._standing is MemberStanding.IN else None
            return Membership(self._standing, self._because, self._since, self._admitted, back)
        values: dict[str, Any] = {"name": self._exercise.name, "by": pause.by, "day": str(pause.day)}
        because = clause("because_paused", **values)
        if pause.until is not None:
            because = clause("because_paused_until", until=str(pause.until), **values)
        return Membership(MemberStanding.PAUSED, because, pause.at, None, None)


def _waits(exercise: Exercise, program: Program) -> Clause:
    joins = exercise.joins_after
    assert joins is not None, "an exercise that waits says for what"
    key = "because_waits" if joins.by_itself else "because_waits_decision"
    return clause(key, name=exercise.name, other=program.exercise(joins.exercise).name, n=joins.steady_sessions)


def _taken_out(exercise: Exercise, program: Program, session: PastSession, done: PastExercise) -> Clause:
    other = program.exercise(done.exercise).name
    values: dict[str, Any] = {"name": exercise.name, "day": str(session.day), "other": other}
    if done.unsteady:
        return clause("because_taken_out_unsteady", **values)
    to = program.limits.pain_carry_on_to
    return clause("because_taken_out_pain", pain=done.pain or 0, to=to, **values)


# -- the conditions for joining ---------------------------------------------------------------------------------------


def joining_clauses(
    exercise: Exercise, program: Program, past: tuple[PastSession, ...], since: str, today: date | None
) -> tuple[Clause, ...]:
    """Return each condition of `joins_after`, met or not, from sessions of the carrying exercise after `since`.

    The sessions must be in a row and recent, within the pain and effort that its step up allows, or within the
    program's limits if it has no step up.
    """
    joins = exercise.joins_after
    assert joins is not None, "only an exercise that waits joins"
    carrier = program.exercise(joins.exercise)
    step = carrier.step_up
    asked = StepUp(
        joins.steady_sessions,
        at_top=False,
        pain_to=step.pain_to if step else program.limits.pain_carry_on_to,
        effort_to=step.effort_to if step else program.limits.effort_ease_above,
        days=joins.days,
        unsteady=False,
    )
    done = _done_of(carrier, [one for one in past if moment(one) > since])
    last = done[-asked.sessions :]
    well = [one for one in last if steady(one.session, one.exercise, program)]
    enough = len(last) == asked.sessions
    days = ", ".join(str(one.session.day) for one in last) or "-"
    held_against = today or (last[-1].session.day if last else date.max)
    ago = (held_against - last[-1].session.day).days if last else 0
    gap = program.schedule.gap_days
    return (
        clause("join_sessions", met=enough and len(well) == len(last), name=carrier.name, needed=asked.sessions,
               found=len(well), days=days),
        clause("join_recent", met=bool(last) and 0 <= ago < gap, gap=gap,
               last=str(last[-1].session.day) if last else "-"),
        days_in_a_row(asked, done, today),
        *body(asked, last, program, past, enough=enough),
    )  # fmt: skip


def _done_of(exercise: Exercise, past: list[PastSession]) -> tuple[Done, ...]:
    """Return what was done of an exercise; an unreadable session counts as one of unknown result."""
    lost = PastExercise(exercise.id, "", target=0, sets_planned=0, sets_in_full=0, pain=None, effort=None,
                        unsteady=False, pain_unanswered=True)  # fmt: skip
    return tuple(
        Done(session, one)
        for session in past
        for one in ((lost,) if session.unread else session.exercises)
        if one.exercise == exercise.id
    )
