"""Hear the words that the person taught, in that person's voice."""

from __future__ import annotations

from collections import deque
from dataclasses import dataclass, replace

import numpy as np

from coach.ears.activity import Activity
from coach.ears.enrolment import Enrolment
from coach.ears.features import Embedder
from coach.ears.matching import Match
from coach.ports import Block, Captured, Hearing
from coach.tempo.units import to_samples

COACH_TAIL = to_samples(0.5)
"""Samples after the coach's last sound for which the cancelled signal is matched instead of the microphone."""
EARLY = to_samples(0.2)
"""Samples before the report of a halt word within which no other word can have begun."""


@dataclass(slots=True)
class _Candidate:
    word: int
    score: float
    over: float
    hearing: Hearing
    waited: int = 0


class Taught:
    """The ear for taught words. A score is how sure the matcher is, 0 to 1.

    With an `activity`, which must be fed first with each stretch, it works only while that is awake; without one it
    always works. Words that are not open are reported as well: the best word wins. If the activity knows no voice but
    has a hint of one, a halt needs a slightly higher score, another word a much higher one, and it must begin after the
    coach's sound. Without a hint, only a halt counts, at a higher score. A sound that is nearly a word, or not certain
    enough, is reported as a voice if none has begun, so that no speech goes unnoticed.
    """

    name = "taught"

    def __init__(
        self,
        enrolment: Enrolment,
        *,
        activity: Activity | None = None,
        halts: frozenset[str] | None = None,
        embedder: Embedder | None = None,
    ) -> None:
        """Prepare to hear the words of `enrolment`.

        `halts` (default: those of the enrolment) are reported at once and at a lower score than others. Raises
        HearingError if this system cannot hear taught words.
        """
        self._embedder = embedder or Embedder()
        enrolment = enrolment if halts is None else replace(enrolment, halts=halts)
        self._matcher = enrolment.matcher()
        self.words = self._matcher.words
        self._limits = self._matcher.limits
        self._halts = enrolment.halts
        self._urgent = np.array([word in self._halts for word in self.words])
        self._activity = activity
        self._ring: deque[Block] = deque()
        self._held = 0
        self._coach_until = -1
        self._running = False
        self._followed = -self._matcher.pre_roll
        self._candidate: _Candidate | None = None
        self._rival = np.zeros(len(self.words), np.float32)
        self._heard_until = np.full(len(self.words), -1, np.int64)
        self._doubted_until = -1
        self.embedded = 0
        """Number of embeddings computed."""

    def open(self, words: frozenset[str]) -> None:
        """Do nothing: all taught words always compete, and `words/replies.py` knows which are open."""

    def feed(self, captured: Captured) -> list[Hearing]:
        """Take the next stretch; return the words heard in it."""
        now = captured.at + len(captured.mic)
        if captured.played.any():
            self._coach_until = now + COACH_TAIL
        sound = captured.clean if captured.at < self._coach_until else captured.mic
        self._keep(sound)
        if self._activity is not None and not self._activity.awake(captured.at):
            return self._stop(now)
        if not self._running:
            sound = self._missed(now)
            self._running = True
        self._followed = now
        found: list[Hearing] = []
        voiced = self._activity is None or self._activity.voiced(captured.at)
        hinted = self._activity is None or self._activity.hinted(captured.at)
        for made in self._embedder.feed(sound):
            self.embedded += 1
            match = self._matcher.push(made)
            hearing = self._decide(match, now, voiced=voiced, hinted=voiced or hinted)
            found += self._doubt(match, now) if hearing is None else [hearing]
        return found

    def _keep(self, sound: Block) -> None:
        self._ring.append(sound)
        self._held += len(sound)
        while self._held - len(self._ring[0]) >= self._matcher.pre_roll:
            self._held -= len(self._ring.popleft())

    def _missed(self, now: int) -> Block:
        """Return the sound to hear first on waking: all since the ear fell asleep, or as much as is kept.

        If some of it is lost, embedder and matcher start again.
        """
        kept = np.concatenate(self._ring)
        slept = now - self._followed
        if slept <= len(kept):
            return kept[len(kept) - slept :]
        self._embedder.start(now - len(kept))
        self._matcher.forget()
        return kept

    def _stop(self, now: int) -> list[Hearing]:
        if not self._running:
            return []
        self._running = False
        hearing = self._settle(now)
        return [] if hearing is None else [hearing]

    def _decide(self, match: Match, now: int, *, voiced: bool = True, hinted: bool = True) -> Hearing | None:
        over = match.scores - self._limits
        if not voiced:
            after_coach = match.began >= self._coach_until
            sure = over > self._matcher.unvoiced
            beyond_doubt = hinted & (over > self._matcher.doubt)
            counts = self._urgent & (sure | beyond_doubt | ~after_coach) | (sure & hinted & after_coach)
            over[~counts] = -1.0
        answered = match.began < self._heard_until
        over[answered] = -1.0
        likeliest = int(np.argmax(match.scores))
        if answered[likeliest] and not self._urgent[likeliest]:
            over[:] = -1.0  # the sound is still the reported word, even if it resembles another
        best = int(np.argmax(over))
        if self._urgent[likeliest] and self._heard_until[likeliest] <= match.began[likeliest] < self._coach_until:
            over[likeliest] = max(over[likeliest], match.scores[likeliest] - self._matcher.over_coach)
            best = likeliest if over[likeliest] > 0 else best
        if over[best] > 0 and self._urgent[best]:
            self._candidate = None
            return self._report(self._hearing(match, best, now))
        self._rival = np.maximum(self._rival, match.scores) if self._candidate else match.scores
        waiting = self._candidate
        if over[best] > 0 and (waiting is None or over[best] > waiting.over):
            waited = 0 if waiting is None else waiting.waited + 1
            score = float(match.scores[best])
            self._candidate = _Candidate(best, score, float(over[best]), self._hearing(match, best, now), waited)
            return self._settle(now) if waited >= self._matcher.patience else None
        return self._settle(now)

    def _doubt(self, match: Match, now: int) -> list[Hearing]:
        """Report a voice, begun and ended, if a sound is nearly a word and no voice was noticed.

        Do so only once for a sound, and not after a word or the coach's sound.
        """
        activity = self._activity
        if activity is None or activity.speaking:
            return []
        least = -self._matcher.doubt if activity.hinted(now) else self._matcher.unvoiced
        settled = max(self._coach_until, self._doubted_until, int(self._heard_until.max()))
        over = np.where(match.began < settled, -np.inf, match.scores - self._limits)
        best = int(np.argmax(over))
        if over[best] <= least:
            return []
        sound = self._hearing(match, best, now)
        self._doubted_until = sound.ended + self._matcher.lingers
        began = replace(sound, kind="voice_began", word="", ended=sound.began)
        return [began, replace(sound, kind="voice_ended", word="")]

    def _settle(self, now: int) -> Hearing | None:
        """Report the waiting word, unless another is as close."""
        waiting, self._candidate = self._candidate, None
        if waiting is None:
            return None
        rivals = np.delete(self._rival, waiting.word)
        if len(rivals) and waiting.score - rivals.max() < self._matcher.margin:
            return None
        return self._report(replace(waiting.hearing, at=now))

    def _report(self, hearing: Hearing) -> Hearing:
        """Keep an utterance from giving a second word; a halt counts even if it touches another word."""
        again = np.ones_like(self._urgent) if hearing.word in self._halts else ~self._urgent
        # A halt is reported before its best score, when its end is still estimated too early.
        until = max(hearing.ended, hearing.at - EARLY) if hearing.word in self._halts else hearing.ended
        self._heard_until[again] = until + self._matcher.lingers
        return hearing

    def _hearing(self, match: Match, word: int, now: int) -> Hearing:
        ended = min(int(match.ended[word]), now)
        score = self._matcher.sureness(float(match.scores[word]))
        return Hearing(self.name, "word", self.words[word], score, int(match.began[word]), ended, now)
