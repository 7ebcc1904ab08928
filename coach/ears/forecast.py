"""Forecast how often each taught word will be heard, how often falsely, and what use that allows.

The rules, in the order in which they are applied:

1. How often a word is heard. Each take is scored against the other takes of its word and against all other words. Three
   takes cannot prove 95 %, so the margins are used: the scores are modelled as a normal distribution around their mean,
   with the spread of this person's takes over all words (at least `LEAST_SPREAD`). The expected share is the part of
   the distribution above the word's threshold and, for a word that does not halt, above the best other word. It is at
   most `MOST`; with a take that was not heard at most (heard + 2) / (takes + 2); with a single take at most a half.
2. How often it is heard falsely. The cohort, other people's talk, is matched like a session's sound. The rate is the
   larger of the count and of the extrapolation from the highest scores of stretches of `STRETCH` s (a Gumbel
   distribution), since a count of zero in 25 minutes does not prove less than one an hour. If the room was recorded, it
   counts like the cohort.
3. The verdict is the best one whose `Needs` are met by every needed word and every word that halts.

The forecast rests on the plain match of the takes. The learnt match (learnt.py) hears more in noise, but it was trained
on the cohort and so cannot be judged by it. The cohort is synthesised speech; real people near the microphone will
differ.
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
"""Smallest standard deviation of scores: takes of one lesson are more alike than words on different days."""
MOST = 0.98
"""Largest share that is promised: about what such words of real people reached (tests/bench/RESULTS.md, "What the
forecast of an enrolment promises")."""
STRETCH = 10.0
"""Seconds of talk that give one observation, their highest score."""
AGAIN = 1.0
"""Seconds within which false alarms count as one."""
READY_WORD = "ready"
"""The reply id that starts work; besides the halts, only its false alarms count for the verdict."""


class Suitability(StrEnum):
    """The verdict on the words; the values are parts of keys in screens.yaml, and are stored."""

    HANDS_FREE = "hands_free"
    WITHIN_REACH = "within_reach"
    KEYS_ONLY = "keys_only"


@dataclass(frozen=True, slots=True)
class Needs:
    """Requirements of a verdict."""

    takes: int
    """Fewest takes of each needed word."""
    heard: float
    """Smallest expected share heard of each needed word."""
    halt_heard: float
    """The same for a word that halts."""
    false_an_hour: float
    """Most false alarms per hour of other people's talk, for "ready" and for each word that halts."""
    clearance: float
    """Fewest decibels of the words over the room's noise."""
    room_known: bool
    """Whether the room must have been recorded."""


NEEDS: Mapping[Suitability, Needs] = {
    Suitability.HANDS_FREE: Needs(RECOMMENDED_TAKES, 0.95, 0.97, 1.0, 20.0, room_known=True),
    Suitability.WITHIN_REACH: Needs(2, 0.8, 0.8, 6.0, 10.0, room_known=False),
}
"""Requirements by verdict, the best first; if neither is met, the verdict is KEYS_ONLY. Below 10 dB over household
noise the plain match misses too many words; at 20 dB it hears nearly as many as in quiet. Six false holds an hour are
acceptable with somebody there to press a key, but not alone."""


@dataclass(frozen=True, slots=True)
class WordForecast:
    """The forecast for one word."""

    word: str
    takes: int
    heard: int
    """Number of takes that the other takes would have heard."""
    expected: float
    """Expected share of times that it is heard when said, 0 to 1; see rule 1."""
    rival: str
    """The person's other word that sounds most like it; empty if there is none."""
    false_an_hour: float
    """Expected false alarms per hour of other people's talk; see rule 2."""


@dataclass(frozen=True, slots=True)
class Reason:
    """One reason against a better verdict."""

    key: str
    """End of the key "forecast_..." in screens.yaml."""
    words: tuple[str, ...] = ()
    """Reply ids that it concerns."""


@dataclass(frozen=True, slots=True)
class Forecast:
    """The forecast for this person in this room."""

    words: tuple[WordForecast, ...]
    """Forecasts of the words, in the order of their ids."""
    clearance: float
    """Median decibels of the words over the room's noise."""
    verdict: Suitability
    because: tuple[Reason, ...]
    """Reasons against a better verdict; empty for HANDS_FREE."""


def forecast(enrolment: Enrolment, talk: Frames | None = None) -> Forecast:
    """Return the forecast for `enrolment`, which must hold a word.

    `talk`: embeddings of other people's speech in order, shape (n, 96); default: the cohort shipped with the package.
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
    """Return the best verdict whose needs are met, and the unmet needs of the next better one."""
    because: tuple[Reason, ...] = ()
    for verdict, needs in NEEDS.items():
        lacks = _lacks(needs, {word.word: word for word in words}, clearance, halts, room_known=room_known)
        if not lacks:
            return verdict, because
        because = lacks
    return Suitability.KEYS_ONLY, because


def expected(report: WordReport, threshold: float, spread: float, *, halts: bool) -> float:
    """Return the expected share of times that a word is heard when said, by rule 1."""
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
    """Return each word's false alarms per hour in `talk` and in the room, by rule 2; or only the counted ones."""
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
    """Return each word's score above its limit at each embedding, shape (frames, words)."""
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
    """Return the counted false alarms per hour."""
    apart = round(AGAIN * RATE / EMBEDDING_STEP)
    count = np.zeros(over.shape[1])
    last = np.full(over.shape[1], -apart)
    for at, row in enumerate(over):
        new = (row > 0) & (at - last >= apart)
        count += new
        last[row > 0] = at
    return count / (len(over) * EMBEDDING_STEP / RATE / 3600)


def _foretold(over: Numbers) -> Numbers:
    """Return the false alarms per hour extrapolated from the highest score of each stretch."""
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
