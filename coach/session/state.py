"""What a session knows at any moment, in one frozen value."""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum
from typing import Literal

from coach.loglines.reasons import SessionWhy
from coach.session.changed import changed
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


class Then(StrEnum):
    """What "ready" leads to after a halt or a pause."""

    SET = "set"
    """The open set goes on with a lead-in."""
    REST = "rest"
    """The set is closed: its questions, then the rest."""
    BACK = "back"
    """The state that was interrupted, from its beginning."""


@dataclass(frozen=True)  # no slots: see changed.py
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
    phase_began: int = -1
    """Sample at which it began; -1: none runs."""
    phase_until: int = 0
    """Sample at which it ends."""
    side: str = ""
    """Side that works now."""


@dataclass(frozen=True)  # no slots: see changed.py
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
    exercise_index: int = 0
    introduced: int = 0
    """How many exercises were introduced, with what is other than last time."""
    exercising: bool = False
    """Screening is over; exercises have begun."""
    turn: int = 0
    """Index into the turns of the exercise."""
    stretch: float = 1.0
    """How much longer than written every phase is; 1 or more."""
    open_set: OpenSet | None = None
    sets_begun: int = 0
    sets_done: int = 0
    """Sets that ran to their end."""
    cut_sets: int = 0
    """Sets of this exercise that were cut short."""
    exercise_over: str = ""
    """Why no further set of this exercise begins; empty while it goes on."""
    new_setup: bool = False
    """The level changed: the set-up is said before the next set."""
    prompts: int = 0
    """How often the present question was put without an answer."""
    placed: bool = False
    """LEAD_IN: the lead-in and the work are placed."""
    still: bool = False
    """STILL: the phase is over."""
    screen_index: int = 0
    screen_answers: tuple[bool, ...] = ()
    asks: tuple[Question, ...] = ()
    """Questions still to be put, the present one first."""
    number: int = -1
    """CONFIRMING: the number heard last."""
    worst: int = -1
    """The highest number heard for the present question: what counts if it is never confirmed."""
    low: int = -1
    """CONFIRMING: the lowest pain of the band that yes and no came to, `number` the highest; -1: a number was heard."""
    worst_low: int = -1
    """The same for `worst`."""
    by_ladder: bool = False
    """Numbers are not heard well: pain is placed in its band by yes and no."""
    rung: int = -1
    """ASKING: which question of the ladder is put; -1: a number is asked for."""
    trouble: int = 0
    """How often a number for the present question was denied or not understood."""
    attempts: int = 0
    """How often the present question was answered; SCREEN_CHECK: how often the answers were denied."""
    asked_level: int = 0
    """Level of the set that the questions are about; easing may have lowered the level since."""
    rest_from: int = 0
    """Sample at which the last set ended: its rest runs from there, questions and halts included."""
    rest_until: int = 0
    """RESTING: sample at which the rest is over."""
    mic_lost: bool = False
    speaker_lost: bool = False
    unwritten: bool = False
    """The disk does not take the record; it is kept in memory."""
    unwritten_told: bool = False
    """That was said."""
    quiet: bool = False
    """From a halt until the person is ready: nothing but the halt's own words sounds."""
    halts: int = 0
    then: Then = Then.BACK
    """RECOVERING, PAUSED: where "ready" leads."""
    back: State = State.INTRO
    """The state to take up again."""
    decision: str = ""
    """RECOVERING: which halt_ phrase says what happens now."""
    end_why: SessionWhy | Literal[""] = ""
    """CLOSING: why the session ends."""
    worst_pain: int = -1
    """Highest pain stated today; -1: none stated."""
    gave_way: bool = False
    """Today something felt unsteady."""

    @property
    def planned(self) -> PlannedExercise:
        """The exercise that is being done."""
        return self.today.exercises[self.exercise_index]

    @property
    def level(self) -> int:
        """Index of the level now."""
        return self.levels[self.exercise_index]

    @property
    def target(self) -> int:
        """Reps, rounds or seconds of the coming sets."""
        return self.targets[self.exercise_index]

    @property
    def turns(self) -> tuple[tuple[int, tuple[str, ...]], ...]:
        """The sets of this exercise: number and sides."""
        exercise = self.planned.exercise
        most = exercise.levels[self.planned.level].dose.sets  # an easier level never brings more sets than planned
        return tuple(t for t in turns(exercise, exercise.levels[self.level], self.today.side) if t[0] <= most)

    @property
    def sides(self) -> tuple[str, ...]:
        """The sides of the present set."""
        return self.turns[min(self.turn, len(self.turns) - 1)][1]

    @property
    def asked_about(self) -> Question:
        """The question that is being put."""
        return self.asks[0]

    def with_asks(self, *asks: Question) -> Session:
        """Return the session with these questions still to be put, and no answer yet to the first."""
        session = changed(self, asks=asks, attempts=0, trouble=0, rung=-1)
        return changed(session, number=-1, low=-1, worst=-1, worst_low=-1)

    def with_level(self, index: int, level: int) -> Session:
        """Return the session with a lower level of one exercise."""
        assert level <= self.levels[index]
        return changed(self, levels=(*self.levels[:index], level, *self.levels[index + 1 :]))

    def with_target(self, index: int, target: int) -> Session:
        """Return the session with another target of one exercise."""
        return changed(self, targets=(*self.targets[:index], target, *self.targets[index + 1 :]))


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
        exercise_index=before.exercise_index,
        introduced=before.exercise_index,
        turn=before.turn,
        stretch=before.stretch,
        cut_sets=before.cut_sets,
        exercise_over=before.over,
        asked_level=before.levels[before.exercise_index],
        halts=before.halts,
    )
