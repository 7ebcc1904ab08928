"""Decide what was replied, from what the ears noticed and which replies are open.

Rules, in this order:

1. A halt word of any ear is understood at once, always, whether it is open or not.
2. An open reply is understood at once if its ear is trusted alone, or if a second ear noticed the same word
   at the same time. An ear that is not trusted alone can otherwise only halt.
3. Speech that brought no understood reply, a closed reply included, is unclear: once an utterance, a grace after
   its end, or after `LONGEST` if it does not end. A voice shorter than `SHORTEST` is ignored.
4. Nothing else happens: silence, noise and unclear speech never become a reply.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace

from coach.ports import Hearing
from coach.tempo.units import to_samples

GRACE = to_samples(0.65)
"""Samples after the end of an utterance in which an ear may still bring its word: of 300 words on real voices 95 %
were known within 566 ms."""
SHORTEST = to_samples(0.2)
"""Samples of voice below which nobody is asked to repeat: a cough, a grunt."""
LONGEST = to_samples(4.0)
"""Samples of voice without a reply after which it is unclear even if it goes on."""
TOGETHER = to_samples(0.5)
"""Samples by which two ears may differ about when one word was said."""
MOST_KEPT = 8
"""Words of one utterance that are remembered."""
TRUSTED = frozenset({"taught", "keys"})
"""Ears whose word needs no second ear."""

KEYS: Mapping[str, str] = {
    " ": "stop", "r": "ready", "y": "yes", "n": "no", "p": "pause", "s": "slower", "e": "easier", "a": "again",
    "l": "left", "w": "why", "d": "enough", "f": "finish", "h": "pain", "t": "tired", "u": "unsteady", "b": "break",
    "0": "n0", "1": "n1", "2": "n2", "3": "n3", "4": "n4", "5": "n5", "6": "n6", "7": "n7", "8": "n8", "9": "n9",
    "x": "n10",
}  # fmt: skip
"""Key to reply id. The largest key halts; Enter does nothing, so that a leftover one starts nothing."""


@dataclass(frozen=True, slots=True)
class Understood:
    """The person replied."""

    reply: str
    """Kind of reply: a reply id, or "number" for n0 to n10."""
    number: int | None
    """The number, 0-10, if it is one."""
    ear: str
    """The ear that settled it."""
    at: int
    """Sample at which it was settled."""
    hearings: tuple[Hearing, ...]
    """What it rests on, oldest first."""


@dataclass(frozen=True, slots=True)
class Unclear:
    """Somebody spoke, and no reply was understood."""

    at: int
    """Sample at which that was settled."""
    hearings: tuple[Hearing, ...] = ()
    """Words that were noticed in it (closed, or of one ear alone)."""


Outcome = Understood | Unclear


@dataclass(frozen=True, slots=True)
class Listening:
    """What must be remembered between two stretches of sound."""

    halts: frozenset[str]
    """Reply ids that halt."""
    open: frozenset[str] = frozenset()
    """Reply ids that may be answered now."""
    began: int | None = None
    """Sample at which the utterance that is not settled yet began."""
    voicing: bool = False
    """True while the voice sounds."""
    due: int | None = None
    """Sample at which the utterance becomes unclear unless a reply comes first."""
    settled: int = -1
    """Sample up to which everything that began is settled, by a reply or as unclear."""
    kept: tuple[Hearing, ...] = ()
    """Words of the utterance that were not understood."""
    last: Hearing | None = None
    """The word understood last, so that a second ear does not repeat it."""


def open_for(state: Listening, words: Iterable[str]) -> Listening:
    """Return `state` with exactly `words` open; what is being said now stays remembered."""
    return replace(state, open=frozenset(words))


def listen(state: Listening, hearings: Iterable[Hearing], now: int) -> tuple[Listening, tuple[Outcome, ...]]:
    """Take what was noticed up to sample `now`, oldest first; return the new state and what it comes to."""
    outcomes: list[Outcome] = []
    for hearing in hearings:
        if hearing.kind == "word":
            state, outcome = _word(state, hearing)
            if outcome is not None:
                outcomes.append(outcome)
        elif hearing.kind == "voice_began":
            state = _voice_began(state, hearing)
        else:
            state = _voice_ended(state, hearing)
    state, late = _unclear(state, now)
    return state, (*outcomes, *late)


def _word(state: Listening, hearing: Hearing) -> tuple[Listening, Outcome | None]:
    if state.last is not None and _same(state.last, hearing) and hearing.ear != state.last.ear:
        return state, None
    basis = _basis(state, hearing)
    if hearing.word in state.halts or (hearing.word in state.open and basis):
        reply, number = _kind(hearing.word)
        found = Understood(reply, number, hearing.ear, hearing.at, basis or (hearing,))
        settled = max(state.settled, hearing.at)
        return replace(state, began=None, due=None, settled=settled, kept=(), last=hearing), found
    if state.began is None:
        if state.voicing or hearing.began <= state.settled:  # part of an utterance that is settled
            return state, None
        state = replace(state, began=hearing.began, due=hearing.at + GRACE)
    return replace(state, kept=(*state.kept, hearing)[-MOST_KEPT:]), None


def _basis(state: Listening, hearing: Hearing) -> tuple[Hearing, ...]:
    """Return the hearings that are enough for a reply that is not a halt, or nothing."""
    others = tuple(other for other in state.kept if other.ear != hearing.ear and _same(other, hearing))
    return (*others, hearing) if others or hearing.ear in TRUSTED else ()


def _same(one: Hearing, other: Hearing) -> bool:
    apart = max(one.began, other.began) - min(one.ended, other.ended)
    return one.word == other.word and apart <= TOGETHER


def _voice_began(state: Listening, hearing: Hearing) -> Listening:
    if hearing.began <= state.settled:
        return replace(state, voicing=True)
    began = hearing.began if state.began is None else state.began  # after a short pause the utterance goes on
    return replace(state, voicing=True, began=began, due=began + LONGEST)


def _voice_ended(state: Listening, hearing: Hearing) -> Listening:
    if state.began is None:
        return replace(state, voicing=False)
    if hearing.ended - state.began < SHORTEST and not state.kept:
        return replace(state, voicing=False, began=None, due=None)
    return replace(state, voicing=False, due=hearing.ended + GRACE)


def _unclear(state: Listening, now: int) -> tuple[Listening, tuple[Outcome, ...]]:
    if state.due is None or now < state.due:
        return state, ()
    return replace(state, began=None, due=None, settled=max(state.settled, now), kept=()), (Unclear(now, state.kept),)


def _kind(word: str) -> tuple[str, int | None]:
    if word[:1] == "n" and word[1:].isdigit():
        return "number", int(word[1:])
    return word, None
