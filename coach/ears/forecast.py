"""Forecast how often each taught word will be heard, how often falsely, and what use that allows.

The rules, in the order in which they are applied:

1. How often a word is heard. Each take is scored against the others of its word (left out in turn) and against all
   other words. Three takes cannot prove 95 %, so the margins speak: the scores are taken as a normal distribution
   around their mean, with the spread that this person's takes have over all words together (`LEAST_SPREAD` at least),
   and the share of it that lies above the word's threshold and, for a word that does not halt, above the best other
   word is what is expected. Never more than `MOST`; with a take that was not heard never more than (heard + 2) /
   (takes + 2); with one take only never more than half.
2. How often it is heard falsely. The cohort, other people's talk, is matched like a session's sound. The rate is the
   larger of what was counted and of what the highest scores of stretches of `STRETCH` s foretell beyond it (a Gumbel
   distribution), since no count of zero in 25 minutes proves one an hour. The room itself counts like the cohort, if it
   was listened to.
3. The verdict is the best one whose `Needs` are all met by every word that is needed and every word that halts.

All of this is foretold from the plain match of the takes. What is learnt from them (learnt.py) hears more in noise, and
has met the cohort, so that it cannot be judged by it. The cohort is synthesised speech; what real people near the
microphone give will differ.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from enum import StrEnum

import numpy as np
import numpy.typing as npt

from coach.ears.cohort import cohort
from coach.ears.enrolment import NEEDED_WORDS, RECOMMENDED_TAKES, Enrolment
from coach.ears.features import EMBEDDING_STEP, Embedding, Frames
from coach.ears.matching import Matcher
from coach.ears.word_report import WordReport
from coach.tempo.units import RATE

LEAST_SPREAD = 0.03
"""Standard deviation of scores at least: takes in one lesson are more alike than words on different days."""
MOST = 0.98
"""Share that is promised at most: real people's words of which this much was expected were heard 97.9 % of the time
(tests/bench/forecast.py, 99 words of three speakers)."""
STRETCH = 10.0
"""Seconds of talk whose highest score is one observation."""
AGAIN = 1.0
"""Seconds in which one false alarm is not counted twice."""
READY_WORD = "ready"
"""The reply id that makes work begin: the only one beside the halts whose false alarms count for the verdict."""


class Suitability(StrEnum):
    """What the words are good for; the values are part of keys in screens.yaml, and are stored."""

    HANDS_FREE = "hands_free"
    WITHIN_REACH = "within_reach"
    KEYS_ONLY = "keys_only"


@dataclass(frozen=True, slots=True)
class Needs:
    """What a verdict asks for."""

    takes: int
    """Takes of each word that is needed, at least."""
    heard: float
    """Share of each word that is needed that is heard, at least."""
    halt_heard: float
    """The same for a word that halts."""
    false_an_hour: float
    """False alarms an hour of other people's talk, for "ready" and for each word that halts, at most."""
    clearance: float
    """Decibels by which the words stood above the room, at least."""
    room_known: bool
    """Whether the room must have been listened to."""


NEEDS: Mapping[Suitability, Needs] = {
    Suitability.HANDS_FREE: Needs(RECOMMENDED_TAKES, 0.95, 0.97, 1.0, 20.0, room_known=True),
    Suitability.WITHIN_REACH: Needs(2, 0.8, 0.8, 6.0, 10.0, room_known=False),
}
"""Verdicts from the best; if neither fits it is KEYS_ONLY. At 10 dB over household noise the plain match misses
a quarter to a half of real people's words, so less is no basis; at 20 dB hardly more than in quiet. Six false holds an
hour are bearable with somebody there who can press a key, not for somebody alone."""


@dataclass(frozen=True, slots=True)
class WordForecast:
    """What is expected of one word."""

    word: str
    takes: int
    heard: int
    """Takes that the others would have heard."""
    expected: float
    """Share of the times it is said that it will be heard, 0 to 1; see rule 1."""
    rival: str
    """The other word of this person that sounds most like it; empty if there is none."""
    false_an_hour: float
    """False alarms in an hour of other people's talk; see rule 2."""


@dataclass(frozen=True, slots=True)
class Reason:
    """One thing that keeps the verdict from being better."""

    key: str
    """After "forecast_" a key in screens.yaml."""
    words: tuple[str, ...] = ()
    """Reply ids that it is about."""


@dataclass(frozen=True, slots=True)
class Forecast:
    """What this person may expect in this room."""

    words: tuple[WordForecast, ...]
    """In the order of their ids."""
    clearance: float
    """Decibels by which the words stood above the room (the medians)."""
    verdict: Suitability
    because: tuple[Reason, ...]
    """Why it is no better; empty for HANDS_FREE."""


def forecast(enrolment: Enrolment, talk: Frames | None = None) -> Forecast:
    """Return what `enrolment`, which must hold a word, is good for.

    `talk`: embeddings of other people's speech in order, shape (n, 96); default: the cohort that travels with the
    package.
    """
    reports = enrolment.report()
    spread = _spread(reports)
    alarms = false_an_hour(enrolment, cohort().frames if talk is None else talk)
    words = tuple(
        WordForecast(
            report.word,
            report.takes,
            report.heard,
            expected(report, enrolment.thresholds[report.word], spread, halts=report.word in enrolment.halts),
            report.nearest,
            alarms[report.word],
        )
        for report in reports
    )
    levels = [take.level for takes in enrolment.takes.values() for take in takes]
    clearance = float(np.median(levels)) - enrolment.room
    verdict, because = judge(words, clearance, enrolment.halts, room_known=enrolment.noise is not None)
    return Forecast(words, clearance, verdict, because)


def judge(
    words: Sequence[WordForecast], clearance: float, halts: frozenset[str], *, room_known: bool
) -> tuple[Suitability, tuple[Reason, ...]]:
    """Return the best verdict whose needs are met, and what the next better one lacks."""
    because: tuple[Reason, ...] = ()
    for verdict, needs in NEEDS.items():
        lacks = _lacks(needs, {word.word: word for word in words}, clearance, halts, room_known=room_known)
        if not lacks:
            return verdict, because
        because = lacks
    return Suitability.KEYS_ONLY, because


def expected(report: WordReport, threshold: float, spread: float, *, halts: bool) -> float:
    """Return the share of the times a word is said that it will be heard, by rule 1."""
    if report.takes < 2:
        return 0.5
    share = _above(float(np.mean(report.scores)) - threshold, spread)
    if report.nearest and not halts:
        share = min(share, _above(float(np.mean(report.leads)) - Matcher.margin, spread))
    return min(share, MOST if report.heard == report.takes else (report.heard + 2) / (report.takes + 2))


def _lacks(
    needs: Needs, words: Mapping[str, WordForecast], clearance: float, halts: frozenset[str], *, room_known: bool
) -> tuple[Reason, ...]:
    needed = sorted({*NEEDED_WORDS, *halts})
    there = [words[word] for word in needed if word in words]
    fewer = [word.word for word in there if word.takes < needs.takes]
    weak = [word.word for word in there if word.expected < (needs.halt_heard if word.word in halts else needs.heard)]
    false = [
        word.word for word in there if word.word in {READY_WORD, *halts} and word.false_an_hour > needs.false_an_hour
    ]
    found = {
        "missing": [word for word in needed if word not in words],
        "few": fewer,
        "weak": [word for word in weak if word not in fewer],
        "false": false,
    }
    reasons = [Reason(key, tuple(listed)) for key, listed in found.items() if listed]
    if clearance < needs.clearance:
        reasons.append(Reason("loud_room"))
    if needs.room_known and not room_known:
        reasons.append(Reason("unknown_room"))
    return tuple(reasons)


def _spread(reports: Sequence[WordReport]) -> float:
    """Return the standard deviation of scores around their word's mean, over all words together."""
    several = [report.scores for report in reports if report.takes > 1]
    free = sum(len(scores) - 1 for scores in several)
    squares = sum(float(np.var(scores)) * len(scores) for scores in several)
    return max(LEAST_SPREAD, math.sqrt(squares / free)) if free else LEAST_SPREAD


def false_an_hour(enrolment: Enrolment, talk: Frames, *, foretell: bool = True) -> dict[str, float]:
    """Return for each word the false alarms an hour in `talk` and in the room, by rule 2; or only those counted."""
    matcher = Matcher(enrolment.takes, enrolment.halts)
    limits = matcher.limits.astype(np.float64)
    urgent = np.array([word in enrolment.halts for word in matcher.words])
    over = _over(matcher, talk, limits, urgent)
    rates = np.maximum(_counted(over), _foretold(over)) if foretell else _counted(over)
    if enrolment.noise is not None and len(enrolment.noise.frames):
        matcher.forget()
        rates += _counted(_over(matcher, enrolment.noise.frames, limits, urgent))
    return dict(zip(matcher.words, rates.tolist(), strict=True))


Numbers = npt.NDArray[np.float64]


def _over(matcher: Matcher, frames: Frames, limits: Numbers, urgent: npt.NDArray[np.bool_]) -> Numbers:
    """Return by how much each word passes what it needs at each embedding, shape (frames, words)."""
    scores = np.array(
        [matcher.push(Embedding((n + 1) * EMBEDDING_STEP, frame)).scores for n, frame in enumerate(frames)], np.float64
    )
    over: Numbers = scores - limits
    if scores.shape[1] > 1:
        two = np.sort(scores, axis=1)[:, -2:]
        best_other = np.where(scores == two[:, 1:], two[:, :1], two[:, 1:])
        over = np.where(urgent, over, np.minimum(over, scores - best_other - Matcher.margin))
    return over


def _counted(over: Numbers) -> Numbers:
    """Return the false alarms an hour that were there."""
    apart = round(AGAIN * RATE / EMBEDDING_STEP)
    count = np.zeros(over.shape[1])
    last = np.full(over.shape[1], -apart)
    for at, row in enumerate(over):
        new = (row > 0) & (at - last >= apart)
        count += new
        last[row > 0] = at
    return count / (len(over) * EMBEDDING_STEP / RATE / 3600)


def _foretold(over: Numbers) -> Numbers:
    """Return the false alarms an hour that the highest of each stretch foretell."""
    size = round(STRETCH * RATE / EMBEDDING_STEP)
    highest = over[: len(over) // size * size].reshape(-1, size, over.shape[1]).max(axis=1)
    if len(highest) < 2:
        return np.zeros(over.shape[1])
    scale = np.maximum(highest.std(axis=0), 1e-6) * math.sqrt(6) / math.pi
    place = highest.mean(axis=0) - 0.5772 * scale  # Euler's constant: the mean of a Gumbel distribution
    share: Numbers = -np.expm1(-np.exp(place / scale))
    return share * 3600 / STRETCH


def _above(margin: float, spread: float) -> float:
    """Return the share of a normal distribution that lies above a point `margin` below its mean."""
    return 0.5 * math.erfc(-margin / spread / math.sqrt(2))
