"""Random ears before a session without sound: they mishear, hear late, twice, or contradict each other."""

from __future__ import annotations

from dataclasses import dataclass
from random import Random

from coach.ports import Hearing
from coach.session.events import REPLIES, Event, On
from coach.session.machine import takes
from coach.session.plan import Today
from coach.session.state import State
from coach.tempo.units import to_samples
from coach.testing.watched import FINISHED, WatchedRun, need
from coach.words.replies import (
    NUMBERS,
    PRESSED,
    TOGETHER,
    TRUSTED,
    Listening,
    Noted,
    Outcome,
    Understood,
    listen,
    open_for,
)

HALT = str(On.STOP)

WORDS = tuple(sorted({*map(str, REPLIES - {On.NUMBER}), *NUMBERS}))
"""Words that an ear may report, rightly or not."""

LOOKS_EVERY = to_samples(0.1)
"""Samples between two reports of a voice that goes on."""


@dataclass(frozen=True, slots=True)
class Faults:
    """Probability of each fault of the ears, 0 to 1."""

    missed: float = 0.0
    wrong: float = 0.0
    late: float = 0.0
    second: float = 0.0
    """A second ear hears the word, too, as the same or as another."""
    against: float = 0.0
    """The second ear reports another word."""
    invented: float = 0.0
    """A word that nobody said is heard, each time that something is said."""

    @classmethod
    def any(cls, chance: Random) -> Faults:
        """Return random faults: of good ears, of bad ones, or between."""
        return cls(*(chance.choice((0.0, 0.0, 0.02, 0.1, 0.5)) for _ in range(6)))


class MisheardRun(WatchedRun):
    """A run whose session gets only what the ears report; checks which reports may count."""

    def __init__(self, today: Today, chance: Random, faults: Faults | None = None) -> None:
        """Begin; without `faults` the ears are random."""
        self.listening = Listening(frozenset({HALT}))
        self.counted = 0
        """Replies that passed the ears."""
        self.unclear = 0
        """Sounds in which nothing was understood."""
        self._chance = chance
        self._faults = faults or Faults.any(chance)
        self._coming: list[Hearing] = []
        self._known: list[Hearing] = []
        self._halt_known = -1
        self._opened_for: object = None
        super().__init__(today)

    def say(self, on: On, number: int = 0) -> bool:
        """Say or press something now; an event that is no reply is passed on unchanged. False: no ear noticed."""
        if on not in REPLIES and on is not On.SPOKE:
            return super().say(on, number)
        said = "" if on is On.SPOKE else f"n{number}" if on is On.NUMBER else str(on)
        noticed = self._noticed(said)
        self._coming = sorted([*self._coming, *noticed], key=lambda hearing: hearing.at)
        until = max((hearing.at for hearing in noticed), default=-1)
        while not self.over and self._coming and self._coming[0].at <= until:
            self.step()
        return bool(noticed)

    def step(self, most: int | None = None) -> bool:
        """Go to the next event: one that is due, or a report of the ears."""
        due, heard = self.agenda.next_at(), self._next_heard()
        if self.over or heard is None or (due is not None and due <= heard) or (most is not None and heard > most):
            return super().step(most)
        self.now = max(self.now, heard)
        self._listen()
        return True

    # -- what the ears notice ------------------------------------------------------------------------------------------

    def _noticed(self, said: str) -> list[Hearing]:
        chance, faults = self._chance, self._faults
        if said and chance.random() < 0.1:
            return [Hearing(chance.choice(("keys", "page")), "word", said, 1.0, self.now, self.now, self.now)]
        length = to_samples(chance.choice((0.15, 0.3, 0.5, 0.5, 0.8, 1.2, 2.0, 6.0)))
        began, ended = self.now, self.now + length
        found = [
            Hearing("activity", "voice_began", "", 1.0, began, began, began + to_samples(0.08)),
            Hearing("activity", "voice_ended", "", 1.0, began, ended, ended + to_samples(0.24)),
        ]
        words = [said] if said and chance.random() >= faults.missed else []
        words += [chance.choice(WORDS)] * (chance.random() < faults.invented)
        for word in words:
            named = chance.choice(WORDS) if chance.random() < faults.wrong else word
            found.append(self._word(chance.choice(("taught", "taught", "vosk")), named, began, ended))
            if chance.random() < faults.second:
                other = chance.choice(WORDS) if chance.random() < faults.against else named
                found.append(self._word(chance.choice(("taught", "vosk", "vosk")), other, began, ended))
        return found

    def _word(self, ear: str, word: str, began: int, ended: int) -> Hearing:
        """Return a word as an ear reports it: near the time it was said, within the ears' usual delay, or late."""
        chance = self._chance
        off = to_samples(chance.uniform(-0.05, 0.2))
        lag = chance.uniform(0.0, 5.0) if chance.random() < self._faults.late else chance.uniform(-0.1, 0.5)
        began = max(began, began + off)
        ended = max(began, ended)
        return Hearing(ear, "word", word, chance.random(), began, ended, max(ended, ended + to_samples(lag)))

    # -- the outcome ---------------------------------------------------------------------------------------------------

    def _next_heard(self) -> int | None:
        times = [self._coming[0].at] if self._coming else []
        if self.listening.due is not None:
            times.append(self.listening.due)
        if self.listening.voicing:
            times.append(self.now + LOOKS_EVERY)
        return min(times, default=None)

    def _listen(self) -> None:
        hearings = [hearing for hearing in self._coming if hearing.at <= self.now]
        del self._coming[: len(hearings)]
        if self._opened_for is not self.session:
            self._opened_for = self.session
            words = {str(on) for on in REPLIES if on is not On.NUMBER and takes(self.session, on)}
            words |= NUMBERS if takes(self.session, On.NUMBER) else set()
            working = self.session.state is State.WORKING
            self.listening = open_for(self.listening, words, working=working)
        self._known += [hearing for hearing in hearings if hearing.kind == "word"]
        self.listening, outcomes = listen(self.listening, hearings, self.now)
        for outcome in outcomes:
            if not self.over:
                self._come_of(outcome)
        halts = [hearing for hearing in hearings if hearing.kind == "word" and hearing.word == HALT]
        need(
            not halts or self.session.quiet or self.session.state in FINISHED, "a halt that any ear heard halts", halts
        )
        self._known = [hearing for hearing in self._known if hearing.ended > self.now - to_samples(30.0)]

    def _come_of(self, outcome: Outcome) -> None:
        if isinstance(outcome, Noted):
            if outcome.decision == "agreed":  # it reports a word that was acted on, not the next one
                self._known = [one for one in self._known if one not in outcome.hearings]
            return
        if not isinstance(outcome, Understood):
            self.unclear += 1
            self.give(Event(On.SPOKE, self.now, ear="activity"))
            return
        self.counted += 1
        word = outcome.hearings[-1]
        if word.word == HALT:
            self._halt_known = max(self._halt_known, word.at)
        elif word.ear not in PRESSED:
            self._may_count(word)
        self.give(Event(On(outcome.reply), self.now, number=outcome.number or 0, ear=outcome.ear))

    def _may_count(self, word: Hearing) -> None:
        """Check that a spoken word may count as a reply other than a halt."""
        need(word.began > self._halt_known, "what began before a halt was known is no reply after it", word)
        others = [one for one in self._known if one.ear not in {word.ear, *PRESSED} and _overlap(one, word)]
        earlier = [one for one in others if one.at <= word.at]
        against = [one for one in earlier if one.word not in (word.word, HALT)]  # a halt was checked above
        need(not against, "ears that contradict each other are not understood", word, against)
        agreed = any(one.word == word.word for one in earlier)
        need(word.ear in TRUSTED or agreed, "an ear that is not trusted alone needs a second one", word)


def _overlap(one: Hearing, other: Hearing) -> bool:
    return max(one.began, other.began) - min(one.ended, other.ended) <= TOGETHER
