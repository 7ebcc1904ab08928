"""Run one session by script through the real core; return its lines, and the true facts that follow from the script."""

from __future__ import annotations

from dataclasses import dataclass, field
from itertools import pairwise

from coach.loglines.hearing import Heard
from coach.loglines.kinds import Answer
from coach.program.model import Level, Limits, tension_of_one
from coach.session.commands import Record
from coach.session.events import Event, On
from coach.session.ladder import above
from coach.session.plan import NEXT_DAY, PlannedExercise, Today, turns
from coach.session.soundless import SoundlessRun
from coach.session.state import Question, State
from coach.tempo.units import to_samples

ANSWERS_AFTER = to_samples(1.0)
"""Samples from the end of a question to its answer."""


@dataclass(frozen=True, slots=True)
class SessionScript:
    """What a person does and says in one session. Sets have the number within the session, from 1; 0: no set."""

    pain: int = 1
    """Pain 0-10 after each set."""
    peak: int = 0
    """The set after which the pain is one higher."""
    effort: int = 5
    """Effort 0-10 after each set."""
    worse: bool = False
    """The answer to whether the morning after last time was worse."""
    missed: int = 0
    """The set in which they did two reps fewer than were counted."""
    halt: int = 0
    """The set in which they halt."""
    halt_after: int = 3
    """Reps, rounds or seconds counted before the halt; in a set with no more than that, nobody halts."""
    halt_why: str = "break"
    """"pain", "tired", "unsteady" or "break"."""
    halt_pain: int = 3
    """Pain 0-10 at a halt because of pain."""
    at_once: bool = False
    """Whether they say the reason at once instead of "stop" (for a break they always say "stop")."""
    denied: int = 0
    """The set after which the pain is misheard once and they deny the read-back."""
    unclear: int = 0
    """The set before which one "ready" is not understood."""
    silent: int = 0
    """The set after which the question about effort is not answered."""
    deaf: int = 0
    """The set after which the microphone is lost and comes back."""


@dataclass(slots=True)
class TrueSet:
    """The true facts of one set that began."""

    exercise: str
    level: str
    side: str
    unit: str
    planned: int
    """Most planned, in `unit`, all sides together."""
    counted: int
    tension_planned_s: float
    tension_s: float
    why: str = "done"
    stated: int | None = None
    pain: int | None = None
    """Highest pain (0-10) reported for it, as the person felt it; None: it was not asked for."""
    effort: int | None = None


@dataclass(frozen=True, slots=True)
class TruePlan:
    """The day's plan of one exercise."""

    exercise: str
    unit: str
    sets: int
    each: int
    """Amount of a set, in `unit`, all sides together."""
    tension_s: float
    """Seconds under tension of a set."""


@dataclass(slots=True)
class TrueVisit:
    """The true facts of one session."""

    limits: Limits
    ladder: bool
    """Whether the yes/no ladder asked about pain, so the record holds its band."""
    sets: list[TrueSet] = field(default_factory=list)
    prescribed: list[TruePlan] = field(default_factory=list)
    told: list[tuple[bool, int]] = field(default_factory=list)
    """Each reported pain in order: whether at a halt, and how much (0-10) as the person felt it."""
    halts: list[tuple[str, str]] = field(default_factory=list)
    """Exercise and reason of each halt."""
    eased: list[tuple[str, str]] = field(default_factory=list)
    """Exercise and the rule that eased it."""
    words: int = 0
    """Number of words that an ear understood."""
    unclear: int = 0
    """Number of words that were not understood."""
    denied: int = 0
    """Number of read-backs that were denied."""
    unanswered: int = 0
    """Number of questions that were not answered."""
    lost: int = 0
    """How often the microphone was lost."""
    worse: bool | None = None
    """The answer to whether the morning after last time was worse; None: not asked."""
    why: str = "done"

    @property
    def highest(self) -> int | None:
        """Highest pain reported; None: none was."""
        return max((one.pain for one in self.sets if one.pain is not None), default=None)

    @property
    def sore(self) -> bool:
        """Whether the next session is put off as after a sore day."""
        hurt = (self.highest or 0) > self.limits.pain_carry_on_to or self.why == "pain"
        hurt = hurt or any(why == "unsteady" for _, why in self.halts)
        return hurt or bool(self.worse)

    def written(self, pain: int | None) -> Answer:
        """Return how the record holds a pain reported after a set: the number, or its band on the ladder."""
        if pain is None or not self.ladder:
            return pain
        if pain == 0:
            return "none"
        edges = sorted({0, self.limits.pain_carry_on_to, self.limits.pain_ease_to, 10})
        low, high = next(pair for pair in pairwise(edges) if pair[0] < pain <= pair[1])
        return f"{low + 1}-{high}"


def visit(today: Today, script: SessionScript, ear: str = "taught") -> tuple[tuple[Record, ...], TrueVisit]:
    """Run the session of `today` by `script`; return its lines after the first, and its true facts."""
    return _Visit(today, script, ear).whole()


class _Visit:
    def __init__(self, today: Today, script: SessionScript, ear: str) -> None:
        self.run = SoundlessRun(today)
        self.script = script
        self.ear = ear
        self.true = TrueVisit(today.program.limits, not today.numbers_heard)
        self.true.prescribed = [_prescribed(today, planned) for planned in today.exercises]
        self._once: set[str] = set()
        self._wrong = False
        self._said = ""
        self._told: tuple[int, Question] | None = None

    def whole(self) -> tuple[tuple[Record, ...], TrueVisit]:
        run = self.run
        while not run.over:
            before = run.session
            if not self._act():
                moved = run.step()
                assert moved, f"nothing is due in {run.session.state}"
            self._notice(before.levels, before.targets)
        self.true.why = str(run.session.end_why)
        return tuple(run.records), self.true

    # -- what the person does ------------------------------------------------------------------------------------------

    def _act(self) -> bool:
        """Do what the script has for this moment; False if the coach is to go on."""
        run, session, script = self.run, self.run.session, self.script
        if self._halts_here():
            on = On(script.halt_why) if script.at_once and script.halt_why != "break" else On.STOP
            self._note_halt(on)
            return self._say(on)
        if session.state is State.DEAF:
            return run.give(Event(On.MIC_BACK, run.now))
        if session.state is State.RESTING and session.sets_begun == script.deaf and self._first("deaf"):
            self.true.lost += 1
            return run.give(Event(On.MIC_LOST, run.now))
        if run.agenda.talking:
            return False
        reply = self._reply()
        if reply is None:
            return False
        due = run.agenda.next_at()
        if due is None or run.now + ANSWERS_AFTER <= due:
            run.now += ANSWERS_AFTER
        return self._say(*reply)

    def _halts_here(self) -> bool:
        running = self.run.session.open_set
        return (
            running is not None
            and self.run.session.state is State.WORKING
            and running.number == self.script.halt
            and running.counted == self.script.halt_after < self.true.sets[-1].planned
            and self._first("halt")
        )

    def _note_halt(self, on: On) -> None:
        one, why = self.true.sets[-1], self.script.halt_why
        self.true.halts.append((one.exercise, why))
        limits = self.true.limits
        told = self.script.halt_pain
        if why == "pain":
            one.pain = told
        last = len(self.true.halts) >= limits.halts and on is On.STOP
        if last or why in ("tired", "unsteady") or (why == "pain" and told > limits.pain_carry_on_to):
            one.tension_s = one.tension_s / one.counted * self.script.halt_after
            one.counted = self.script.halt_after
            one.why = f"halted_{why}"

    def _first(self, what: str) -> bool:
        """Tell whether this happens for the first time."""
        if what in self._once:
            return False
        self._once.add(what)
        return True

    def _reply(self) -> tuple[On, int] | None:
        """Return the person's answer now; None if nothing is asked."""
        session, script = self.run.session, self.script
        match session.state:
            case State.CHECKING | State.SCREEN_CHECK:
                return (On.READY if session.state is State.CHECKING else On.YES), 0
            case State.SCREENING:
                return self._screen(), 0
            case State.RATING:
                return On.NUMBER, 5
            case State.WAITING:
                unheard = session.sets_begun + 1 == script.unclear and self._first("unclear")
                return (On.SPOKE if unheard else On.READY), 0
            case State.RECOVERING | State.PAUSED:
                return On.READY, 0
            case State.HALTED:
                return On(script.halt_why), 0
            case State.ASKING:
                return self._answer()
            case State.CONFIRMING:
                wrong, self._wrong = self._wrong, False
                self.true.denied += wrong
                return (On.NO if wrong else On.YES), 0
            case _:
                return None

    def _screen(self) -> On:
        question = self.run.session.screen_question
        if question.id != NEXT_DAY:
            return On.NO if question.answer else On.YES
        self.true.worse = self.script.worse
        self._said = f"screen.{NEXT_DAY}"
        return On.YES if self.script.worse else On.NO

    def _answer(self) -> tuple[On, int] | None:
        session, script = self.run.session, self.script
        number, question = session.sets_begun, session.asked_about
        one = self.true.sets[-1]
        short = script.missed == number and one.counted > 2
        if question is Question.REPS:
            if not short:
                one.stated = one.counted
            return (On.NO if short else On.YES), 0
        if question is Question.MISSED:
            one.stated = one.counted - 2
            return On.NUMBER, 2
        if question is Question.EFFORT:
            if number == script.silent:
                self.true.unanswered += self._first("silent")
                return None
            one.effort, self._said = script.effort, "limits.effort.ease_above"
            return On.NUMBER, script.effort
        pain = script.halt_pain if question is Question.HALT_PAIN else script.pain + (number == script.peak)
        if one.pain is None or self._told != (number, question):
            self._told = (number, question)
            self.true.told.append((question is Question.HALT_PAIN, pain))
        one.pain, self._said = max(pain, one.pain or 0), "limits.pain.ease_to"
        if session.rung is not None:
            return (On.YES if pain > above(session) else On.NO), 0
        if question is Question.PAIN and number == script.denied and self._first("denied"):
            self._wrong = True
            return On.NUMBER, pain + 1 if pain < 10 else 9
        return On.NUMBER, pain

    def _say(self, on: On, number: int = 0) -> bool:
        """Say a word: first the line of the ear, as the engine writes it, then the event."""
        run, unheard = self.run, on is On.SPOKE
        if on in (On.TIRED, On.UNSTEADY):
            self._said = f"limits.{on}"
        ear = "vosk" if unheard else self.ear
        line = Heard(
            ear=ear,
            word="again" if unheard else f"n{number}" if on is On.NUMBER else str(on),
            score=0.5 if unheard else 0.9,
            began=run.now - to_samples(0.5),
            ended=run.now - to_samples(0.1),
            used=not unheard,
            decision="unclear" if unheard else "halted" if on is On.STOP else "understood",
        )
        run.commands.append((run.now, run.session.state, Record(run.now, line)))
        if not run.give(Event(on, run.now, number=number, ear="activity" if unheard else ear)):
            run.commands.pop()
            return False
        self.true.words += not unheard
        self.true.unclear += unheard
        return True

    # -- the true facts now --------------------------------------------------------------------------------------------

    def _notice(self, levels: tuple[int, ...], targets: tuple[int, ...]) -> None:
        session = self.run.session
        if session.open_set is not None and session.open_set.number > len(self.true.sets):
            self.true.sets.append(self._opened())
        for index, planned in enumerate(session.today.exercises):
            if session.levels[index] != levels[index] or session.targets[index] != targets[index]:
                self.true.eased.append((planned.exercise.id, self._said))

    def _opened(self) -> TrueSet:
        """Return the set that has just begun, as it will be if it runs to its end."""
        session = self.run.session
        level = session.planned.exercise.levels[session.level]
        most = session.target * len(session.sides)
        unit, once = _unit(level)
        side = "+".join(session.sides)
        return TrueSet(session.planned.exercise.id, level.id, side, unit, most, most, once * most, once * most)


def _unit(level: Level) -> tuple[str, float]:
    """Return the unit that a set of the level counts, and the seconds under tension of one."""
    return level.dose.work.unit, tension_of_one(level.dose.work)


def _prescribed(today: Today, planned: PlannedExercise) -> TruePlan:
    level = planned.exercise.levels[planned.level]
    sides = [len(working) for _, working in turns(planned.exercise, level, today.side)]
    unit, once = _unit(level)
    each = planned.target * sides[0]
    return TruePlan(planned.exercise.id, unit, len(sides), each, once * each)
