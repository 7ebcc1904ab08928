"""What a session knows at any moment, in one frozen value."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from enum import StrEnum

from coach.loglines.reasons import SessionWhy
from coach.program.model import ScreenQuestion
from coach.session.changed import changed
from coach.session.commands import Command
from coach.session.events import Event
from coach.session.plan import PlannedExercise, Today, turns
from coach.tempo.units import to_samples


class State(StrEnum):
    """Where the session is; DIAGRAMS.md shows how they follow each other."""

    OPENING = "opening"
    CHECKING = "checking"
    """For the first "ready": do coach and person hear each other?"""
    SCREENING = "screening"
    SCREEN_CHECK = "screen_check"
    """The screen answers are read back."""
    INTRO = "intro"
    SETUP = "setup"
    WAITING = "waiting"
    """For "ready"."""
    LEAD_IN = "lead_in"
    WORKING = "working"
    STILL = "holding"
    """Somebody spoke in a set and nobody understood: the phase is finished, then the work stands still.
    The record and the screens call it "holding"."""
    SET_END = "set_end"
    ASKING = "asking"
    """Pain, effort or reps of a set, or how much it hurts after a halt."""
    CONFIRMING = "confirming"
    """A number is read back."""
    RESTING = "resting"
    HALTED = "halted"
    """Everything is silent; asked why."""
    RECOVERING = "recovering"
    """After a halt it is said what happens now; waits for "ready"."""
    PAUSED = "paused"
    DEAF = "deaf"
    """The microphone is gone."""
    MUTE = "mute"
    """The speaker is gone."""
    CLOSING = "closing"
    ENDED = "ended"


class Question(StrEnum):
    """The questions whose answer is a number or yes/no about a set."""

    REPS = "reps"
    """Were all counted reps done?"""
    MISSED = "missed"
    """How many were not?"""
    PAIN = "pain"
    EFFORT = "effort"
    HALT_PAIN = "halt_pain"


# none of these has slots: see changed.py


@dataclass(frozen=True)
class OpenSet:
    """The set that runs; its one record is written when it is closed."""

    number: int
    """The set's number within the session, from 1: its id in the record."""
    counted: int = 0
    """Reps (each side for itself), rounds or seconds that ran their whole length."""
    tension: int = 0
    """Samples of work so far, without phases called "rest"."""
    rep: int = 0
    """Rep, round or second that runs, from 1."""
    rep_until: int = 0
    """Sample at which the rep that runs ends on its last side."""
    phase: int = 0
    """Index of the phase that runs."""
    phase_began: int | None = None
    """Sample at which it began; None: none runs."""
    phase_until: int = 0
    """Sample at which it ends."""
    side: str = ""
    """Side that works now."""

    def phase_ran_out(self, at: int) -> bool:
        """Tell whether the phase that runs has come to its end at sample `at`; False where none runs."""
        return self.phase_began is not None and self.phase_began < self.phase_until <= at


@dataclass(frozen=True)
class OpenExercise:
    """How far the exercise that is being done has come today."""

    index: int = 0
    """Its place among today's exercises."""
    turn: int = 0
    """Index into its turns."""
    stretch: float = 1.0
    """How much longer than written every phase is; 1 or more."""
    cut_sets: int = 0
    """Sets that were cut short."""
    over: str | None = None
    """Why no further set of it begins; None: it goes on."""
    new_setup: bool = False
    """The level changed: the set-up is said before the next set."""


@dataclass(frozen=True)
class Given:
    """An answer that does not count yet: a number, or the band of pain that yes and no came to."""

    number: int
    """The number; of a band its highest pain."""
    low: int | None = None
    """The lowest pain of the band; None: a number was heard."""


@dataclass(frozen=True)
class OpenQuestion:
    """How far the question that is being put has come."""

    given: Given | None = None
    """The answer heard last: what is read back."""
    worst: Given | None = None
    """The highest answer heard: what counts if none is ever confirmed."""
    rung: int | None = None
    """Which question of the ladder is put; None: a number is asked for."""
    trouble: int = 0
    """How often a number was denied or not understood."""
    attempts: int = 0
    """How often it was answered."""


@dataclass(frozen=True)
class Interruption:
    """A halt, a pause or a lost device that is being lived through."""

    back: State
    """What "ready" takes up: LEAD_IN for the set that is open, SET_END for what follows one that was closed, else the
    state that was interrupted, from its beginning."""
    quiet: bool = False
    """The person halted: until they are ready, nothing but the halt's own words sounds."""
    decision: str | None = None
    """RECOVERING: which halt_ phrase says what happens now."""


@dataclass(frozen=True)
class Screening:
    """How far the questions before the start have come."""

    answers: tuple[bool, ...] = ()
    """Yes or no to each that was put."""
    denials: int = 0
    """How often their read-back was denied."""


@dataclass(frozen=True)
class OutOfOrder:
    """What of microphone, speaker and disk is out of order."""

    mic_lost: bool = False
    speaker_lost: bool = False
    unwritten: bool = False
    """The disk does not take the record; it is kept in memory."""
    unwritten_told: bool = False
    """That was said."""


@dataclass(frozen=True)
class Session:
    """The whole state of a session; `handle` returns a new one."""

    today: Today
    levels: tuple[int, ...]
    """Level index now, per exercise; falls in a session, never rises."""
    targets: tuple[int, ...]
    """Target now, per exercise; falls in a session, never rises."""
    state: State = State.OPENING
    at: int = 0
    """Sample of the last event."""
    began: int = 0
    """Sample at which the session began; less than 0 in one that is taken up."""
    prompts: int = 0
    """How often the present state's question was put without an answer."""
    screening: Screening = Screening()
    exercise: OpenExercise = OpenExercise()
    introduced: int = 0
    """How many exercises were introduced, with what is other than last time."""
    exercising: bool = False
    """Screening is over; exercises have begun."""
    open_set: OpenSet | None = None
    placed: bool = False
    """LEAD_IN: the lead-in and the work are placed."""
    still: bool = False
    """STILL: the phase is over."""
    sets_begun: int = 0
    sets_done: int = 0
    """Sets that ran to their end."""
    asks: tuple[Question, ...] = ()
    """Questions still to be put, the present one first."""
    open_question: OpenQuestion = OpenQuestion()
    asked_level: int = 0
    """Level of the set that the questions are about; easing may have lowered the level since."""
    by_ladder: bool = False
    """Numbers are not heard well: pain is placed in its band by yes and no."""
    rest_from: int = 0
    """Sample at which the last set ended: its rest runs from there, questions and halts included."""
    rest_until: int = 0
    """RESTING: sample at which the rest is over."""
    equipment: OutOfOrder = OutOfOrder()
    interruption: Interruption | None = None
    halts: int = 0
    worst_pain: int | None = None
    """Highest pain stated today; None: none was."""
    gave_way: bool = False
    """Today something felt unsteady."""
    end_why: SessionWhy | None = None
    """Why the session ends; None: it goes on."""

    @property
    def planned(self) -> PlannedExercise:
        """The exercise that is being done."""
        return self.today.exercises[self.exercise.index]

    @property
    def level(self) -> int:
        """Index of the level now."""
        return self.levels[self.exercise.index]

    @property
    def target(self) -> int:
        """Reps, rounds or seconds of the coming sets."""
        return self.targets[self.exercise.index]

    @property
    def turns(self) -> tuple[tuple[int, tuple[str, ...]], ...]:
        """The sets of this exercise: number and sides."""
        exercise = self.planned.exercise
        most = exercise.levels[self.planned.level].dose.sets  # an easier level never brings more sets than planned
        return tuple(t for t in turns(exercise, exercise.levels[self.level], self.today.side) if t[0] <= most)

    @property
    def present_turn(self) -> tuple[int, tuple[str, ...]]:
        """The present set: number and sides; of an exercise that was left with fewer sets, its last."""
        every = self.turns
        return every[min(self.exercise.turn, len(every) - 1)]

    @property
    def sides(self) -> tuple[str, ...]:
        """The sides of the present set."""
        return self.present_turn[1]

    @property
    def screen_question(self) -> ScreenQuestion:
        """The question before the start that is being put."""
        return self.today.screen[len(self.screening.answers)]

    @property
    def asked_about(self) -> Question:
        """The question that is being put."""
        return self.asks[0]

    @property
    def rung(self) -> int | None:
        """Which question of the ladder is being put; None: a number is asked for."""
        return self.open_question.rung

    @property
    def quiet(self) -> bool:
        """Whether nothing but a halt's own words may sound: from a halt until the person is ready."""
        return self.interruption is not None and self.interruption.quiet

    @property
    def pain_unmeasured(self) -> bool:
        """Whether pain was told and how much is not known yet."""
        return self.asks[:1] == (Question.HALT_PAIN,)

    @property
    def is_last_halt(self) -> bool:
        """Whether the person halted as often as the program lets them in one session."""
        return self.quiet and self.halts >= self.today.program.limits.halts

    def with_asks(self, *asks: Question) -> Session:
        """Return the session with these questions still to be put, and no answer yet to the first."""
        return changed(self, asks=asks, open_question=OpenQuestion())

    def with_back(self, back: State) -> Session:
        """Return the session with another state for "ready" to take up."""
        interruption = Interruption(back) if self.interruption is None else changed(self.interruption, back=back)
        return changed(self, interruption=interruption)

    def with_decision(self, decision: str) -> Session:
        """Return the interrupted session with what is said to happen now."""
        assert self.interruption is not None
        return changed(self, interruption=changed(self.interruption, decision=decision))

    def with_exercise_over(self, why: str) -> Session:
        """Return the session without a further set of this exercise."""
        return changed(self, exercise=changed(self.exercise, over=why))

    def with_level(self, index: int, level: int) -> Session:
        """Return the session with a lower level of one exercise."""
        assert level <= self.levels[index]
        return changed(self, levels=(*self.levels[:index], level, *self.levels[index + 1 :]))

    def with_target(self, index: int, target: int) -> Session:
        """Return the session with another target of one exercise."""
        return changed(self, targets=(*self.targets[:index], target, *self.targets[index + 1 :]))


Result = tuple[Session, tuple[Command, ...]]
"""What a row of the table, or entering a state, makes of a session: the next one, and what it asks for in order."""

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
