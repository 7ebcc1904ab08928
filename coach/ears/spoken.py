"""Teach words by voice: the coach asks for each, the person says it three times.

A take that will not do is refused with its reason and asked for again. What is complete is handed on at once, so that
whoever stops in the middle keeps it and goes on later.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from coach.ears.activity import Activity
from coach.ears.enrolment import RECOMMENDED_TAKES, Enrolment, best_scores
from coach.ears.takes import BadTakeError, Fault, Take, TakeMaker
from coach.errors import DeviceError
from coach.ports import Block, Captured, Device
from coach.tempo.units import to_samples
from coach.words.phrases import Phrase, ReplyWords, phrase

AFTER_PROMPT = to_samples(0.15)
"""Samples after the coach's own words that are not listened to: their echo."""
PATIENCE = to_samples(6.0)
"""Samples of silence after which the word is asked for again."""
SETTLE = to_samples(0.3)
"""Samples kept after the word's end: its last sound fades in the room."""
TRIES = 4
"""Refused takes of one word in a row after which it is left out for now."""
SILENCES = 3
"""Times that nobody answers in a row after which the lesson ends."""
ALIKE = 0.6
"""Score that a take must reach with the earlier takes of its word; below, another word was said."""

PHRASES = (
    "enrol_welcome", "enrol_word", "enrol_again", "enrol_once_more", "enrol_nothing", "enrol_left_out", "enrol_ended",
    "enrol_done", *(f"enrol_{fault}" for fault in Fault),
)  # fmt: skip
"""Keys of everything said here; enrol_word takes {word}, the others nothing."""


@dataclass(frozen=True, slots=True)
class Step:
    """How far the lesson is."""

    word: str
    """Reply id that is being taught."""
    take: int
    """Takes of it that are good."""
    of: int
    """Takes wanted."""
    words_done: int
    words: int
    fault: Fault | None = None
    """Why the last take was refused."""


def enrol_spoken(
    device: Device,
    say: Callable[[Phrase], Block],
    replies: Mapping[str, ReplyWords],
    words: Sequence[str],
    *,
    start: Enrolment,
    keep: Callable[[Enrolment], None],
    tell: Callable[[Step], None] = lambda _: None,
    takes: int = RECOMMENDED_TAKES,
    maker: TakeMaker | None = None,
) -> Enrolment:
    """Ask for `takes` takes of each of `words` and return `start` with them in it.

    `say` gives the clip of a phrase (see PHRASES). `keep` is called with each new state as soon as a word is complete,
    so that an interrupt (KeyboardInterrupt passes through) loses one word at most. Ends early if nobody answers.
    Raises DeviceError if the device gives no sound.
    """
    lesson = _Lesson(device, say, maker or TakeMaker())
    device.open(lesson.render)
    try:
        lesson.speak(phrase("enrol_welcome"))
        for number, word in enumerate(words):
            asked = phrase("enrol_word", word=replies[word].word)
            made = lesson.word(asked, start, Step(word, 0, takes, number, len(words)), tell)
            if made is None:
                lesson.speak(phrase("enrol_ended"))
                return start
            if not made:
                lesson.speak(phrase("enrol_left_out"))
                continue
            start = replace(
                start,
                takes={**start.takes, word: made},
                wordings={**start.wordings, word: replies[word].word},
                source="microphone",
            )
            keep(start)
        lesson.speak(phrase("enrol_done"))
        return start
    finally:
        device.close()


class _Lesson:
    """The device during a lesson: plays one clip at a time, records one word at a time."""

    def __init__(self, device: Device, say: Callable[[Phrase], Block], maker: TakeMaker) -> None:
        self._device = device
        self._say = say
        self._maker = maker
        self._clip = (0, np.zeros(0, np.float32))  # replaced whole: the device's thread reads it
        self._now = 0

    def render(self, at: int, frames: int) -> Block:
        """Return what is to be played in the frames from `at` on."""
        begin, clip = self._clip
        block = np.zeros(frames, np.float32)
        low, high = max(at, begin), min(at + frames, begin + len(clip))
        if low < high:
            block[low - at : high - at] = clip[low - begin : high - begin]
        return block

    def speak(self, said: Phrase) -> None:
        """Play a phrase to its end."""
        self._play(said)
        until = self._clip[0] + len(self._clip[1]) + AFTER_PROMPT
        while self._now < until:
            self._next()

    def word(
        self, asked: Phrase, known: Enrolment, step: Step, tell: Callable[[Step], None]
    ) -> tuple[Take, ...] | None:
        """Return the takes of one word, none if they would not do, or None if nobody answers."""
        made: list[Take] = []
        others = {other: takes for other, takes in known.takes.items() if other != step.word}
        refused = silent = 0
        self.speak(asked)
        while len(made) < step.of:
            sound = self._record()
            fault: Fault | None = None
            if sound is None:
                silent += 1
                if silent == SILENCES:
                    return None
                self.speak(phrase("enrol_nothing"))
                self.speak(asked)
                continue
            silent = 0
            try:
                take = self._maker.take_from(sound)
                _must_be_alike(step.word, take, made, others)
                made.append(take)
                refused = 0
            except BadTakeError as error:
                fault = error.fault
                refused += 1
            tell(replace(step, take=len(made), fault=fault))
            if refused == TRIES:
                return ()
            if fault is not None:
                self.speak(phrase(f"enrol_{fault}"))
                self.speak(asked)
            elif len(made) < step.of:
                self.speak(phrase("enrol_again" if len(made) == 1 else "enrol_once_more"))
        return tuple(made)

    def _record(self) -> Block | None:
        """Return the sound from now to just after somebody has spoken, or None if nobody does."""
        activity = Activity()
        kept: list[Block] = []
        begin = self._now
        end: int | None = None
        while end is None or self._now < end:
            captured_at = self._now
            block = self._next()
            kept.append(block.mic)
            for hearing in activity.feed(block):
                if hearing.kind == "voice_ended":
                    end = hearing.ended + SETTLE
            if end is None and not activity.speaking and captured_at - begin > PATIENCE:
                return None
            if captured_at - begin > 2 * PATIENCE:  # a voice that never ends: a radio
                break
        return np.concatenate(kept)

    def _play(self, said: Phrase) -> None:
        clip = self._say(said)
        self._clip = (self._now + to_samples(0.1), clip)

    def _next(self) -> Captured:
        captured = self._device.read()
        if captured is None:
            raise DeviceError("The microphone gives no sound; check its cable, or see: coach devices")
        self._now = captured.at + len(captured.mic)
        return captured


def _must_be_alike(word: str, take: Take, made: Sequence[Take], others: Mapping[str, Sequence[Take]]) -> None:
    """Raise BadTakeError if `take` is not like the word's earlier takes, or more like another word."""
    if not made:
        return
    scores = best_scores(take, {**others, word: made})
    if scores[word] < ALIKE or scores[word] < max(scores.values()):
        raise BadTakeError(Fault.UNLIKE)
