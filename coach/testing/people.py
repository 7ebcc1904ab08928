"""Random people: they answer or not, fittingly or not, and now and then say anything at any moment."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from random import Random

from coach.session.events import REPLIES, On, RoomFacts
from coach.session.soundless import SoundlessRun
from coach.session.state import Question, State
from coach.tempo.units import to_samples

Reply = tuple[On, int]

DEVICES = (On.MIC_LOST, On.MIC_BACK, On.SPEAKER_LOST, On.SPEAKER_BACK)

DISK = (On.UNWRITTEN, On.WRITTEN)

ANYTHING = (*(on for on in sorted(REPLIES) if on is not On.FINISH), On.SPOKE, On.SPOKE, *DEVICES, *DISK)
"""Events that may happen at any moment. Finishing and quitting are rarer, as they would cut most sessions short."""

FITTING: Mapping[State, tuple[On, ...]] = {
    State.CHECKING: (On.READY,) * 8 + (On.WHY, On.AGAIN),
    State.WAITING: (On.READY,) * 12 + (On.EASIER, On.SLOWER, On.LEFT, On.WHY, On.AGAIN, On.NO, On.PAUSE),
    State.STILL: (On.READY, On.READY, On.ENOUGH, On.STOP),
    State.HALTED: (On.BREAK, On.NO, On.PAIN, On.TIRED, On.UNSTEADY, On.READY),
    State.RECOVERING: (On.READY,),
    State.PAUSED: (On.READY,),
    State.DEAF: (On.MIC_BACK,) * 4 + (On.SPEAKER_LOST, On.SPEAKER_BACK),
    State.MUTE: (On.SPEAKER_BACK,) * 4 + (On.MIC_LOST, On.MIC_BACK),
    State.CONFIRMING: (On.YES,) * 8 + (On.NO, On.NUMBER),
    State.SCREEN_CHECK: (On.YES,) * 8 + (On.NO,),
    State.RATING: (On.NUMBER,) * 4 + (On.NO,),
}
"""Fitting answers in each state in which a session waits."""

PAINS = (0,) * 8 + (1,) * 6 + (2,) * 6 + (3,) * 3 + (4, 5, 6, 8)
"""Numbers that may be said; most are small."""


@dataclass(slots=True)
class RandomPerson:
    """A person in a session."""

    chance: Random
    odd: float
    """Probability that a random event happens between two events, 0-1."""
    silent: float
    """Probability that a question is left unanswered each time it could be answered, 0-1."""

    @classmethod
    def any(cls, chance: Random) -> RandomPerson:
        """Return a random person: calm or lively, attentive or not."""
        return cls(chance, chance.choice((0.0, 0.0, 0.003, 0.01, 0.03, 0.2)), chance.choice((0.0, 0.0, 0.1, 0.4, 1.0)))

    def move(self, run: SoundlessRun) -> None:
        """Cause the next event in `run`: something odd, an answer, or what is due."""
        if self.odd and self.chance.random() < self.odd:
            self._wait(run)
            run.say(*self.anything())
            return
        reply = None if run.agenda.talking else self.answer(run)
        if reply is None or self.chance.random() < self.silent or not run.say(*reply):
            run.step()

    def _wait(self, run: SoundlessRun) -> None:
        """Let some of the time to the next event pass."""
        due = run.agenda.next_at()
        if due is not None:
            run.now = self.chance.randint(run.now, max(run.now, min(due, run.now + to_samples(30.0))))

    def anything(self) -> Reply:
        """Return any event that may happen."""
        if self.chance.random() < 0.02:
            return self.chance.choice((On.QUIT, On.FINISH)), 0
        return self.chance.choice(ANYTHING), self.number()

    def number(self) -> int:
        """Return a number of 0-10."""
        return self.chance.choice(PAINS)

    def answer(self, run: SoundlessRun) -> Reply | None:
        """Return a fitting answer; None if the session does not wait for a person."""
        session = run.session
        if session.state is State.SCREENING:
            unusual = self.chance.random() < 0.05
            return (On.YES if session.screen_question.answer is unusual else On.NO), 0
        if session.state is State.ASKING:
            if session.asked_about is Question.REPS:
                return self.chance.choice((On.YES, On.YES, On.YES, On.NO)), 0
            if session.rung is not None and self.chance.random() < 0.9:
                return self.chance.choice((On.YES, On.NO, On.NO, On.NO)), 0
            return On.NUMBER, self.number()
        fitting = FITTING.get(session.state)
        return (self.chance.choice(fitting), self.number()) if fitting else None


def any_room(chance: Random) -> RoomFacts | None:
    """Return a random measurement of a room: none, or quiet or loud, with its speaker on or off."""
    floor, voices = chance.choice((None, -60.0, -40.0)), chance.choice((0.0, 0.0, 0.9))
    facts = RoomFacts(-30.0, floor, chance.choice((None, -62.0)), chance.choice((None, True, False)), voices)
    return chance.choice((None, facts))


def live(run: SoundlessRun, person: RandomPerson, *, moves: int = 20_000) -> None:
    """Let `person` go through the whole session; quit it if it is not over after a number of moves."""
    run.room = any_room(person.chance)
    for _ in range(moves):
        if run.over:
            return
        person.move(run)
    run.say(On.QUIT)
