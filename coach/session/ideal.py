"""Rehearse a session with a person who answers at once and well: how long it takes, what is said when."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

from coach.session.agenda import Sounding
from coach.session.commands import Record
from coach.session.events import Event, On
from coach.session.plan import Today
from coach.session.soundless import SoundlessRun, made_up_length
from coach.session.state import Question, State
from coach.tempo.units import to_samples
from coach.words.phrases import Phrase

ANSWER_AFTER = 1.0
"""Seconds from the end of a question to the understood answer: people begin within 0.2 s (Stivers 2009), a word takes
0.5 s, recognizing it 0.3 s."""

POSITION_AFTER = 6.0
"""Seconds to get into position: a guess, used only for this estimate."""


@dataclass(frozen=True, slots=True)
class Rehearsal:
    """A session laid out in full."""

    soundings: tuple[Sounding, ...]
    """Every sound, in order of time."""
    records: tuple[Record, ...]
    turns: tuple[tuple[int, int, int], ...]
    """For each turn: exercise index, turn index, and the sample at which WAITING began."""
    states: tuple[tuple[int, State], ...]
    """Sample and state, at each change."""
    end: int
    """Samples from start to end."""


def rehearse(today: Today, length: Callable[[Phrase], int] = made_up_length) -> Rehearsal:
    """Run the session of `today` with a person who is always ready, has no pain and never halts."""
    run = SoundlessRun(today, length)
    turns: dict[tuple[int, int], int] = {}
    states: list[tuple[int, State]] = []
    for _ in range(100_000):
        session = run.session
        if not states or states[-1][1] is not session.state:
            states.append((run.now, session.state))
        if session.state is State.WAITING:
            turns.setdefault((session.exercise.index, session.exercise.turn), run.now)
        if run.over:
            break
        run.step()
        due = run.agenda.next_at()
        reply = _reply(run)
        if reply is not None:
            wait = POSITION_AFTER if run.session.state is State.WAITING else ANSWER_AFTER
            moment = run.now + to_samples(wait)
            if due is None or moment <= due or run.session.state is not State.RESTING:
                run.now = moment
                on, number = reply
                run.give(Event(on, run.now, number=number, ear="ideal"))
    return Rehearsal(
        tuple(sorted(run.soundings, key=lambda sounding: sounding.at)),
        tuple(run.records),
        tuple((exercise, turn, at) for (exercise, turn), at in turns.items()),
        tuple(states),
        run.now,
    )


def _reply(run: SoundlessRun) -> tuple[On, int] | None:
    """Return the ideal answer to what has just been asked; None while the coach talks or nothing is asked."""
    session = run.session
    if run.agenda.talking:
        return None
    match session.state:
        case State.SCREENING:
            return (On.NO if session.screen_question.answer else On.YES), 0
        case State.SCREEN_CHECK:
            return On.YES, 0
        case State.RATING:
            return On.NUMBER, 5
        case State.CHECKING | State.WAITING:
            return On.READY, 0
        case State.ASKING:
            if session.asked_about is Question.REPS:
                return On.YES, 0
            if session.rung is not None:
                return On.NO, 0
            return On.NUMBER, 0 if session.asked_about is Question.PAIN else 5
        case State.CONFIRMING if session.asked_about is Question.PAIN:
            return On.YES, 0
        case _:
            return None
