"""Hear words of a list with Vosk: any voice without teaching, but alone trusted for halts only."""

from __future__ import annotations

import json
import re
from collections import deque
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np

from coach.ears.activity import Activity
from coach.errors import HearingError
from coach.ports import Block, Captured, Hearing
from coach.tempo.units import RATE, to_samples
from coach.words.phrases import ReplyWords

PRE_ROLL = to_samples(0.6)
"""Samples before a voice was noticed that are processed again, since a soft start is noticed late."""
LOOK_EVERY = to_samples(0.08)
"""Samples in each call of the recogniser."""
LONGEST = to_samples(1.2)
"""Longest utterance, in samples of voice, that may be a reply: a longer one is a sentence mistaken for a word."""
IN_PASSING = 0.5
"""Score of a halt that is reported before its utterance ends, when Vosk gives no confidence yet."""
LOOKS = 2
"""Partial results in a row that must show the same halt before it is reported, since the first often changes."""
GARBAGE = "[unk]"
"""The word by which some models report that they heard none of the list."""
PARTS = 4
"""Most parts into which a word unknown to the model is split."""


class Vosk:
    """The ear with an open vocabulary. A score is Vosk's own confidence, 0 to 1, which means little.

    It listens to the signal without the coach while `activity` (which must be fed first with each stretch) hears a
    voice. A halt is reported as soon as the partial results show only a halt, or at the end of a short utterance that
    holds one. Any other word is reported at the end of its utterance, if that was short and held nothing else.
    """

    name = "vosk"

    def __init__(
        self,
        model: Any,  # noqa: ANN401  Vosk has no types
        replies: Mapping[str, ReplyWords],
        halts: frozenset[str],
        decoys: Iterable[str] = (),
        *,
        activity: Activity,
    ) -> None:
        """Prepare to hear the wordings of `replies` with a loaded Vosk model.

        Raises HearingError if the model knows no wording of a halt, so that it is of another language.
        """
        self._model = model
        self._halts = halts
        self._activity = activity
        self._wordings: dict[str, str] = {}
        unknown: list[str] = []
        for reply, words in replies.items():
            for wording in (words.word, *words.also):
                spelt = self._spelt(wording)
                if spelt:
                    self._wordings.setdefault(spelt, reply)
                else:
                    unknown.append(wording)
        self.unknown = tuple(unknown)
        """Wordings that the model lacks, so that this ear cannot hear them."""
        if not halts & set(self._wordings.values()):
            raise HearingError(
                "The speech model has no word for any halt, so it is of another language; fetch its own."
            )
        self._decoys = tuple(spelt for decoy in decoys if (spelt := self._spelt(decoy)))
        self._decoys += (GARBAGE,) if self._knows(GARBAGE) else ()
        self._replies = {_close(text): reply for text, reply in self._wordings.items()}
        # First: one or more halts and nothing else. Second: a halt among other words.
        self._halting = re.compile(_any_of(text for text, reply in self._replies.items() if reply in halts) + "+")
        spelt_halts = _any_of(text for text, reply in self._wordings.items() if reply in halts)
        self._holding = re.compile(rf"(?<!\S){spelt_halts}(?!\S)")
        self._open: frozenset[str] = frozenset()
        self._ring: deque[Block] = deque()
        self._held = 0
        self._utterance: _Utterance | None = None

    def open(self, words: frozenset[str]) -> None:
        """From the next utterance on, limit the list to these replies, the halts and the decoys."""
        self._open = words

    @property
    def grammar(self) -> tuple[str, ...]:
        """The word list of an utterance that begins now.

        It always holds a halt, since an empty list would crash the process.
        """
        words = self._open | self._halts
        return (*(text for text, reply in self._wordings.items() if reply in words), *self._decoys)

    def feed(self, captured: Captured) -> list[Hearing]:
        """Take the next stretch; return the words heard in it."""
        now = captured.at + len(captured.clean)
        self._keep(captured.clean)
        if not self._activity.speaking:
            return self._finish(now)
        if self._utterance is None:
            self._utterance = self._begin(now)
            sounds = tuple(self._ring)
        else:
            sounds = (captured.clean,)
        halts = [text for sound in sounds if (text := self._utterance.hear(sound))]
        return [self._hearing(text, IN_PASSING, self._utterance, now) for text in halts]

    def _keep(self, sound: Block) -> None:
        self._ring.append(sound)
        self._held += len(sound)
        while self._held - len(self._ring[0]) >= PRE_ROLL:
            self._held -= len(self._ring.popleft())

    def _begin(self, now: int) -> _Utterance:
        """Begin an utterance with its own recogniser: Vosk aborts if a list is changed after the first sound."""
        from vosk import KaldiRecognizer

        recogniser = KaldiRecognizer(self._model, float(RATE), json.dumps(self.grammar, ensure_ascii=False))
        recogniser.SetWords(True)
        return _Utterance(recogniser, self._halting, now - self._held)

    def _finish(self, now: int) -> list[Hearing]:
        utterance, self._utterance = self._utterance, None
        if utterance is None:
            return []
        self._ring.clear()  # the next utterance must not contain this one
        self._held = 0
        text, score = utterance.end()
        began, ended = self._activity.span
        short = ended - began <= LONGEST
        # A short utterance with a halt and other words still halts, which errs on the safe side.
        halting = self._holding.search(text) if short else self._halting.fullmatch(_close(text))
        text = _close(text)
        if halting:
            text = _close(halting[1])
        elif not short:
            return []
        return [] if utterance.halted or text not in self._replies else [self._hearing(text, score, utterance, now)]

    def _hearing(self, text: str, score: float, utterance: _Utterance, now: int) -> Hearing:
        began, ended = self._activity.span
        began = max(began, utterance.at)
        return Hearing(self.name, "word", self._replies[text], score, began, min(max(began, ended), now), now)

    def _knows(self, text: str) -> bool:
        return all(self._model.vosk_model_find_word(word) >= 0 for word in text.split())

    def _spelt(self, wording: str) -> str:
        """Return `wording` in words that the model knows; an empty string if there are none."""
        words = [word if self._knows(word) else self._in_parts(word) for word in wording.split()]
        return " ".join(words) if all(words) else ""

    def _in_parts(self, word: str) -> str:
        """Return an unknown word as the fewest known words in a row.

        Only in Hangul, where each character is a syllable and a word sounds like its parts.
        """
        if not all("가" <= sign <= "힣" for sign in word):
            return ""
        return next((" ".join(parts) for most in range(2, PARTS + 1) for parts in self._split(word, most)), "")

    def _split(self, word: str, most: int) -> Iterator[tuple[str, ...]]:
        if self._knows(word):
            yield (word,)
        if most > 1:
            for end in range(len(word) - 1, 0, -1):
                if self._knows(word[:end]):
                    yield from ((word[:end], *rest) for rest in self._split(word[end:], most - 1))


@dataclass(slots=True)
class _Utterance:
    """One utterance, from the beginning of a voice."""

    recogniser: Any
    halting: re.Pattern[str]
    """Pattern of texts that halt; its group is a wording."""
    at: int
    """Its first sample, including the pre-roll."""
    halted: bool = False
    """Whether a halt was reported, after which the utterance gives nothing else."""
    waiting: bytes = b""
    heard: tuple[tuple[str, float], ...] = ()
    """Final results of the recogniser so far: text and confidence."""
    seen: str = ""
    looks: int = 0

    def hear(self, sound: Block) -> str:
        """Take more sound; return a halting text once, as soon as it appears."""
        self.waiting += (np.clip(sound, -1.0, 1.0) * 32767).astype("<i2").tobytes()  # Vosk takes bytes only
        halt = ""
        while len(self.waiting) >= 2 * LOOK_EVERY:
            part, self.waiting = self.waiting[: 2 * LOOK_EVERY], self.waiting[2 * LOOK_EVERY :]
            halt = halt or self._look(part)
        return halt

    def _look(self, part: bytes) -> str:
        if self.recogniser.AcceptWaveform(part):
            self._settle(self.recogniser.Result())
            text, self.looks = self.heard[-1][0], LOOKS
        else:
            text = json.loads(self.recogniser.PartialResult()).get("partial", "")
            self.looks = self.looks + 1 if text == self.seen else 1
        self.seen = text
        halt = self.halting.fullmatch(_close(text))
        if halt is None or self.halted or self.looks < LOOKS:
            return ""
        self.halted = True
        return halt[1]

    def end(self) -> tuple[str, float]:
        """Return everything heard and its lowest confidence."""
        if self.waiting and self.recogniser.AcceptWaveform(self.waiting):
            self._settle(self.recogniser.Result())
        self._settle(self.recogniser.FinalResult())
        texts = [(text, score) for text, score in self.heard if text]
        return " ".join(text for text, _ in texts), min((score for _, score in texts), default=0.0)

    def _settle(self, result: str) -> None:
        told = json.loads(result)
        scores = [float(word.get("conf", 0.0)) for word in told.get("result", ())]
        self.heard += ((told.get("text", ""), min(scores, default=0.0)),)


def _any_of(texts: Iterable[str]) -> str:
    """Return a pattern with a group that matches one of `texts`."""
    return f"({'|'.join(map(re.escape, texts))})"


def _close(text: str) -> str:
    """Return `text` without spaces, since models divide words differently."""
    return "".join(text.split())
