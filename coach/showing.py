"""Draw a snapshot of a session for the screens."""

from __future__ import annotations

from bisect import bisect_right
from dataclasses import dataclass, field

import numpy as np

from coach.ports import Block
from coach.program.model import Hold, Reps, Work
from coach.session.events import REPLIES, On
from coach.session.ideal import Rehearsal
from coach.session.lines import phase_name, work_of
from coach.session.machine import takes
from coach.session.state import Session, State
from coach.session.table import BEFORE_EXERCISES
from coach.snapshot import Snapshot
from coach.tempo.units import to_seconds
from coach.words.phrases import VoicePack
from coach.words.replies import KEYS, NUMBERS

_IN_SET = (State.LEAD_IN, State.WORKING, State.STILL)
_WITH_EXERCISE = frozenset(State) - {
    *BEFORE_EXERCISES, State.CLOSING, State.ENDED,
}  # fmt: skip

_ASKED = (
    State.CHECKING, State.SCREENING, State.SCREEN_CHECK, State.RATING, State.WAITING, State.ASKING, State.CONFIRMING,
    State.STILL,
)  # fmt: skip
"""States in which the coach waits for an answer and asks again."""

QUIETEST = -60.0
"""Level in dBFS that the level meter shows as 0."""


@dataclass(slots=True)
class Showing:
    """What a screen shows besides the session: the caption, the last word heard, the microphone's level."""

    person: str = ""
    soundings: list[tuple[int, str]] = field(default_factory=list)
    """Start sample and sentence of each thing said, oldest first."""
    word: str = ""
    ear: str = ""
    heard_at: int = -1
    mic: float = 0.0
    mic_lost: bool = False
    speaker_lost: bool = False
    no_echo: bool = False
    unwritten: bool = False
    last_said: str = ""

    def heard(self, word: str, ear: str, at: int) -> None:
        """Note the last word heard."""
        self.word, self.ear, self.heard_at = word, ear, at

    def level(self, mic: Block) -> None:
        """Note the microphone's level."""
        rms = float(np.sqrt(np.mean(np.square(mic)))) if len(mic) else 0.0
        decibels = 20 * np.log10(max(rms, 1e-9))
        self.mic = float(np.clip(1 - decibels / QUIETEST, 0.0, 1.0))

    def cut_from(self, at: int) -> None:
        """Forget the sentences from sample `at` on: they will not be said."""
        self.soundings = [said for said in self.soundings if said[0] < at]

    def caption(self, now: int) -> str:
        """Return the sentence being said at sample `now`, or the last one said."""
        begun = [said for said in self.soundings if said[0] <= now]
        if begun:
            self.last_said = max(begun)[1]
            self.soundings = [said for said in self.soundings if said[0] > now or said is max(begun)]
        return self.last_said


def draw(session: Session, pack: VoicePack, rehearsal: Rehearsal, showing: Showing, now: int) -> Snapshot:
    """Return the snapshot of `session` at sample `now`."""
    exercising = session.state in _WITH_EXERCISE
    running = session.open_set
    work = work_of(session)
    began = running.phase_began if running is not None and session.state is State.WORKING else None
    in_phase = began is not None
    length = running.phase_until - began if running and began is not None else 0
    done = min(max((now - began) / length, 0.0), 1.0) if began is not None and length else 0.0
    stands = way(work, running.phase) if running and in_phase else (0.0, 0.0)
    number, sides = session.present_turn
    side = (running.side if running and running.side else "+".join(sides)) if exercising else ""
    warnings = ("microphone_gone",) * showing.mic_lost + ("speaker_gone",) * showing.speaker_lost
    warnings += ("no_echo",) * showing.no_echo + ("record_unwritten",) * showing.unwritten
    return Snapshot(
        at=now,
        state=str(session.state),
        person=showing.person,
        title=session.today.program.title,
        said=showing.caption(now),
        exercise=session.planned.exercise.name if exercising else "",
        set=number if exercising else 0,
        sets=max(n for n, _ in session.turns) if exercising else 0,
        side=side,
        unit=work.unit,
        count=_count(session) if running and session.state in _IN_SET else 0,
        of=session.target if exercising else 0,
        phase=(phase_name(session) or pack.screens.get("phase_hold", "")) if in_phase else "",
        phase_done=done,
        phase_length=to_seconds(length),
        phase_from=stands[0],
        phase_to=stands[1],
        phase_left=to_seconds(running.phase_until - now) if running and in_phase and now < running.phase_until else 0.0,
        rest_of=to_seconds(session.rest_until - session.rest_from) if session.state is State.RESTING else 0.0,
        unanswered=session.prompts if session.state in _ASKED else 0,
        rest_left=max(0.0, to_seconds(session.rest_until - now)) if session.state is State.RESTING else None,
        may_say=_may_say(session, pack),
        heard=showing.word,
        heard_ear=showing.ear,
        heard_at=showing.heard_at,
        time_left=time_left(session, rehearsal, now),
        warnings=warnings,
        mic=showing.mic,
        keys=_keys(session, pack),
    )


def _count(session: Session) -> int:
    running = session.open_set
    if running is None:
        return 0
    return running.counted if isinstance(work_of(session), Hold) else running.rep


def way(work: Work, index: int) -> tuple[float, float]:
    """Return the weight's height, 0 low to 1 high, at the beginning and at the end of a phase.

    It falls in the slow phase (in the last, if none is slow), rises in the longest other phase and rests in the others.
    On a route it rises point by point; in a hold it stays up.
    """
    parts = work.steps
    if not isinstance(work, Reps):
        return (index / len(parts), (index + 1) / len(parts)) if parts else (1.0, 1.0)
    names = [part.name for part in parts]
    falls = names.index(work.slow) if work.slow else len(names) - 1
    others = [number for number in range(len(parts)) if number != falls]
    if index == falls or not others:
        return 1.0, 0.0
    rises = max(others, key=lambda number: parts[number].seconds)
    if index == rises:
        return 0.0, 1.0
    since_rise, since_fall = (index - rises) % len(parts), (index - falls) % len(parts)
    return (1.0, 1.0) if since_rise < since_fall else (0.0, 0.0)


def _open(session: Session) -> list[On]:
    return [on for on in On if on in REPLIES and takes(session, on)]


def _may_say(session: Session, pack: VoicePack) -> tuple[str, ...]:
    words = []
    for on in _open(session):
        if on is On.NUMBER:
            words.append(f"{pack.replies['n0'].word} - {pack.replies['n10'].word}")
        else:
            words.append(pack.replies[str(on)].word)
    return tuple(words)


def _keys(session: Session, pack: VoicePack) -> tuple[tuple[str, str], ...]:
    wanted = {str(on) for on in _open(session)}
    if str(On.NUMBER) in wanted:
        wanted |= NUMBERS
    space = pack.screens.get("key_space", " ")
    return tuple((key.replace(" ", space), pack.replies[word].word) for key, word in KEYS.items() if word in wanted)


def time_left(session: Session, rehearsal: Rehearsal, now: int) -> float:
    """Estimate the seconds to the session's end: the time a person without troubles still needs from this set on."""
    if session.state in (State.CLOSING, State.ENDED):
        return 0.0
    starts = [at for _, _, at in rehearsal.turns]
    if not session.exercising:
        return max(to_seconds(rehearsal.end - now), to_seconds(rehearsal.end - (starts[0] if starts else 0)))
    present = session.exercise.index, session.exercise.turn
    here = next((at for e, t, at in rehearsal.turns if (e, t) == present), rehearsal.end)
    after = bisect_right(starts, here)
    following = starts[after] if after < len(starts) else rehearsal.end
    if session.state in (State.SET_END, State.ASKING, State.CONFIRMING, State.RESTING):
        ahead = max(0, session.rest_until - now)
        return to_seconds(rehearsal.end - following + min(ahead, following - here))
    planned = max(1, session.target)
    done = min(1.0, _count(session) / planned)
    return to_seconds(round(rehearsal.end - here - done * (following - here)))
