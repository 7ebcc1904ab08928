"""Lay a set out in time: at which sample each cue starts and each moment is marked."""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum
from math import ceil

from coach.program.model import Guide, Hold, Phase, Point, Reps, Route, Work
from coach.tempo.units import to_samples


class Sound(StrEnum):
    """What kind of sound a cue is."""

    SPEECH = "speech"
    TICK = "tick"
    FALL = "fall"
    """A tone that falls over the whole of the slow phase."""


class At(StrEnum):
    """A moment of a set that the session is told about."""

    GO = "go"
    """The lead-in ends, the work begins."""
    REP = "rep"
    """A rep (or round) begins."""
    PHASE = "phase"
    """A phase (or point) begins."""
    REP_DONE = "rep_done"
    """A rep (or round) is complete."""
    SECOND = "second"
    """A second of a hold has passed."""
    DONE = "done"
    """The whole layout is complete."""


@dataclass(frozen=True, slots=True)
class Mark:
    """A moment that becomes an event when the device reaches it."""

    at: int
    """Sample."""
    kind: At
    rep: int = 0
    """Number of its rep, round or second, from 1."""
    phase: int = 0
    """Index of its phase or point, from 0."""
    side: str = ""
    """"left", "right" or empty."""
    until: int = 0
    """Phase: sample at which it ends. Rep: sample at which it ends on its last side."""


@dataclass(frozen=True, slots=True)
class Cue:
    """A sound that starts at an exact sample."""

    at: int
    """Sample of its audible onset."""
    sound: Sound
    key: str = ""
    """Speech: the phrase key of what is said (see `layout` of the session)."""
    values: tuple[tuple[str, str | int], ...] = ()
    """Speech: the values of the phrase."""
    length: int = 0
    """Falling tone: its length in samples. Speech: the most samples it may take; 0: no limit."""


@dataclass(frozen=True, slots=True)
class Layout:
    """A stretch of work, laid out."""

    cues: tuple[Cue, ...]
    marks: tuple[Mark, ...]
    end: int
    """Sample at which the stretch ends."""


NAMES_SAID_FOR = 3
"""Reps in which every phase is named; later only the slow phase is, because constant speech tires the listener."""

SHORTEST_NAMED = 0.6
"""Seconds below which a phase is not named: a word needs that long to be understood."""

HOLD_NEWS_EVERY = 10
"""Seconds between two announcements of the time in a hold."""


def lay_out(
    work: Work,
    *,
    start: int,
    first: int,
    last: int,
    sides: tuple[str, ...] = ("",),
    from_side: int = 0,
    stretch: float = 1.0,
    opening: tuple[str, tuple[tuple[str, str | int], ...]] | None = None,
) -> Layout:
    """Lay out reps, rounds or seconds `first` to `last` (from 1, both included), beginning at sample `start`.

    With two `sides`, each rep is done on both in turn; the first rep begins on the side of index `from_side`. `stretch`
    (1.0 or more) makes every phase longer; a hold is not stretched and has no sides. `opening` (key, values) is said
    instead of the first number. Raises ValueError if `stretch` is below 1.0.
    """
    if stretch < 1.0:
        raise ValueError("a phase is never shorter than written")
    if isinstance(work, Hold):
        return _hold(start, first, last)
    parts = work.steps
    lengths = [to_samples(step.seconds * stretch) for step in parts]
    cues: list[Cue] = []
    marks: list[Mark] = []
    at = start
    for number in range(first, last + 1):
        for turn, side in enumerate(sides):
            if number == first and turn < from_side:
                continue
            rep_until = at + sum(lengths) * (len(sides) - turn)
            marks.append(Mark(at, At.REP, number, 0, side, rep_until))
            for index, (step, length) in enumerate(zip(parts, lengths, strict=True)):
                marks.append(Mark(at, At.PHASE, number, index, side, at + length))
                if index == 0:
                    key, values = _number(work, number, turn, side, step.name)
                    if opening is not None and at == start:
                        key, values = opening
                    cues.append(Cue(at, Sound.SPEECH, key, values, length))
                else:
                    cues += _step(work, step.name, number - first, at, length)
                cues += _seconds(work, step, at, length, stretch)
                at += length
            marks.append(Mark(at, At.REP_DONE, number, len(parts) - 1, side))
    marks.append(Mark(at, At.DONE, last, 0, sides[-1]))
    return Layout(tuple(cues), tuple(marks), at)


def _number(work: Work, number: int, turn: int, side: str, name: str) -> tuple[str, tuple[tuple[str, str | int], ...]]:
    if isinstance(work, Route):
        return "round", (("n", number), ("name", name))
    if turn:
        return f"side_{side}", ()
    return "count", (("n", number),)


def _step(work: Work, name: str, since: int, at: int, length: int) -> list[Cue]:
    """Name a phase or point at its beginning, or mark it by a tick if it is not named (any more)."""
    slow = isinstance(work, Reps) and name == work.slow
    named = isinstance(work, Route) or slow or since < NAMES_SAID_FOR
    if not named or length < to_samples(SHORTEST_NAMED):
        return [Cue(at, Sound.TICK)]
    return [Cue(at, Sound.SPEECH, "phase", (("name", name),), length)]


def _seconds(work: Work, step: Phase | Point, at: int, length: int, stretch: float) -> list[Cue]:
    """Mark the seconds of a phase that has a tempo by ticks; guide the slow phase by a tone, by counting or neither."""
    guide = work.guide if isinstance(work, Reps) and step.name == work.slow else None
    if guide is Guide.QUIET or (isinstance(step, Phase) and step.own_pace):
        return []
    cues = [Cue(at, Sound.FALL, length=length)] if guide in (Guide.TONE, Guide.BOTH) else []
    for second in range(1, ceil(step.seconds)):
        moment = at + to_samples(second * stretch)  # stretched too: a longer phase keeps its number of seconds
        left = min(to_samples(stretch), at + length - moment)
        if guide in (Guide.COUNT, Guide.BOTH):
            cues.append(Cue(moment, Sound.SPEECH, "second", (("n", second + 1),), left))
        else:
            cues.append(Cue(moment, Sound.TICK))
    return cues


def _hold(start: int, first: int, last: int) -> Layout:
    """Lay out seconds `first` to `last` of a hold: a tick each second, and the time at intervals and near the end."""
    cues: list[Cue] = []
    marks: list[Mark] = [Mark(start, At.PHASE, first, 0, "", start + to_samples(last - first + 1))]
    for second in range(first, last + 1):
        ended = start + to_samples(second - first + 1)
        marks.append(Mark(ended, At.SECOND, second))
        left = last - second
        if left == 5 and second > first:
            cues.append(Cue(ended, Sound.SPEECH, "hold_left", (("n", left),)))
        elif second % HOLD_NEWS_EVERY == 0 and left > 5:
            cues.append(Cue(ended, Sound.SPEECH, "hold_passed", (("n", second),)))
        elif left:
            cues.append(Cue(ended, Sound.TICK))
    end = start + to_samples(last - first + 1)
    marks.append(Mark(end, At.DONE, last))
    return Layout(tuple(cues), tuple(marks), end)
