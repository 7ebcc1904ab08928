"""Random days: session after session without sound, each planned from the records of those before it."""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Iterable
from dataclasses import dataclass, field
from datetime import UTC, date, datetime, timedelta
from random import Random

from coach.history import broken_off, past
from coach.logbook import SessionRecord, assemble, line_of
from coach.logbook.closing import interrupted
from coach.logbook.pain import edge, is_pain
from coach.loglines.kinds import Answered, Eased, HaltExplained, SessionEnded, SetBegun, SetEnded, Unanswered
from coach.program.model import Hold, Program
from coach.session.commands import Record
from coach.session.lines import session_begun
from coach.session.past import Decision, Verdict
from coach.session.plan import PlannedExercise, Today, plan
from coach.session.progression import HOLD_STEP, REP_STEP
from coach.session.taken_up import take_up
from coach.tempo.units import to_seconds
from coach.testing.people import RandomPerson, live
from coach.testing.programs import for_somebody
from coach.testing.watched import WatchedRun, most_turns, need

FIRST_DAY = date(2027, 1, 11)
NOT_WELL = ("pain", "unsteady", "tired", "halts", "screen", "no_answer", "no_answer_halt")
"""Ends of a session after which nothing may grow; listed here again, so that the plan is checked against them."""

NOT_SAFE = ("pain", "unsteady", "halts", "screen", "no_answer_halt")
"""Ends of a session after which nothing of the whole program may grow."""

Begin = Callable[[Today, Random], WatchedRun]


def record_of(
    today: Today, records: Iterable[Record], name: str, began: datetime, *, closed: bool = True
) -> SessionRecord:
    """Return the record of the lines; `closed`: with the end that the next start gives a session that broke off."""
    first = session_begun(today, session=name, person="mira", ears=(), voice="", device="", app_version="")
    lines = [
        line_of(n, (began + timedelta(seconds=to_seconds(one.at))).isoformat(), one.at, one.fact)
        for n, one in enumerate((Record(0, first), *records), start=1)
    ]
    if closed:
        at = lines[-1].at
        for one in assemble(lines).sets:
            if not one.why:
                lines.append(line_of(len(lines) + 1, lines[-1].t, at, interrupted(one)))
        lines.append(line_of(len(lines) + 1, lines[-1].t, at, SessionEnded("interrupted", None)))
    return assemble(lines)


@dataclass(slots=True)
class LivedDays:
    """A person's days with one program; raises RuleBrokenError when a day is harder than it may be."""

    program: Program
    chance: Random
    begin: Begin
    """Makes the run of a plan."""
    broken: float = 0.2
    """Probability that a session breaks off, 0-1."""
    taken_up: int = 0
    """Sessions that were taken up so far."""
    raised: int = 0
    """Levels that a decision raised so far."""
    grown: int = 0
    """Amounts that grew so far."""
    ended: Counter[str] = field(default_factory=Counter)
    """Reasons for which sessions ended; those that broke off count as "interrupted"."""
    _records: list[SessionRecord] = field(default_factory=list)
    _decisions: list[Decision] = field(default_factory=list)
    _before: dict[str, PlannedExercise] = field(default_factory=dict)
    """The last plan of each exercise."""
    _ups: Counter[str] = field(default_factory=Counter)
    """Days with a decision for a step up since that plan, by exercise."""
    _spoilt: dict[str, str] = field(default_factory=dict)
    """By exercise, why nothing may grow after its last session."""
    _out: dict[str, str] = field(default_factory=dict)
    """By exercise, why it may not be planned before it is admitted."""
    _paused: dict[str, date | None] = field(default_factory=dict)
    """By exercise, the day until which it may not be planned; None: until it is admitted."""
    left_out: int = 0
    """Exercises that a plan left out."""

    def live(self, days: int) -> None:
        """Run a number of sessions, some days apart."""
        day = FIRST_DAY
        for number in range(days):
            today = plan(self.program, past(self._records, self.program.id), day, tuple(self._decisions))
            self._check(today, day)
            if not today.exercises:
                return
            self._before |= {one.exercise.id: one for one in today.exercises}
            for one in today.exercises:
                self._ups.pop(one.exercise.id, None)
            self._session(for_somebody(today, numbers_heard=self.chance.random() < 0.7), day, f"s{number}")
            if self.chance.random() < 0.4:
                self._decide(day)
            day += timedelta(days=self.chance.choice((1, 1, 1, 2, 3, 20)))

    def _session(self, today: Today, day: date, name: str) -> None:
        began = datetime(day.year, day.month, day.day, 9, tzinfo=UTC)
        kept: list[Record] = []
        for part in range(3):
            run = self.begin(today, self.chance)
            live(run, RandomPerson.any(self.chance))
            lines, broke = run.records, self.chance.random() < self.broken
            if broke:
                lines = [one for one in lines if not isinstance(one.fact, SessionEnded)]
                lines = lines[: self.chance.randint(0, len(lines))]
            kept += lines
            self._records.append(record_of(today, lines, f"{name}.{part}", began, closed=broke))
            self.ended[self._records[-1].why] += 1
            then = began + timedelta(minutes=50)
            left = broken_off(self._records, self.program.id, then) if broke else None
            now = plan(self.program, past(self._records, self.program.id), day, tuple(self._decisions))
            more = take_up(now, left) if left else None
            if more is None:
                break
            self.taken_up += 1
            today, began = more, then
        self._spoil(kept)

    def _spoil(self, lines: list[Record]) -> None:
        """Note for each exercise worked at whether a line forbids more of it next time."""
        exercise = ""
        done: set[str] = set()
        anywhere = False
        unanswered: dict[str, str] = {}
        trouble: dict[str, str] = {}
        for line in lines:
            match line.fact:
                case SetBegun() as it:
                    done.add(it.exercise)
                    if it.exercise != exercise:
                        exercise = it.exercise
                        self._spoilt.pop(exercise, None)
                        unanswered.pop(exercise, None)
                case SetEnded(why="halted_unsteady"):
                    self._spoilt[exercise] = trouble[exercise] = "something gave way in a set"
                case SetEnded(why=why) if why not in ("done", "enough"):
                    self._spoilt[exercise] = f"a set ended as {why}"
                case Eased() as it if it.what != "slower":
                    self._spoilt[it.exercise] = "it was eased"
                case HaltExplained(why="unsteady") as it:
                    anywhere |= not it.exercise
                    self._spoilt[it.exercise or exercise] = trouble[it.exercise or exercise] = "something gave way"
                case Unanswered(question="pain"):
                    unanswered[exercise] = "nobody answered about pain"
                case SessionEnded(why=why) if why in NOT_WELL:
                    self._spoilt |= dict.fromkeys(done, f"the session ended as {why}")
                case Answered() as it if is_pain(it.question):
                    unanswered.pop(exercise, None)  # it was asked again, for example after a halt
                    pain = edge(it.value)
                    if pain is None or pain > self.program.limits.pain_carry_on_to:
                        self._spoilt[exercise] = f"pain {pain}"
                        if pain is not None:
                            trouble[exercise] = f"pain {pain}"
                case _:
                    pass
        self._spoilt |= unanswered
        if anywhere:
            self._spoilt |= (gave_way := dict.fromkeys(done, "something gave way outside of any exercise"))
            trouble |= gave_way
        told = [line.fact for line in lines]
        alarms = ["something gave way" for it in told if isinstance(it, HaltExplained) and it.why == "unsteady"]
        alarms += [it.why for it in told if isinstance(it, SessionEnded) and it.why in NOT_SAFE]
        if alarms:
            self._spoilt |= dict.fromkeys((each.id for each in self.program.exercises), f"{alarms[0]}: nothing grows")
        self._take_out({name: why for name, why in trouble.items() if name in done})

    def _decide(self, day: date) -> None:
        exercise = self.chance.choice(self.program.exercises)
        verdict = self.chance.choice((*Verdict, *[Verdict.UP] * 3))  # a level that rises is what is looked for
        to = self.chance.choice(exercise.levels).id
        at = f"{day}T20:00:00.000+00:00"
        until = day + timedelta(days=self.chance.randint(1, 30)) if self.chance.random() < 0.5 else None
        until = until if verdict is Verdict.PAUSE else None
        self._decisions.append(
            Decision(
                self.program.id, exercise.id, verdict, "", to, "Kim Rivers", "", at, day, self.program.digest, until
            )
        )  # fmt: skip
        self._ups[exercise.id] += verdict is Verdict.UP
        if verdict is Verdict.ADMIT:
            self._out.pop(exercise.id, None)
            self._paused.pop(exercise.id, None)
        elif verdict is Verdict.PAUSE:
            self._paused[exercise.id] = until
        elif verdict is Verdict.WITHDRAW:
            self._paused.pop(exercise.id, None)
            self._out[exercise.id] = "it was withdrawn"

    def _take_out(self, trouble: dict[str, str]) -> None:
        """Note which exercises that join the trouble of a session takes out: its own, or of one that carries it."""
        for each in self.program.exercises:
            name: str | None = each.id if each.joins_after else None
            while name is not None:
                if name in trouble:
                    self._out.setdefault(each.id, trouble[name])
                joins = self.program.exercise(name).joins_after
                name = joins.exercise if joins else None

    def _check(self, today: Today, day: date) -> None:
        self.left_out += len(today.left_out)
        for one in today.exercises:
            name = one.exercise.id
            need(name not in self._out, "what trouble or a decision took out waits for a decision", self._out.get(name))
            until = self._paused.get(name, day)
            need(until is not None and day >= until, "what is paused waits for its day or a decision", name, until)
        need(most_turns(today) >= len(today.exercises), "each exercise of a day has a set")
        for one in today.exercises:
            within = one.exercise.levels[one.level].dose.work.amount
            need(within.low <= one.target <= within.high, "a target is within its range", one.target, within)
            need(one.because, "everything planned has its reason", one)
            was = self._before.get(one.exercise.id)
            if was is not None:
                self._not_harder(was, one)

    def _not_harder(self, was: PlannedExercise, now: PlannedExercise) -> None:
        name = now.exercise.id
        ups = self._ups[name]
        need(now.level <= was.level + ups, "a level rises by a decision, one a day", was.level, now.level)
        self.raised += now.level > was.level
        work = now.exercise.levels[now.level].dose.work
        if now.level != was.level or now.target <= was.target:
            return
        step = HOLD_STEP if isinstance(work, Hold) else REP_STEP
        need(now.target <= was.target + step, "an amount grows by one step", was.target, now.target)
        need(name not in self._spoilt, "nothing grows after a session that was not well", self._spoilt.get(name))
        self.grown += 1
