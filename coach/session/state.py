"""Everything that a session knows, in one frozen value."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from enum import StrEnum

from coach.loglines.reasons import SessionWhy
from coach.program.model import ScreenQuestion
from coach.session.changed import changed
from coach.session.commands import Command
from coach.session.events import Event
from coach.session.past import Goal
from coach.session.plan import PlannedExercise, Today, turns
from coach.tempo.units import to_samples


class State(StrEnum):
    """The states of a session; DIAGRAMS.md shows how they follow each other."""

    OPENING = "opening"
    CHECKING = "checking"
    """The sound check: waits for the first "ready"."""
    SCREENING = "screening"
    SCREEN_CHECK = "screen_check"
    """Reads the screen answers back."""
    RATING = "rating"
    """Asks how near each of the person's goals is."""
    INTRO = "intro"
    SETUP = "setup"
    WAITING = "waiting"
    """Waits for "ready" before a set."""
    LEAD_IN = "lead_in"
    WORKING = "working"
    STILL = "holding"
    """A reply in a set was not understood: the phase is finished, then the work stands still. Record and screens call
    it "holding"."""
    SET_END = "set_end"
    ASKING = "asking"
    """Asks about pain, effort or reps of a set, or about pain after a halt."""
    CONFIRMING = "confirming"
    """Reads a number or a band back."""
    RESTING = "resting"
    HALTED = "halted"
    """Everything is silent; asks why."""
    RECOVERING = "recovering"
    """After a halt: says what happens now and waits for "ready"."""
    PAUSED = "paused"
    DEAF = "deaf"
    """The microphone is lost."""
    MUTE = "mute"
    """The speaker is lost."""
    CLOSING = "closing"
    ENDED = "ended"


class Question(StrEnum):
    """The questions about a set, or about pain after a halt."""

    REPS = "reps"
    """Did you do all that was counted?"""
    MISSED = "missed"
    """How many did you miss?"""
    PAIN = "pain"
    EFFORT = "effort"
    HALT_PAIN = "halt_pain"


# none of these has slots: see changed.py


@dataclass(frozen=True)
class OpenSet:
    """The open set; its SetEnded line is written when it is closed."""

    number: int
    """The set's number within the session, from 1: its id in the record."""
    counted: int = 0
    """Complete reps (each side counts), rounds or seconds."""
    tension: int = 0
    """Samples of work so far, without phases called "rest"."""
    rep: int = 0
    """The present rep, round or second, from 1."""
    rep_until: int = 0
    """Sample at which the present rep ends on its last side."""
    phase: int = 0
    """Index of the present phase."""
    phase_began: int | None = None
    """Sample at which it began; None: no phase runs."""
    phase_until: int = 0
    """Sample at which it ends."""
    side: str = ""
    """The side that works now."""

    def phase_ran_out(self, at: int) -> bool:
        """Tell whether the present phase has ended by sample `at`; False if no phase runs."""
        return self.phase_began is not None and self.phase_began < self.phase_until <= at


@dataclass(frozen=True)
class OpenExercise:
    """The progress of the present exercise."""

    index: int = 0
    """Index among today's exercises."""
    turn: int = 0
    """Index among its turns."""
    stretch: float = 1.0
    """Factor by which every phase is lengthened; 1 or more."""
    cut_sets: int = 0
    """Its sets that were cut short."""
    over: str | None = None
    """Why no further set of it begins; None: it goes on."""
    new_setup: bool = False
    """Its level changed: the set-up is said before the next set."""


@dataclass(frozen=True)
class Given:
    """An answer that is not confirmed yet: a number, or a band of pain from the yes/no ladder."""

    number: int
    """The number, or the highest pain of the band."""
    low: int | None = None
    """The lowest pain of the band; None: it is a number."""


@dataclass(frozen=True)
class OpenQuestion:
    """The progress of the present question."""

    given: Given | None = None
    """The last answer heard, which is read back."""
    worst: Given | None = None
    """The highest answer heard; unconfirmed, it counts only if it ends the session."""
    rung: int | None = None
    """Index of the present rung of the yes/no ladder; None: a number is asked for."""
    trouble: int = 0
    """How often a number was denied or not understood."""
    attempts: int = 0
    """How often it was answered."""


@dataclass(frozen=True)
class Interruption:
    """The present halt, pause or lost device."""

    back: State
    """Where "ready" leads: LEAD_IN for an open set, SET_END after one that was closed, else the interrupted state, from
    its beginning."""
    quiet: bool = False
    """The person halted: until they are ready, only the halt's own words sound."""
    decision: str | None = None
    """RECOVERING: the halt_ phrase that says what happens now."""


@dataclass(frozen=True)
class Screening:
    """The progress of the questions before the start."""

    answers: tuple[bool, ...] = ()
    """Yes or no to each question asked so far."""
    denials: int = 0
    """How often their read-back was denied."""


@dataclass(frozen=True)
class OutOfOrder:
    """Which of microphone, speaker and disk do not work."""

    mic_lost: bool = False
    speaker_lost: bool = False
    unwritten: bool = False
    """The disk does not take the record; it is kept in memory."""
    unwritten_told: bool = False
    """The coach has said so."""


@dataclass(frozen=True)
class Session:
    """The whole state of a session; `handle` returns a new one."""

    today: Today
    levels: tuple[int, ...]
    """Present level index, per exercise; never rises within a session."""
    targets: tuple[int, ...]
    """Present target, per exercise; never rises within a session, unless the kind of work changes."""
    state: State = State.OPENING
    at: int = 0
    """Sample of the last event."""
    began: int = 0
    """Sample at which the session began; negative in one that is taken up."""
    prompts: int = 0
    """How often the present state has asked again without an answer."""
    screening: Screening = Screening()
    goals_passed: int = 0
    """How many of today's goals were asked about."""
    exercise: OpenExercise = OpenExercise()
    introduced: int = 0
    """How many exercises were introduced, with what is new since last time."""
    exercising: bool = False
    """Screening is over and the exercises have begun."""
    open_set: OpenSet | None = None
    placed: bool = False
    """LEAD_IN: its beats and the work are placed."""
    still: bool = False
    """STILL: the phase is over and the work stands still."""
    sets_begun: int = 0
    sets_done: int = 0
    """Sets that ran to their end."""
    asks: tuple[Question, ...] = ()
    """Questions still open, the present one first."""
    open_question: OpenQuestion = OpenQuestion()
    asked_level: int = 0
    """Level of the set that the questions are about; easing may have lowered the level since."""
    by_ladder: bool = False
    """Numbers are not heard well: the yes/no ladder asks about pain."""
    rest_from: int = 0
    """Sample at which the last set ended; its rest runs from there, through questions and halts."""
    rest_until: int = 0
    """RESTING: sample at which the rest is over."""
    equipment: OutOfOrder = OutOfOrder()
    interruption: Interruption | None = None
    halts: int = 0
    worst_pain: int | None = None
    """Highest pain stated in this session; None: none was."""
    gave_way: bool = False
    """The person said "unsteady" in this session."""
    on_hold: bool = False
    """What was told puts the person on hold: no session begins until the clinician clears it."""
    end_why: SessionWhy | None = None
    """Why the session ends; None: it goes on."""

    @property
    def planned(self) -> PlannedExercise:
        """The present exercise."""
        return self.today.exercises[self.exercise.index]

    @property
    def level(self) -> int:
        """Index of its present level."""
        return self.levels[self.exercise.index]

    @property
    def target(self) -> int:
        """Reps, rounds or seconds of the coming sets."""
        return self.targets[self.exercise.index]

    @property
    def turns(self) -> tuple[tuple[int, tuple[str, ...]], ...]:
        """The sets of this exercise, as (number, sides)."""
        exercise = self.planned.exercise
        most = exercise.levels[self.planned.level].dose.sets  # an easier level never brings more sets than planned
        return tuple(t for t in turns(exercise, exercise.levels[self.level], self.today.side) if t[0] <= most)

    @property
    def present_turn(self) -> tuple[int, tuple[str, ...]]:
        """The present set, as (number, sides); the last one if easing has left fewer sets."""
        every = self.turns
        return every[min(self.exercise.turn, len(every) - 1)]

    @property
    def sides(self) -> tuple[str, ...]:
        """The sides of the present set."""
        return self.present_turn[1]

    @property
    def screen_question(self) -> ScreenQuestion:
        """The present screen question."""
        return self.today.screen[len(self.screening.answers)]

    @property
    def goal(self) -> Goal:
        """The goal that is asked about."""
        return self.today.goals[self.goals_passed]

    @property
    def asked_about(self) -> Question:
        """The present question about a set or a halt."""
        return self.asks[0]

    @property
    def rung(self) -> int | None:
        """Index of the present rung of the yes/no ladder; None: a number is asked for."""
        return self.open_question.rung

    @property
    def quiet(self) -> bool:
        """Whether only a halt's own words may sound: from a halt until the person is ready."""
        return self.interruption is not None and self.interruption.quiet

    @property
    def pain_unmeasured(self) -> bool:
        """Whether somebody told of pain and not yet how much."""
        return self.asks[:1] == (Question.HALT_PAIN,)

    @property
    def is_last_halt(self) -> bool:
        """Whether this is the last halt that the program allows in one session."""
        return self.quiet and self.halts >= self.today.program.limits.halts

    def with_asks(self, *asks: Question) -> Session:
        """Return the session with these questions open, and no answer yet to the first."""
        return changed(self, asks=asks, open_question=OpenQuestion())

    def with_back(self, back: State) -> Session:
        """Return the session with another state for "ready" to lead back to."""
        interruption = Interruption(back) if self.interruption is None else changed(self.interruption, back=back)
        return changed(self, interruption=interruption)

    def with_decision(self, decision: str) -> Session:
        """Return the interrupted session with the halt_ phrase that says what happens now."""
        assert self.interruption is not None
        return changed(self, interruption=changed(self.interruption, decision=decision))

    def with_exercise_over(self, why: str) -> Session:
        """Return the session with this exercise over, for the reason `why`."""
        return changed(self, exercise=changed(self.exercise, over=why))

    def with_level(self, index: int, level: int) -> Session:
        """Return the session with the same or a lower level index for one exercise."""
        assert level <= self.levels[index]
        return changed(self, levels=(*self.levels[:index], level, *self.levels[index + 1 :]))

    def with_target(self, index: int, target: int) -> Session:
        """Return the session with another target for one exercise."""
        return changed(self, targets=(*self.targets[:index], target, *self.targets[index + 1 :]))


Result = tuple[Session, tuple[Command, ...]]
"""What a row's act, or entering a state, returns: the next session, and its commands in order."""

Act = Callable[[Session, Event], Result]
"""What a row of the table does."""


def begin(today: Today) -> Session:
    """Return the session before its first event."""
    session = Session(
        today,
        levels=tuple(planned.level for planned in today.exercises),
        targets=tuple(planned.target for planned in today.exercises),
        by_ladder=not today.numbers_heard,
    )
    before = today.taken_up
    if before is None:
        return session
    return changed(
        session,
        levels=before.levels,
        targets=before.targets,
        began=-to_samples(before.seconds),
        exercise=OpenExercise(before.exercise_index, before.turn, before.stretch, before.cut_sets, before.over or None),
        introduced=before.exercise_index,
        asked_level=before.levels[before.exercise_index],
        halts=before.halts,
    )
