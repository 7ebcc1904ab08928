"""Learn to tell the taught words from each other and from all other sound: one softmax regression for all of them.

What is looked at, at each embedding: the last second, as `SPAN` embeddings with the level of each against the loudest
of them. Learnt from augmented takes (augment.py), against the cohort of other people's talk, the noises alone and the
first halves of the words. Three more have their say: the plain match of the takes (`SAY`), which knows whose voice it
is, and the two measures of the spectra (`NEAR`, `FIT`; second_look.py), which noise and other voices change less.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from coach.ears.augment import Augmented
from coach.ears.cohort import Talk
from coach.ears.features import EMBEDDING_WIDTH, Embedding, Frames
from coach.ears.likeness import ROWS
from coach.ears.matching import Match, Matcher, Scores, general_mean
from coach.ears.second_look import SecondLook
from coach.ears.spectrum import BANDS, SILENT
from coach.ears.takes import Take
from coach.tempo.units import to_samples

SPAN = 12
"""Embeddings that are looked at together: 0.96 s, and the 775 ms that the first of them looks back. Of 300 words of
three speakers in household noise at 10 dB, 6 of them heard 73 %, 8 heard 81 %, 12 heard 86 %, 16 heard 82 %."""
SIZE = SPAN * (EMBEDDING_WIDTH + 1)
"""Numbers that are looked at together."""
EMBEDDING_SPREAD = 10.7
"""Standard deviation of the numbers in an embedding of talk, measured over the cohort."""
LEVEL_WEIGHT = 0.1
"""What a decibel counts for beside an embedding, whose numbers vary by about 1 after EMBEDDING_SPREAD."""
DEEPEST = -30.0
"""Decibels below the loudest at which levels are no longer told apart."""
EARLIEST, LATEST = to_samples(0.16), to_samples(0.48)
"""Samples after a word's end at which it is to be recognised."""
BEFORE_END = to_samples(-1.0), to_samples(-0.25)
"""Samples from a word's end between which an augmented take shows what is not the word: noise, and its first half."""
RESTRAINT = 5000.0
"""Weight of the squared coefficients against the examples: more is more cautious. With 700, 2000 and 5000, of 150 words
of three speakers in household noise at 10 dB, 76, 81 and 81 % passed what other people's speech passed once."""
ROUNDS = 60
"""Steps of the fit at most; more changes nothing that was measured."""
SAY, USUAL = 4.0, 0.7
"""What a point of cosine of the plain match counts for, and the cosine that changes nothing. By NEAR's measure 0, 2, 4
and 8 (NEAR 9, no FAR) gave 95, 95, 95 and 96 % in quiet, 85 % each in noise and 59, 58, 55 and 50 % beside a talker;
but with 2 a session heard 147 of 150 words in quiet, and other people once."""
NEAR, USUALLY = 11.0, 0.61
"""The same for the cosine of SecondLook.near. Measured on 300 words of the three in each kind of sound, after six
teachings drawn anew, where 1.3 h of other people's speech pass none to four times (the mean of the five; in one of the
six stretches of noise the voice detector had gone deaf, see activity.FORGETS): with FAR 9, 11 and 14 gave 87, 87 and
86 % in noise and 55, 57 and 58 % beside a talker."""
FAR = -2.0
"""What NEAR counts for at least: a word said as the network never heard it is far from all. By that measure (NEAR 9)
none, -3, -2 and -1 gave 95, 95, 96 and 97 % in quiet, 85, 86, 87 and 87 % in noise, 55, 55, 55 and 48 % beside a
talker."""
FIT = 20.0
"""What a point of SecondLook.fits counts for. By that measure (NEAR 9, no FAR) 15, 20, 25 and 30 gave 84, 85, 86 and
86 % in noise, 53, 55, 57 and 57 % beside a talker, and 87, 88, 87 and 86 % over the coach."""
REACH = 7.0
"""Score below its limit from which a word's fit is asked for: the most that a fit added anywhere was 5.6."""
MOST_ASKED = 10
"""Words that are asked for it at most: the likeliest. With thirty takes that is about 10 ms of one core."""
LIMIT = 1.2
"""Score that a word must reach: tests/bench/hearing.py measures what it gives. After the six teachings of NEAR, 0.5,
0.8, 1.0, 1.2 and 1.4 gave 9, 2, 1, 1 and 1 false words in 1.3 h of other people's speech, and of 300 words beside
a talker 61, 58, 57, 55 and 53 % were heard (with 0.5 halts had 0.5 too)."""
HALT_LIMIT = 0.7
"""The same for a word that halts: a false halt does less harm than a missed one."""


@dataclass(frozen=True, slots=True, eq=False)
class Learnt:
    """What was learnt of one person's words."""

    words: tuple[str, ...]
    """In the order of the columns."""
    weights: npt.NDArray[np.float32]
    """Shape (SIZE + 1, words): how much more likely each word is than any other sound; the last row is constant."""
    lengths: npt.NDArray[np.int64]
    """Samples that each word lasts, shape (words,)."""

    def score(self, seen: Frames) -> Scores:
        """Return the scores of rows of `looked_at`, shape (n, words)."""
        scores: Scores = _with_constant(seen) @ self.weights
        return scores


class LearntMatcher:
    """Scores the newest embeddings by what was learnt; the log of how much likelier the word is than anything else."""

    margin = 0.5
    """Score by which a word must beat the next one."""
    over_coach = 0.0
    """Score at which a halt word is believed that began while the coach sounded, if it is the likeliest: of 150, with
    the echo 6 dB over the person, 148 are heard. A limit far below HALT_LIMIT took an early "no" over the end of a
    question for a halt."""
    unvoiced = 2.0
    """Score by which a word must be over its limit where no voice is known. Household noise of an hour reached 1.6 with
    the words of ten people; 96 % of whispered words that the detector missed and that passed at all reached 1.5, and
    2.0 costs whispered words 8 % and those in a room none (tests/bench/RESULTS.md, "What wakes the ears")."""
    doubt = 0.5
    """Score around its limit in which a sound may be a word: below, somebody may have spoken; above, a halt without a
    voice is none yet. In 22 minutes of household noise 0.5 held nothing, 1.0 held six times."""
    patience = 0
    """Embeddings that a word may wait for a better score: it is learnt to be recognised at the first one."""
    lingers = to_samples(0.26)
    """Samples after a word's end, which is guessed as early as can be, in which it may still look like another one."""
    pre_roll = to_samples(2.0)
    """Samples before a voice was noticed that must be heard again: SPAN embeddings and the window of the first."""

    def __init__(self, learnt: Learnt, takes: Mapping[str, Sequence[Take]], halts: frozenset[str]) -> None:
        """Score by `learnt` and by its `takes`, of the same words."""
        self._plain = Matcher(takes, halts)
        self._second = SecondLook(takes)
        self.words = learnt.words
        self.limits = np.array([HALT_LIMIT if word in halts else LIMIT for word in self.words], np.float32)
        """What each word must reach, shape (words,)."""
        self._learnt = learnt
        self.forget()

    def forget(self) -> None:
        """Begin anew: what comes next does not follow what came before."""
        self._frames = np.zeros((SPAN, EMBEDDING_WIDTH), np.float32)
        self._levels = np.zeros(SPAN, np.float32)
        self._known = 0
        self._rows = np.full((ROWS, BANDS), SILENT, np.float32)
        self._plain.forget()

    def push(self, found: Embedding) -> Match:
        """Take the next embedding."""
        self._known += 1
        self._frames = np.roll(self._frames, -1, axis=0)
        self._levels = np.roll(self._levels, -1)
        self._frames[-1], self._levels[-1] = found.frame, found.level
        if self._known < SPAN:  # as if it had been so before
            self._frames[: SPAN - self._known] = self._frames[SPAN - self._known]
            self._levels[: SPAN - self._known] = self._levels[SPAN - self._known]
        self._rows = np.concatenate([self._rows, found.rows])[-ROWS:]
        scores = self._learnt.score(looked_at(self._frames, self._levels)[-1:])[0]
        scores = scores + np.float32(SAY) * (self._plain.push(found).scores - np.float32(USUAL))
        scores = scores + np.maximum(NEAR * (self._second.near(self._rows) - USUALLY), FAR).astype(np.float32)
        over = scores - self.limits
        asked = np.sort(np.argsort(-over)[: min(MOST_ASKED, int(np.sum(over > -REACH)))])
        by_fit = np.full(len(over), -REACH, np.float32)  # who is not asked does not fit
        if len(asked):
            by_fit[asked] = FIT * self._second.fits(self._rows, asked)
        scores = scores + by_fit
        ended = np.full(len(self.words), found.at - EARLIEST, np.int64)
        return Match(scores, ended - self._learnt.lengths, ended)

    @staticmethod
    def sureness(score: float) -> float:
        """Return a score as a share, 0 to 1."""
        return float(1.0 / (1.0 + np.exp(-np.clip(score, -30.0, 30.0))))


def learn(augmented: Mapping[str, Sequence[Augmented]], lengths: Mapping[str, int], talk: Talk) -> Learnt:
    """Return what can be learnt from the augmented takes of each word, one at least, against other people's `talk`.

    `lengths`: samples that each word lasts. The same input gives the same result.
    """
    from scipy.optimize import minimize

    words = tuple(sorted(augmented))
    spans: list[Frames] = []
    kinds: list[npt.NDArray[np.int64]] = []
    for number, word in enumerate(words, start=1):
        for take in augmented[word]:
            seen = looked_at(take.frames, take.levels)
            is_word = (take.ends >= EARLIEST) & (take.ends <= LATEST)
            is_other = (take.ends > BEFORE_END[0]) & (take.ends < BEFORE_END[1])
            spans += [seen[is_word], seen[is_other]]
            kinds += [np.full(int(is_word.sum()), number), np.zeros(int(is_other.sum()), np.int64)]
    others = looked_at(talk.frames, talk.levels)[SPAN:]
    rows_seen = _with_constant(np.concatenate([*spans, others]))
    kind = np.concatenate([*kinds, np.zeros(len(others), np.int64)])
    classes = len(words) + 1
    rows = np.arange(len(kind))
    restraint = np.full((SIZE + 1, 1), RESTRAINT, np.float32)
    restraint[-1] = 0.0

    def loss(flat: npt.NDArray[np.float64]) -> tuple[float, npt.NDArray[np.float64]]:
        weights = flat.reshape(SIZE + 1, classes).astype(np.float32)
        logits = rows_seen @ weights
        logits -= logits.max(axis=1, keepdims=True)
        share = np.exp(logits)
        total = share.sum(axis=1, keepdims=True)
        cost = float(np.sum(np.log(total[:, 0]) - logits[rows, kind])) + 0.5 * float(np.sum(restraint * weights**2))
        share /= total
        share[rows, kind] -= 1.0
        slope = rows_seen.T @ share + restraint * weights
        return cost / len(kind), slope.astype(np.float64).ravel() / len(kind)

    start = np.zeros((SIZE + 1) * classes)
    found = minimize(loss, start, jac=True, method="L-BFGS-B", options={"maxiter": ROUNDS})
    weights = found.x.reshape(SIZE + 1, classes)
    return Learnt(
        words,
        (weights[:, 1:] - weights[:, :1]).astype(np.float32),
        np.array([lengths[word] for word in words], np.int64),
    )


def looked_at(frames: Frames, levels: npt.NDArray[np.float32]) -> Frames:
    """Return what is looked at, at each of n embeddings, shape (n, SIZE), newest first; the first stands for before."""
    rows = np.maximum(np.arange(len(frames))[:, None] - np.arange(SPAN), 0)
    seen = ((frames - general_mean()) / EMBEDDING_SPREAD)[rows].reshape(len(frames), -1)
    around = levels[rows]
    below = np.maximum(around - around.max(axis=1, keepdims=True), DEEPEST) * LEVEL_WEIGHT
    return np.concatenate([seen, below], axis=1).astype(np.float32)


def _with_constant(spans: Frames) -> Frames:
    return np.concatenate([spans, np.ones((len(spans), 1), np.float32)], axis=1)
