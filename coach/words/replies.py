"""Decide which reply the person gave, from what the ears noticed and which replies are open.

Rules, in this order:

1. A halt word from any ear is understood at once, open or not. A word that began before the halt was known has no
   effect after it.
2. A key is understood at once if its reply is open.
3. If two ears name different words for the same sound, the reply is unclear, even if one ear is trusted. If the first
   word was already acted on, it becomes unclear then, and work that was about to begin is cancelled. If the first word
   had no effect, the second has none either.
4. An open reply is understood at once if its ear is trusted alone, or if a second ear noticed the same word at the
   same time. Otherwise an ear that is not trusted alone can only halt.
5. Speech without an understood reply, a closed reply included, is unclear: once per utterance, `GRACE` after its end,
   or after `LONGEST_VOICE` if it does not end. A voice shorter than `SHORTEST_VOICE` is ignored. During a set, a voice
   that goes on is unclear again every `GOES_ON`, whatever was settled before: it may hide a halt.
6. Nothing else happens: silence, noise and unclear speech never become a reply.

Every word of every ear appears in one outcome, for the record (the last `MOST_KEPT` of an utterance).
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace
from typing import Literal

from coach.ports import Hearing
from coach.program.model import SCALE
from coach.tempo.units import to_samples

GRACE = to_samples(0.65)
"""Samples after an utterance ends in which an ear may still report its word: 95 % of the words arrive within 566 ms
(tests/bench/RESULTS.md, "How long a reply may take")."""
SHORTEST_VOICE = to_samples(0.16)
"""Samples of voice below which the coach asks for no repeat: a cough, a grunt. 0.2 s missed more real words
(tests/bench/RESULTS.md, "How long a reply may take")."""
LONGEST_VOICE = to_samples(4.0)
"""Samples of voice without a reply after which it is unclear, even if it goes on: longer than any reply."""
GOES_ON = to_samples(1.3)
"""Samples of voice during a set after which it is unclear without waiting for its end: a halt may be in it."""
TOGETHER = to_samples(0.5)
"""Most samples between the times that two ears give for the same word."""
MOST_KEPT = 8
"""Words of one utterance that are remembered: memory stays bounded however long somebody talks."""
TRUSTED = frozenset({"taught", "keys", "page"})
"""Ears whose word counts without a second ear."""

KEYS: Mapping[str, str] = {
    " ": "stop", "r": "ready", "y": "yes", "n": "no", "p": "pause", "s": "slower", "e": "easier", "a": "again",
    "l": "left", "w": "why", "d": "enough", "f": "finish", "h": "pain", "t": "tired", "u": "unsteady", "b": "break",
    "0": "n0", "1": "n1", "2": "n2", "3": "n3", "4": "n4", "5": "n5", "6": "n6", "7": "n7", "8": "n8", "9": "n9",
    "x": "n10",
}  # fmt: skip
"""Key to reply id. The largest key halts; Enter does nothing, so that a leftover Enter starts nothing."""


NUMBERS = frozenset(f"n{number}" for number in SCALE)
"""Reply ids of the numbers that can be answered."""

PRESSED = frozenset({"keys", "page"})
"""The ears for keys and buttons: they cannot mishear, so no other ear contradicts them."""

ReplyDecision = Literal["halted", "understood", "agreed", "disagreed", "unclear", "late"]
"""How an outcome came about. "understood": a trusted ear alone; "agreed": two ears; "late": the sound was already
settled."""


@dataclass(frozen=True, slots=True)
class Understood:
    """The person replied."""

    reply: str
    """Reply id, or "number" for n0 to n10."""
    number: int | None
    """The number, 0-10, if it is one."""
    ear: str
    """The ear that settled it."""
    at: int
    """Sample at which it was settled."""
    hearings: tuple[Hearing, ...]
    """Hearings of the utterance, oldest first; the last one settled it."""
    decision: ReplyDecision = "understood"


@dataclass(frozen=True, slots=True)
class Unclear:
    """Somebody spoke, and no reply was understood."""

    at: int
    """Sample at which it was settled."""
    hearings: tuple[Hearing, ...] = ()
    """Words noticed in it (closed replies, words of one ear alone, or of ears that disagree)."""
    decision: ReplyDecision = "unclear"


@dataclass(frozen=True, slots=True)
class Noted:
    """A word for the record only: its sound is already settled."""

    at: int
    hearings: tuple[Hearing, ...]
    decision: ReplyDecision
    """"agreed": a second ear named the same word; else "late"."""


Outcome = Understood | Unclear | Noted


@dataclass(frozen=True, slots=True)
class Listening:
    """State between two calls of `listen`."""

    halts: frozenset[str]
    """Reply ids that halt."""
    open: frozenset[str] = frozenset()
    """Reply ids that are accepted now."""
    working: bool = False
    """True during a set."""
    began: int | None = None
    """Sample at which the unsettled utterance began; None: there is none."""
    voicing: bool = False
    """True while a voice is heard."""
    goes_on: int | None = None
    """Sample since which a voice has gone on in a set after a reply, or from before the set; None: it has not."""
    due: int | None = None
    """Sample at which the utterance becomes unclear unless a reply comes first."""
    settled: int = -1
    """Sample up to which every sound that began is settled, by a reply or as unclear."""
    kept: tuple[Hearing, ...] = ()
    """Words of the unsettled utterance that were not understood so far."""
    lost: tuple[Hearing, ...] = ()
    """Words without effect, the last `MOST_KEPT`: a later, different word for the same sound has no effect either."""
    last: Hearing | None = None
    """The word understood last: a second ear may confirm it without repeating it, or contradict it."""
    disputed: int = -1
    """Sample of the last disagreement or halt: a spoken word that began before it is no longer a reply."""


def open_for(state: Listening, words: Iterable[str], *, working: bool = False) -> Listening:
    """Return `state` with exactly `words` open, `working` during a set; an unsettled utterance is kept."""
    state = replace(state, open=frozenset(words), working=working)
    if not working and state.began == state.settled:  # it was only held for the set
        return replace(state, began=None, due=None)
    return state


def listen(state: Listening, hearings: Iterable[Hearing], now: int) -> tuple[Listening, tuple[Outcome, ...]]:
    """Take the hearings up to sample `now`, oldest first; return the new state and the outcomes."""
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
    """Take one word; `next_known` are the hearings after it in the same call."""
    last, halts, key = state.last, hearing.word in state.halts, hearing.ear in PRESSED
    late = Noted(hearing.at, (hearing,), "late")
    if last is not None and last.word == hearing.word and _one_sound(last, hearing):
        return state, Noted(hearing.at, (hearing,), "agreed")
    if halts:
        return _understood(state, hearing, "halted")
    if hearing.began <= state.disputed and not key:
        return _without(state, (hearing,)), late
    others = [*state.kept, *next_known]
    if last is not None and last.word not in state.halts:
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
    """Tell whether another ear (not a key) heard a different word in the same sound."""
    return any(
        other.word != hearing.word and other.ear not in PRESSED and _one_sound(other, hearing) for other in others
    )


def _without(state: Listening, words: tuple[Hearing, ...]) -> Listening:
    """Return `state` with `words` remembered as words without effect."""
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
    """Tell whether two ears report the same moment. An ear never contradicts itself."""
    if {one.kind, other.kind} != {"word"} or one.ear == other.ear:
        return False
    return max(one.began, other.began) - min(one.ended, other.ended) <= TOGETHER


def _voice_began(state: Listening, hearing: Hearing) -> Listening:
    if hearing.began <= state.settled:
        return replace(state, voicing=True)
    began = hearing.began if state.began is None else state.began  # a short pause does not end an utterance
    return replace(state, voicing=True, began=began, due=began + (GOES_ON if state.working else LONGEST_VOICE))


def _goes_over(ended: Hearing, next_known: tuple[Hearing, ...]) -> bool:
    """Tell whether a voice ends only because a louder one begins at once: in a set the two are one utterance."""
    return any(other.kind == "voice_began" and other.began == ended.ended for other in next_known)


def _voice_ended(state: Listening, hearing: Hearing) -> Listening:
    if state.began is None:
        return replace(state, voicing=False)
    goes_on = state.began == state.settled  # not a cough: it was already long enough to be unclear
    if hearing.ended - state.began < SHORTEST_VOICE and not state.kept and not goes_on:
        return replace(state, voicing=False, began=None, due=None)
    return replace(state, voicing=False, due=hearing.ended + GRACE)


def _going_on(state: Listening, now: int) -> Listening:
    """Make a voice in a set due if it began before the set, or goes on after an understood reply."""
    if not (state.voicing and state.working and state.began is None):
        return state if state.goes_on is None else replace(state, goes_on=None)
    if state.goes_on is None:
        return replace(state, goes_on=now)
    return replace(state, due=now) if now >= state.goes_on + GOES_ON else state


def _unclear(state: Listening, now: int) -> tuple[Listening, tuple[Outcome, ...]]:
    if state.due is None or now < state.due:
        return state, ()
    unclear, state = Unclear(now, state.kept), _without(state, state.kept)
    goes_on = state.voicing and state.working  # what follows is a new utterance
    began, due = (now, now + GOES_ON) if goes_on else (None, None)
    return replace(state, began=began, due=due, settled=max(state.settled, now), kept=()), (unclear,)


def _kind(word: str) -> tuple[str, int | None]:
    return ("number", int(word[1:])) if word in NUMBERS else (word, None)
