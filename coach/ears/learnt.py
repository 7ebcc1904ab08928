"""Learn to distinguish the taught words from each other and from all other sound, with one softmax regression.

Its input at each embedding is the last second: `SPAN` embeddings, each with its level relative to the loudest. It is
trained on augmented takes (augment.py), against the cohort of other people's talk, noise alone and the first halves of
the words. Three measures are added to its score: the plain match of the takes (`SAY`), which depends on whose voice it
is, and two measures of the spectra (`NEAR`, `FIT`; second_look.py), which suffer less from noise and other voices.

The trials behind the constants are in tests/bench/RESULTS.md, "What the constants of the ears rest on".
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
"""Embeddings in one input: 0.96 s, and the 775 ms that the first of them looks back; the best of 6, 8, 12 and 16."""
SIZE = SPAN * (EMBEDDING_WIDTH + 1)
"""Numbers in one input."""
EMBEDDING_SPREAD = 10.7
"""Standard deviation of the numbers in an embedding of talk, measured over the cohort."""
LEVEL_WEIGHT = 0.1
"""Weight of a decibel beside an embedding, whose numbers vary by about 1 after EMBEDDING_SPREAD."""
DEEPEST = -30.0
"""Decibels relative to the loudest below which levels count as equal."""
EARLIEST, LATEST = to_samples(0.16), to_samples(0.48)
"""First and last sample after a word's end at which it should be recognised."""
BEFORE_END = to_samples(-1.0), to_samples(-0.25)
"""Samples from a word's end between which an augmented take serves as a counter-example: noise and its first half."""
RESTRAINT = 5000.0
"""Weight of the squared coefficients (L2) against the examples; the most cautious value that loses no words."""
ROUNDS = 60
"""Most steps of the fit; more changed no measurement."""
SAY, USUAL = 4.0, 0.7
"""Weight of the plain match's cosine, and the cosine that adds nothing. A smaller weight lets other people's speech
pass, a larger one loses words beside a talker."""
NEAR, USUALLY = 11.0, 0.61
"""The same for the cosine of SecondLook.near; a compromise between noise and a talker."""
FAR = -2.0
"""Lowest contribution of NEAR, since a word said in a way that the network never heard is far from all words."""
FIT = 20.0
"""Weight of SecondLook.fits; the best over the coach."""
REACH = 7.0
"""Score below its limit from which a word's fit is computed; no fit added more than 5.6."""
MOST_ASKED = 10
"""Most words whose fit is computed, the likeliest first: about 10 ms of one core with thirty takes."""
LIMIT = 1.2
"""Score that a word must reach: a lower one lets other people's speech pass, a higher one misses words."""
HALT_LIMIT = 0.7
"""The same for a word that halts: a false halt does less harm than a missed one."""


@dataclass(frozen=True, slots=True, eq=False)
class Learnt:
    """What was learnt of one person's words."""

    words: tuple[str, ...]
    """Reply ids in the order of the columns of `weights`."""
    weights: npt.NDArray[np.float32]
    """Coefficients, shape (SIZE + 1, words), of each word's log odds against other sound; the last row is constant."""
    lengths: npt.NDArray[np.int64]
    """Samples that each word lasts, shape (words,)."""

    def score(self, seen: Frames) -> Scores:
        """Return the scores of rows of `looked_at`, shape (n, words)."""
        scores: Scores = _with_constant(seen) @ self.weights
        return scores


class LearntMatcher:
    """Scores the newest embeddings by what was learnt; a score is the log odds of the word against everything else."""

    margin = 0.5
    """Score by which a word must beat the next one."""
    over_coach = 0.0
    """Score that a halt word needs if it began while the coach sounded and is the likeliest word; a much lower one took
    an early "no" over the end of a question for a halt."""
    unvoiced = 2.0
    """Score over its limit that a word needs if the detector knows no voice; more than an hour of household noise
    reached (tests/bench/RESULTS.md, "What wakes the ears")."""
    doubt = 0.5
    """Score below the limit within which somebody may have spoken, and above the limit within which a halt without a
    voice does not count yet; with 1.0, household noise holds sets."""
    patience = 0
    """Embeddings for which a word waits for a better score; none, since it is learnt to be recognised at once."""
    lingers = to_samples(0.26)
    """Samples after a word's earliest possible end within which it may still look like another word."""
    pre_roll = to_samples(2.0)
    """Samples before a voice was noticed that are processed again: SPAN embeddings and the window of the first."""

    def __init__(self, learnt: Learnt, takes: Mapping[str, Sequence[Take]], halts: frozenset[str]) -> None:
        """Score by `learnt` and by the `takes` of the same words."""
        self._plain = Matcher(takes, halts)
        self._second = SecondLook(takes)
        self.words = learnt.words
        self.limits = np.array([HALT_LIMIT if word in halts else LIMIT for word in self.words], np.float32)
        """Score that each word must reach, shape (words,)."""
        self._learnt = learnt
        self.forget()

    def forget(self) -> None:
        """Start again: the next embedding does not follow the last."""
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
        if self._known < SPAN:  # fill the past with the first sound
            self._frames[: SPAN - self._known] = self._frames[SPAN - self._known]
            self._levels[: SPAN - self._known] = self._levels[SPAN - self._known]
        self._rows = np.concatenate([self._rows, found.rows])[-ROWS:]
        scores = self._learnt.score(looked_at(self._frames, self._levels)[-1:])[0]
        scores = scores + np.float32(SAY) * (self._plain.push(found).scores - np.float32(USUAL))
        scores = scores + np.maximum(NEAR * (self._second.near(self._rows) - USUALLY), FAR).astype(np.float32)
        over = scores - self.limits
        asked = np.sort(np.argsort(-over)[: min(MOST_ASKED, int(np.sum(over > -REACH)))])
        by_fit = np.full(len(over), -REACH, np.float32)  # words that are not computed do not fit
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
    """Learn from the augmented takes of each word, one or more, against other people's `talk`.

    `lengths`: duration of each word in samples. The same input gives the same result.
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
    """Return the input at each of n embeddings, shape (n, SIZE), newest first; the first embedding fills the past."""
    rows = np.maximum(np.arange(len(frames))[:, None] - np.arange(SPAN), 0)
    seen = ((frames - general_mean()) / EMBEDDING_SPREAD)[rows].reshape(len(frames), -1)
    around = levels[rows]
    below = np.maximum(around - around.max(axis=1, keepdims=True), DEEPEST) * LEVEL_WEIGHT
    return np.concatenate([seen, below], axis=1).astype(np.float32)


def _with_constant(spans: Frames) -> Frames:
    return np.concatenate([spans, np.ones((len(spans), 1), np.float32)], axis=1)
