"""Which level and amount of an exercise a person has reached: only a decision raises the level.

The walk starts at `start_level` and takes every event in order of time:
- A session lowers the level to the one it ended at, and never raises it.
- A decision moves the level, "up" by one at most. Of several decisions on one day only the last counts.
- After unsteadiness or a session that ended for safety no amount grows, in any exercise, until it was done once more.
- A session whose file cannot be read keeps the level, and limits the amount to what was last done: how the body took
  more, only the lost file could tell.
- A gap lowers the level as the program says: to one below that of the last decision or calm session. So does lasting
  trouble: for as many days there were sessions, and in each of them pain was above `carry_on_to`, pain was unknown, or
  the joint gave way.
So inserting a session that hurt can only lower what comes after it.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date
from enum import StrEnum
from itertools import groupby
from typing import Any

from coach.program.model import AfterGap, Exercise, Hold, Program
from coach.session.past import Clause, Decision, PastExercise, PastSession, Verdict, clause, effective

HOLD_STEP = 5
"""Seconds that a hold grows by, within its range."""

REP_STEP = 1
"""Reps or rounds that a set grows by, within its range."""


SAFETY_ENDINGS = frozenset({"pain", "unsteady", "halts", "screen", "no_answer_halt"})
"""Reasons for a session's end after which no amount of the whole program grows next time."""

CUT_SHORT = SAFETY_ENDINGS | {"tired", "no_answer"}
"""Reasons for a session's end, from the body or from silence, after which that day leads to no more work."""


def in_order(history: tuple[PastSession, ...]) -> tuple[PastSession, ...]:
    """Return sessions oldest first; the result does not depend on their order in `history`."""
    ordered = sorted(history, key=moment)
    same = [list(group) for _, group in groupby(ordered, moment)]  # repr is slow: only to break ties
    return tuple(session for group in same for session in (sorted(group, key=repr) if len(group) > 1 else group))


def moment(session: PastSession) -> str:
    """Return when a session began, in letters that sort in order of time."""
    return session.began or session.day.isoformat()


def hurt(done: PastExercise, program: Program) -> bool:
    """Tell whether stated pain exceeded `carry_on_to`, or the joint gave way."""
    return done.unsteady or (done.pain is not None and done.pain > program.limits.pain_carry_on_to)


def calm(done: PastExercise, program: Program) -> bool:
    """Tell whether all pain was stated and within `carry_on_to`, and the joint did not give way."""
    return done.pain is not None and not done.pain_unanswered and not hurt(done, program)


def alarming(session: PastSession) -> bool:
    """Tell whether a session ended for safety, or something gave way in it: nothing grows next time."""
    return session.why in SAFETY_ENDINGS or session.gave_way or any(done.unsteady for done in session.exercises)


def in_full(done: PastExercise) -> bool:
    """Tell whether all planned sets ran in full and nothing was eased."""
    return done.sets_in_full >= done.sets_planned > 0 and not done.eased


def went_well(done: PastExercise, program: Program) -> bool:
    """Tell whether it was calm, and every set ran in full with at least the target."""
    return in_full(done) and calm(done, program) and (done.least is None or done.least >= done.target)


def steady(session: PastSession, done: PastExercise, program: Program) -> bool:
    """Tell whether an exercise went well, no worse morning was told, and the session's end is not in CUT_SHORT."""
    return went_well(done, program) and not session.next_day_worse and session.why not in CUT_SHORT


@dataclass(frozen=True, slots=True)
class Done:
    """What one session did of the exercise."""

    session: PastSession
    exercise: PastExercise


class LastingCause(StrEnum):
    """The gravest reason why a row of sessions was not calm."""

    PAIN = "pain"
    """Pain above `carry_on_to` was stated."""
    UNSTEADY = "unsteady"
    UNKNOWN = "unknown"
    """The pain is not known."""


@dataclass(frozen=True, slots=True)
class Lasting:
    """Lasting trouble: for the days of a gap an exercise was done, but no session of it was calm."""

    exercise: str
    """Its id."""
    cause: LastingCause
    since: date
    """The last calm session or decision, or the first session of all."""
    days: int
    """Days since then."""
    sessions: int
    """Sessions since then, none of them calm."""
    pain: int | None
    """Highest pain stated in them, 0-10; None: none was."""
    to: int
    """Pain 0-10 up to which a session is calm."""


@dataclass(frozen=True, slots=True)
class Reached:
    """The level and amount that a person has reached in one exercise."""

    level: int
    """Index of the level, 0 the easiest."""
    amount: int
    """Reps, rounds or seconds of a set, within the range of the level."""
    level_because: Clause
    amount_because: Clause | None
    """None: the level has just changed; the amount is the bottom of its range."""
    notes: tuple[Clause, ...] = ()
    """What else to tell: levels that are gone from the program, steps that were not taken."""
    since: tuple[Done, ...] = ()
    """Its sessions since the level was reached or last decided about, oldest first."""
    last: PastSession | None = None
    """The last session of the exercise."""
    decision: Decision | None = None
    """The decision since the last session that changed or confirmed the level; None: there is none."""
    gap: bool = False
    """Today is the first day after a gap: there was no session."""
    lasting: Lasting | None = None
    """Its trouble that has lasted until today; None: there is none."""


def reached(
    exercise: Exercise,
    program: Program,
    past: tuple[PastSession, ...],
    decisions: tuple[Decision, ...],
    today: date | None = None,
) -> Reached:
    """Return the level and amount that `past` (in order) and `decisions` lead to; gaps are counted up to `today`.

    If a clock jumped, events may be dated after today: such a session ends no gap, such a step up does not count.
    """
    alarm = max((session for session in past if alarming(session)), key=moment, default=None)
    walk = _Walk(exercise, program, today, alarm)
    done = [
        (moment(session), 0, Done(session, one))
        for session in past
        for one in session.exercises
        if one.exercise == exercise.id
    ]
    events: list[tuple[str, int, Done | PastSession | Decision]] = [
        *done,
        *((moment(session), 0, session) for session in past if session.unread),
        *((one.at, 1, one) for one in effective(decisions, program.id, exercise.id, membership=False)),
        *((one.at, 1, one) for one in effective(decisions, program.id, exercise.id, membership=True)),
    ]
    for _, _, event in sorted(events, key=lambda event: event[:2]):
        if isinstance(event, Done):
            walk.session(event)
        elif isinstance(event, PastSession):
            walk.unread(event)
        elif not event.verdict.of_membership:
            walk.decision(event)
        elif event.verdict is Verdict.ADMIT:
            walk.admitted(event)
    if today is not None:
        walk.gap(today)
    return walk.reached()


def lasting(
    program: Program, history: tuple[PastSession, ...], decisions: tuple[Decision, ...], today: date
) -> tuple[Lasting, ...]:
    """Return the trouble that has lasted until `today`, one entry for each exercise with any."""
    past = in_order(history)
    found = (reached(each, program, past, decisions, today).lasting for each in program.exercises)
    return tuple(one for one in found if one is not None)


class _Walk:
    """Go from the start level to today, one event after the other."""

    def __init__(self, exercise: Exercise, program: Program, today: date | None, alarm: PastSession | None) -> None:
        self._program = program
        self._exercise = exercise.id
        self._levels = exercise.levels
        self._ids = [level.id for level in exercise.levels]
        self._start = self._ids.index(exercise.start_level)
        self._today = today
        self._alarm = alarm
        """The last session after which nothing of the program grows."""
        self._calm: date | None = None
        """The last calm day: that of a session or of a decision."""
        self._calm_level = self._start
        """The level on that day; after a gap or lasting trouble the level is at most one below it."""
        self._worked: date | None = None
        """The last day on which it was done, calm or not."""
        self._troubled: list[PastExercise] = []
        """What was done since the last calm day."""
        self._level = self._start
        self._level_because = clause("because_start_level", level=exercise.start_level)
        self._amount: Done | tuple[int, Clause | None] = self._low(), None
        """The amount and why; or the session it follows from, to be worked out when needed."""
        self._notes: list[Clause] = []
        self._since: list[Done] = []
        self._last: PastSession | None = None
        self._decision: Decision | None = None
        self._gap = False
        self._lasting: Lasting | None = None

    def session(self, event: Done) -> None:
        done, day = event.exercise, event.session.day
        self._come(day)
        level = self._known(done, day)
        if level < self._level:
            key = "because_lowered" if done.eased else "because_level_of"
            self._to(level, clause(key, level=self._ids[level], day=str(day)))
        self._since.append(event)
        self._last, self._decision, self._gap, self._amount = event.session, None, False, event
        if not self._is_future(day):
            self._worked = day
        self._troubled.append(done)
        if calm(done, self._program):
            self._count_from(day)

    def unread(self, session: PastSession) -> None:
        """Keep everything where the session before left it."""
        self._come(session.day)
        level, most = self._ids[self._level], self._reached_amount()[0]
        if self._since:
            most = min(most, max(self._low(), self._since[-1].exercise.target))
        unknown = PastExercise(level=level, target=most, exercise=self._exercise, sets_planned=0, sets_in_full=0,
                               pain=None, effort=None, unsteady=False, pain_unanswered=True)  # fmt: skip
        self._amount = most, clause("because_unread", day=str(session.day), target=most)
        self._since.append(Done(session, unknown))

    def _come(self, day: date) -> None:
        """Count gaps from the first session on, however it went, and apply one before `day`."""
        if self._calm is None and not self._is_future(day):  # the first session
            self._calm = day
        self.gap(day)

    def _known(self, done: PastExercise, day: date) -> int:
        """Return the level that a session ended at; if the program no longer has it, the safest one known."""
        if done.level in self._ids:
            return self._ids.index(done.level)
        level = 0 if done.eased else min(self._level, self._start)
        self._notes.append(clause("because_level_gone", gone=done.level, day=str(day), level=self._ids[level]))
        return level

    def decision(self, one: Decision) -> None:
        self.gap(one.day)
        level = self._level
        if one.to_level not in self._ids:
            self._notes.append(clause("because_decision_gone", gone=one.to_level, day=str(one.day), by=one.by))
        elif one.verdict is Verdict.UP and self._is_future(one.day):
            self._notes.append(clause("because_decision_future", day=str(one.day), by=one.by))
            return
        to = self._ids.index(one.to_level) if one.to_level in self._ids else level - (one.verdict is Verdict.DOWN)
        level = max(level, min(to, level + 1)) if one.verdict is Verdict.UP else max(0, min(level, to))
        because = clause(f"because_decided_{one.verdict}", level=self._ids[level], day=str(one.day), by=one.by)
        told = level != self._level or one.verdict is Verdict.STAY
        if level != self._level:
            self._to(level, because)
        elif one.verdict is Verdict.STAY:
            self._level_because = because
        else:
            self._amount = self._low(), None
        self._since = []
        self._decision, self._gap = one if told else None, False
        self._count_from(one.day)

    def admitted(self, one: Decision) -> None:
        """Begin at the bottom of the range; the level stays."""
        if self._is_future(one.day):
            return
        self.gap(one.day)
        low = self._low()
        self._amount = low, clause("because_admitted", low=low, day=str(one.day), by=one.by)
        self._since, self._gap, self._lasting = [], False, None
        if self._calm is not None:
            self._count_from(one.day)

    def gap(self, day: date) -> None:
        """Lower what was reached if a gap or lasting trouble ended at `day`."""
        schedule = self._program.schedule
        if self._calm is None or self._is_future(day):
            return
        self._gap, self._lasting = False, None
        days = (day - self._calm).days
        if days < schedule.gap_days:
            return
        away = (day - (self._worked or self._calm)).days
        self._gap = away >= schedule.gap_days
        values: dict[str, Any] = {"days": away, "gap": schedule.gap_days} if self._gap else self._trouble(days)
        why = "gap" if self._gap else "lasting"
        most = max(0, self._calm_level - (schedule.after_gap is AfterGap.LEVEL_DOWN))
        if self._level > most:
            self._to(most, clause(f"because_{why}_level", level=self._ids[most], **values))
        else:
            low = self._low()
            self._amount = low, clause(f"because_{why}_amount", low=low, **values)

    def _trouble(self, days: int) -> dict[str, Any]:
        """Note the trouble that has lasted for `days`, and return its figures."""
        assert self._calm is not None, "lasting trouble needs a session"
        pain = max((done.pain for done in self._troubled if done.pain is not None), default=None)
        to = self._program.limits.pain_carry_on_to
        cause = LastingCause.UNKNOWN
        if pain is not None and pain > to:
            cause = LastingCause.PAIN
        elif any(done.unsteady for done in self._troubled):
            cause = LastingCause.UNSTEADY
        self._lasting = Lasting(self._exercise, cause, self._calm, days, len(self._troubled), pain, to)
        highest = "-" if pain is None else pain
        return {"since": str(self._calm), "days": days, "n": len(self._troubled), "pain": highest, "to": to}

    def reached(self) -> Reached:
        """Return what the events so far have led to."""
        reps, because = self._reached_amount()
        return Reached(
            self._level,
            reps,
            self._level_because,
            because,
            tuple(self._notes),
            tuple(self._since),
            self._last,
            self._decision,
            self._gap,
            self._lasting,
        )

    def _is_future(self, day: date) -> bool:
        return self._today is not None and day > self._today

    def _count_from(self, day: date) -> None:
        """Count the days of a gap from `day` on."""
        if not self._is_future(day):
            self._calm = max(day, self._calm or day)
            self._calm_level = self._level
            self._troubled = []

    def _reached_amount(self) -> tuple[int, Clause | None]:
        return self._grow(self._amount) if isinstance(self._amount, Done) else self._amount

    def _grow(self, event: Done) -> tuple[int, Clause]:
        """Return the amount after a session: one step more, the same again, or the bottom of the range."""
        done, day, limits = event.exercise, str(event.session.day), self._program.limits
        work = self._levels[self._level].dose.work
        low, high = work.amount.low, work.amount.high
        step = HOLD_STEP if isinstance(work, Hold) else REP_STEP
        same_level = done.level == self._ids[self._level]
        as_many = done.least is not None and work.amount.steady  # the person ended it there, while it was steady
        was = min(done.target, done.least or 0) if as_many else done.target
        target = min(max(was, low), high) if same_level else low
        if hurt(done, self._program) or done.eased:
            because = clause("because_eased", day=day, low=low)
            if done.unsteady:
                because = clause("because_unsteady", day=day, low=low)
            elif done.pain is not None and done.pain > limits.pain_carry_on_to:
                because = clause("because_hurt", day=day, low=low, pain=done.pain, to=limits.pain_carry_on_to)
            target = low
        elif same_level and target < was:
            because = clause("because_smaller_range", day=day, was=was, target=target)
        elif same_level and was < done.target:
            because = clause("because_as_many", day=day, done=was, target=target)
        elif not steady(event.session, done, self._program):
            because = clause("because_same", day=day, target=target)
        elif self._alarm is not None and moment(self._alarm) >= moment(event.session):
            because = clause("because_held", day=str(self._alarm.day), target=target)
        elif same_level and min(was + step, high) > target:
            target = min(was + step, high)
            because = clause("because_on", day=day, sets=done.sets_planned, pain=done.pain or 0,
                             to=limits.pain_carry_on_to, target=target, low=low, high=high)  # fmt: skip
        else:
            because = clause("because_top" if target == high else "because_same", day=day, target=target)
        return target, because

    def _to(self, level: int, because: Clause) -> None:
        """Change the level; the amount starts at the bottom of its range."""
        self._level, self._level_because, self._since = level, because, []
        self._amount = self._low(), None

    def _low(self) -> int:
        return self._levels[self._level].dose.work.amount.low
