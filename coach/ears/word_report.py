"""How well words were taught: each take is compared with all others."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from coach.ears.features import Embedding
from coach.ears.matching import Matcher, threshold
from coach.ears.takes import Take


@dataclass(frozen=True, slots=True)
class WordReport:
    """How well one word was taught."""

    word: str
    takes: int
    heard: int
    """Takes that would be heard as this word by the other takes; 0 of 1 if there is only one."""
    scores: tuple[float, ...]
    """Score of each take with the other takes of its word; 0 if there is only one."""
    leads: tuple[float, ...]
    """Score of each take above that with the best other word."""
    nearest: str
    """The other word that sounds most like it; empty if there is none."""
    nearest_score: float
    """The highest score of a take with that word."""

    @property
    def own(self) -> float:
        """Lowest score of a take with the other takes of its word."""
        return min(self.scores)


def reports(takes: Mapping[str, Sequence[Take]], halts: frozenset[str]) -> tuple[WordReport, ...]:
    """Return how well each word of `takes` was taught, in order of the words."""
    found = {word: _Report() for word in sorted(takes)}
    for word, _, scores in left_out(takes, halts):
        found[word].add(word, scores, threshold(word, halts))
    return tuple(report.of(word) for word, report in found.items())


def best_scores(
    take: Take, takes: Mapping[str, Sequence[Take]], halts: frozenset[str] = frozenset()
) -> dict[str, float]:
    """Return the best score that each word of `takes` reaches anywhere in `take`."""
    words = {word: list(own) for word, own in takes.items() if own}
    return _best(Matcher(words, halts), take) if words else {}


def left_out(
    takes: Mapping[str, Sequence[Take]], halts: frozenset[str] = frozenset()
) -> Iterator[tuple[str, int, dict[str, float]]]:
    """Yield each take, as word and number, with the best score of each word in it, itself left out of its own word.

    A word with a single take gets no score in that take. This relies on scores being independent of the other words.
    """
    if not takes:
        return
    every = Matcher(takes, halts)
    for word in sorted(takes):
        for number, take in enumerate(takes[word]):
            scores = _best(every, take)
            del scores[word]
            rest = [other for n, other in enumerate(takes[word]) if n != number]
            yield word, number, scores | best_scores(take, {word: rest}, halts)


def unlike(takes: Mapping[str, Sequence[Take]]) -> tuple[str, int] | None:
    """Return word and number of the worst take that is less like its own word than like another one, or None.

    Such a take would match other words and other people's speech. Words with two takes or fewer are skipped, since
    either take may be the wrong one. Call it again after removing the take, which may have made others look bad.
    """
    leads: dict[tuple[str, int], float] = {}
    for word, number, scores in left_out({word: own for word, own in takes.items() if own}):
        if len(takes[word]) > 2:
            leads[word, number] = scores.pop(word) - max(scores.values(), default=-1.0)
    worst = min(leads, key=lambda which: leads[which], default=None)
    return worst if worst is not None and leads[worst] < 0 else None


def _best(matcher: Matcher, take: Take) -> dict[str, float]:
    matcher.forget()
    scores = np.max(
        [matcher.push(Embedding(int(at), frame)).scores for frame, at in zip(take.frames, take.ends, strict=True)], 0
    )
    return dict(zip(matcher.words, scores.tolist(), strict=True))


class _Report:
    """Collects the scores of the takes of one word."""

    def __init__(self) -> None:
        self.own: list[float] = []
        self.leads: list[float] = []
        self.heard = 0
        self.nearest = ""
        self.nearest_score = 0.0

    def add(self, word: str, scores: dict[str, float], threshold: float) -> None:
        mine = scores.pop(word, 0.0)
        rival = max(scores, key=lambda other: scores[other], default="")
        if rival and scores[rival] > self.nearest_score:
            self.nearest, self.nearest_score = rival, scores[rival]
        self.own.append(mine)
        self.leads.append(mine - scores.get(rival, 0.0))
        self.heard += mine >= threshold and self.leads[-1] > 0

    def of(self, word: str) -> WordReport:
        own, leads = tuple(self.own), tuple(self.leads)
        return WordReport(word, len(own), self.heard, own, leads, self.nearest, self.nearest_score)
