"""Decide what was replied, from what the ears noticed and which replies are open.

Rules, in this order:

1. A halt word of any ear is understood at once, always, whether it is open or not. A word that began before a halt
   was known changes nothing after it.
2. A key is understood at once, if its reply is open.
3. Two ears that name different words for the same sound disagree: that is unclear, whichever is trusted. If the second
   comes when the first is acted on, it is unclear then: work that was about to begin is taken back. If it comes when
   the first has come to nothing, it comes to nothing too.
4. An open reply is understood at once if its ear is trusted alone, or if a second ear noticed the same word
   at the same time. An ear that is not trusted alone can otherwise only halt.
5. Speech that brought no understood reply, a closed reply included, is unclear: once an utterance, a grace after
   its end, or after `LONGEST_VOICE` if it does not end. A voice shorter than `SHORTEST_VOICE` is ignored. While
   somebody works, a voice that goes on is unclear each `GOES_ON` anew, whatever was settled before: it may hide a halt.
6. Nothing else happens: silence, noise and unclear speech never become a reply.

Every word of every ear comes out in one outcome, for the record (of an utterance the last MOST_KEPT).
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace
from typing import Literal

from coach.ports import Hearing
from coach.program.model import SCALE
from coach.tempo.units import to_samples

GRACE = to_samples(0.65)
"""Samples after the end of an utterance in which an ear may still bring its word: of 300 words on real voices 95 %
were known within 566 ms."""
SHORTEST_VOICE = to_samples(0.16)
"""Samples of voice below which nobody is asked to repeat: a cough, a grunt. Of 600 words of three speakers in household
noise and 600 beside a talker, of which in noise little is noticed, 598 and 596 came to be unclear without any ear for
words, with 0.2 s 593 and 593; household noise alone, 12.3 minutes of it, never did with either."""
LONGEST_VOICE = to_samples(4.0)
"""Samples of voice without a reply after which it is unclear even if it goes on."""
GOES_ON = to_samples(1.3)
"""Samples of voice, while somebody works, that are unclear without waiting for its end: longer than any reply."""
TOGETHER = to_samples(0.5)
"""Samples by which two ears may differ about when one word was said."""
MOST_KEPT = 8
"""Words of one utterance that are remembered."""
TRUSTED = frozenset({"taught", "keys", "page"})
"""Ears whose word needs no second ear."""

KEYS: Mapping[str, str] = {
    " ": "stop", "r": "ready", "y": "yes", "n": "no", "p": "pause", "s": "slower", "e": "easier", "a": "again",
    "l": "left", "w": "why", "d": "enough", "f": "finish", "h": "pain", "t": "tired", "u": "unsteady", "b": "break",
    "0": "n0", "1": "n1", "2": "n2", "3": "n3", "4": "n4", "5": "n5", "6": "n6", "7": "n7", "8": "n8", "9": "n9",
    "x": "n10",
}  # fmt: skip
"""Key to reply id. The largest key halts; Enter does nothing, so that a leftover one starts nothing."""


NUMBERS = frozenset(f"n{number}" for number in SCALE)
"""Reply ids of the numbers that can be answered."""

PRESSED = frozenset({"keys", "page"})
"""The ears of what is pressed: they cannot be mistaken about it, and no other ear speaks against them."""

ReplyDecision = Literal["halted", "understood", "agreed", "disagreed", "unclear", "late"]
"""How the ears came to an outcome. "understood": a trusted ear alone; "agreed": two ears; "late": it tells of a sound
that was settled before."""


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
    """What was noticed of the utterance, oldest first; the last settled it."""
    decision: ReplyDecision = "understood"


@dataclass(frozen=True, slots=True)
class Unclear:
    """Somebody spoke, and no reply was understood."""

    at: int
    """Sample at which that was settled."""
    hearings: tuple[Hearing, ...] = ()
    """Words that were noticed in it (closed, of one ear alone, or of ears that disagree)."""
    decision: ReplyDecision = "unclear"


@dataclass(frozen=True, slots=True)
class Noted:
    """A word for the record alone: the sound that it tells of is settled."""

    at: int
    hearings: tuple[Hearing, ...]
    decision: ReplyDecision
    """"agreed": a second ear named the word that is acted on; else "late"."""


Outcome = Understood | Unclear | Noted


@dataclass(frozen=True, slots=True)
class Listening:
    """What must be remembered between two stretches of sound."""

    halts: frozenset[str]
    """Reply ids that halt."""
    open: frozenset[str] = frozenset()
    """Reply ids that may be answered now."""
    working: bool = False
    """True while somebody is in a set."""
    began: int | None = None
    """Sample at which the utterance that is not settled yet began."""
    voicing: bool = False
    """True while the voice sounds."""
    goes_on: int | None = None
    """Sample since which a voice goes on in a set behind a reply, or from before the set; None: it does not."""
    due: int | None = None
    """Sample at which the utterance becomes unclear unless a reply comes first."""
    settled: int = -1
    """Sample up to which everything that began is settled, by a reply or as unclear."""
    kept: tuple[Hearing, ...] = ()
    """Words of the utterance that were not understood."""
    lost: tuple[Hearing, ...] = ()
    """Words that came to nothing, the last MOST_KEPT: another word for their sound is no reply when it comes later."""
    last: Hearing | None = None
    """The word understood last, so that a second ear does not repeat it, and may speak against it."""
    disputed: int = -1
    """Sample up to which ears disagreed or a halt counts: what began before it is no reply any more, but by key."""


def open_for(state: Listening, words: Iterable[str], *, working: bool = False) -> Listening:
    """Return `state` with exactly `words` open, in a set or not; what is being said now stays remembered."""
    state = replace(state, open=frozenset(words), working=working)
    if not working and state.began is not None and state.began == state.settled:  # that it goes on held the set
        return replace(state, began=None, due=None)
    return state


def listen(state: Listening, hearings: Iterable[Hearing], now: int) -> tuple[Listening, tuple[Outcome, ...]]:
    """Take what was noticed up to sample `now`, oldest first; return the new state and what it comes to."""
    outcomes: list[Outcome] = []
    known = tuple(hearings)
    for number, hearing in enumerate(known):
        if hearing.kind == "word":
            state, outcome = _word(state, hearing, known[number + 1 :])
            if outcome is not None:
                outcomes.append(outcome)
        elif hearing.kind == "voice_began":
            state = _voice_began(state, hearing)
        elif not (state.working and _goes_over(hearing, known[number + 1 :])):
            state = _voice_ended(state, hearing)
    state, late = _unclear(_going_on(state, now), now)
    return state, (*outcomes, *late)


def _word(state: Listening, hearing: Hearing, next_known: tuple[Hearing, ...]) -> tuple[Listening, Outcome | None]:
    """Take one word; `next_known` are those that were known in the same stretch of sound."""
    last, halts, key = state.last, hearing.word in state.halts, hearing.ear in PRESSED
    late = Noted(hearing.at, (hearing,), "late")
    same_moment = last is not None and _one_sound(last, hearing)
    if last is not None and same_moment and last.word == hearing.word:
        return state, Noted(hearing.at, (hearing,), "agreed")
    if halts or (key and hearing.word in state.open):
        return _understood(state, hearing, "halted" if halts else "understood")
    if hearing.began <= state.disputed and not key:
        return _without(state, (hearing,)), late
    others = [*state.kept, *next_known]
    if last is not None and same_moment and last.word not in state.halts:
        others.append(last)
    if not key and _spoken_against(hearing, others):
        return _disagreed(state, hearing)
    if not key and _spoken_against(hearing, state.lost):
        return _without(state, (hearing,)), late
    agreed = any(_one_sound(other, hearing) and other.word == hearing.word for other in state.kept)
    if hearing.word in state.open and (agreed or hearing.ear in TRUSTED):
        return _understood(state, hearing, "agreed" if agreed else "understood")
    if state.began is None:
        if state.voicing or hearing.began <= state.settled:
            return _without(state, (hearing,)), late
        state = replace(state, began=hearing.began, due=hearing.at + GRACE)
    return replace(state, kept=(*state.kept, hearing)[-MOST_KEPT:]), None


def _spoken_against(hearing: Hearing, others: Iterable[Hearing]) -> bool:
    """Tell whether one of `others` is another word that another ear, no key, made of the same sound."""
    return any(
        other.word != hearing.word and other.ear not in PRESSED and _one_sound(other, hearing) for other in others
    )


def _without(state: Listening, words: tuple[Hearing, ...]) -> Listening:
    """Return `state` once `words` have come to nothing, or to another word."""
    return replace(state, lost=(*state.lost, *words)[-MOST_KEPT:])


def _understood(state: Listening, hearing: Hearing, decision: ReplyDecision) -> tuple[Listening, Outcome]:
    reply, number = _kind(hearing.word)
    found = Understood(reply, number, hearing.ear, hearing.at, (*state.kept, hearing), decision)
    if hearing.word in state.halts:
        state = replace(state, disputed=max(state.disputed, hearing.at))
    settled, state = max(state.settled, hearing.at), _without(state, state.kept)
    state = replace(state, goes_on=None, began=None, due=None, settled=settled, kept=(), last=hearing)
    return state, found


def _disagreed(state: Listening, hearing: Hearing) -> tuple[Listening, Outcome]:
    settled, disputed = max(state.settled, hearing.at), max(state.disputed, hearing.ended + TOGETHER)
    unclear = Unclear(hearing.at, (*state.kept, hearing), "disagreed")
    state = _without(state, unclear.hearings)
    return replace(state, began=None, due=None, settled=settled, disputed=disputed, kept=(), last=None), unclear


def _one_sound(one: Hearing, other: Hearing) -> bool:
    """Tell whether words of two ears tell of the same moment. One ear does not speak against itself."""
    if {one.kind, other.kind} != {"word"} or one.ear == other.ear:
        return False
    return max(one.began, other.began) - min(one.ended, other.ended) <= TOGETHER


def _voice_began(state: Listening, hearing: Hearing) -> Listening:
    if hearing.began <= state.settled:
        return replace(state, voicing=True)
    began = hearing.began if state.began is None else state.began  # after a short pause the utterance goes on
    return replace(state, voicing=True, began=began, due=began + (GOES_ON if state.working else LONGEST_VOICE))


def _goes_over(ended: Hearing, next_known: tuple[Hearing, ...]) -> bool:
    """Tell whether a voice ends only because a nearer one begins over it: in a set the two are one utterance."""
    return any(other.kind == "voice_began" and other.began == ended.ended for other in next_known)


def _voice_ended(state: Listening, hearing: Hearing) -> Listening:
    if state.began is None:
        return replace(state, voicing=False)
    goes_on = state.began == state.settled  # no cough: it was long enough to be unclear before
    if hearing.ended - state.began < SHORTEST_VOICE and not state.kept and not goes_on:
        return replace(state, voicing=False, began=None, due=None)
    return replace(state, voicing=False, due=hearing.ended + GRACE)


def _going_on(state: Listening, now: int) -> Listening:
    """Make a voice due that goes on through a set, though it began before it or its first words were understood."""
    if not (state.voicing and state.working and state.began is None):
        return state if state.goes_on is None else replace(state, goes_on=None)
    if state.goes_on is None:
        return replace(state, goes_on=now)
    return replace(state, due=now) if now >= state.goes_on + GOES_ON else state


def _unclear(state: Listening, now: int) -> tuple[Listening, tuple[Outcome, ...]]:
    if state.due is None or now < state.due:
        return state, ()
    unclear, state = Unclear(now, state.kept), _without(state, state.kept)
    goes_on = state.voicing and state.working  # what is said next is an utterance of its own
    began, due = (now, now + GOES_ON) if goes_on else (None, None)
    return replace(state, began=began, due=due, settled=max(state.settled, now), kept=()), (unclear,)


def _kind(word: str) -> tuple[str, int | None]:
    if word[:1] == "n" and word[1:].isdigit():
        return "number", int(word[1:])
    return word, None
