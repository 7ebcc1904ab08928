"""Teach words by voice: the coach listens to the room, asks for each word, and the person says it three times.

A bad take is refused with the reason, and asked for again. Each good take is passed on at once, so a lesson that stops
in the middle can go on later.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from coach.ears.activity import Activity, decibels
from coach.ears.enrolment import NEEDED_WORDS, RECOMMENDED_TAKES, Enrolment
from coach.ears.features import Embedder
from coach.ears.room_noise import ROOM_SECONDS, room_noise
from coach.ears.takes import BadTakeError, Fault, Take, TakeMaker
from coach.ears.teaching import known_takes, with_takes
from coach.ears.word_report import best_scores
from coach.errors import DeviceError
from coach.ports import Block, Captured, Device
from coach.tempo.units import RATE, to_samples, to_seconds
from coach.words.phrases import Phrase, ReplyWords, phrase

AFTER_PROMPT = to_samples(0.15)
"""Samples after the coach's words that are ignored, because of the echo."""
TAKE_PATIENCE = to_samples(6.0)
"""Samples of silence after which the word is asked for again."""
SETTLE = to_samples(0.3)
"""Samples kept after the word's end, since its last sound fades in the room."""
TRIES = 4
"""Refused takes in a row after which a word is skipped for now."""
SILENCES = 3
"""Unanswered requests in a row after which the lesson ends."""
ROOM_TRIES = 3
"""Attempts to record the room without a voice, after which the lesson goes on without it."""
ALIKE = 0.6
"""Score that a take must reach with the earlier takes of its word; below it, another word was said."""

PHRASES = (
    "enrol_welcome", "enrol_room", "enrol_room_again", "enrol_room_left_out", "enrol_room_done", "enrol_word",
    "enrol_again", "enrol_once_more", "enrol_nothing", "enrol_left_out", "enrol_ended", "enrol_done",
    *(f"enrol_{fault}" for fault in Fault),
)  # fmt: skip
"""Keys of all phrases of a lesson; enrol_word takes {word}, the others no value."""


@dataclass(frozen=True, slots=True)
class LessonStep:
    """Progress of the lesson, sent when a word begins and after each take."""

    word: str
    """Reply id that is being taught."""
    take: int
    """Good takes of it, including those of earlier lessons."""
    of: int
    """Takes wanted, including those of earlier lessons."""
    words_done: int
    words: int
    fault: Fault | None = None
    """Why the last take was refused."""


@dataclass(frozen=True, slots=True)
class MicLevel:
    """The current level of the microphone."""

    level: float
    """Level of the last stretch in dBFS."""
    room: float | None = None
    """Seconds of the room recorded so far, of ROOM_SECONDS; None while a word is awaited."""


def wanted(start: Enrolment, replies: Mapping[str, ReplyWords], words: Sequence[str] = ()) -> dict[str, int]:
    """Return reply id to the number of new takes, in the order of the lesson; `words` limits the lesson to these.

    Without `words`, only incomplete words are asked for, so an interrupted lesson continues. If all are complete, each
    gets RECOMMENDED_TAKES more.
    """
    ordered = list(dict.fromkeys(words or [*(word for word in NEEDED_WORDS if word in replies), *replies]))
    lacking = {word: RECOMMENDED_TAKES - len(known_takes(start, replies, word)) for word in ordered}
    if not words and any(lack > 0 for lack in lacking.values()):
        return {word: lack for word, lack in lacking.items() if lack > 0}
    return {word: lack if lack > 0 else RECOMMENDED_TAKES for word, lack in lacking.items()}


def enrol_spoken(
    device: Device,
    say: Callable[[Phrase], Block],
    replies: Mapping[str, ReplyWords],
    words: Mapping[str, int],
    *,
    start: Enrolment,
    keep: Callable[[Enrolment], None],
    tell: Callable[[LessonStep | MicLevel], None] = lambda _: None,
    maker: TakeMaker | None = None,
) -> Enrolment:
    """Record the room, ask for the takes of `words` (see `wanted`), and return `start` with the new takes and the room.

    `say` gives the clip of a phrase (see PHRASES). `keep` is called with the new state after each good take, so that an
    interrupt (KeyboardInterrupt passes through) loses no good take. The lesson ends early if nobody answers.
    Raises DeviceError if the device gives no sound.
    """
    lesson = _Lesson(device, say, start, keep, tell, maker or TakeMaker())
    device.open(lesson.render)
    try:
        lesson.room()
        if words:
            lesson.speak(phrase("enrol_welcome"))
        for number, (word, more) in enumerate(words.items()):
            known = len(known_takes(lesson.state, replies, word))
            if not lesson.word(replies, LessonStep(word, known, known + more, number, len(words))):
                lesson.speak(phrase("enrol_ended"))
                return lesson.state
        lesson.speak(phrase("enrol_done" if words else "enrol_room_done"))
        return lesson.state
    finally:
        device.close()


class _Lesson:
    """The device during a lesson: plays one clip at a time, records one word at a time."""

    def __init__(
        self,
        device: Device,
        say: Callable[[Phrase], Block],
        start: Enrolment,
        keep: Callable[[Enrolment], None],
        tell: Callable[[LessonStep | MicLevel], None],
        maker: TakeMaker,
    ) -> None:
        self._device = device
        self._say = say
        self.state = start
        """The enrolment so far."""
        self._keep_state = keep
        self._tell = tell
        self._maker = maker
        self._clip = (0, np.zeros(0, np.float32))  # replaced as a whole, since the device's thread reads it
        self._now = 0

    def render(self, at: int, frames: int) -> Block:
        """Return the sound to play in the frames from `at`."""
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

    def room(self) -> None:
        """Record the room, again if somebody speaks, and keep its noise as numbers."""
        for attempt in range(ROOM_TRIES):
            self.speak(phrase("enrol_room_again" if attempt else "enrol_room"))
            sound = self._quiet()
            if sound is not None:
                self._maker.room_sound = sound
                self._keep(replace(self.state, noise=room_noise(sound, Embedder()), verdict=""))
                return
        self._keep(replace(self.state, noise=None, verdict=""))
        self.speak(phrase("enrol_room_left_out"))

    def word(self, replies: Mapping[str, ReplyWords], step: LessonStep) -> bool:
        """Ask for the takes of one word and keep each good one; return whether anybody answers."""
        before = self.state
        asked = phrase("enrol_word", word=replies[step.word].word)
        known = known_takes(before, replies, step.word)
        others = {other: takes for other, takes in before.takes.items() if other != step.word}
        made: list[Take] = []
        refused = silent = 0
        self._tell(step)
        self.speak(asked)
        while len(known) + len(made) < step.of:
            sound = self._record()
            if sound is None:
                silent += 1
                if silent == SILENCES:
                    return False
                self.speak(phrase("enrol_nothing"))
                self.speak(asked)
                continue
            silent = 0
            fault: Fault | None = None
            try:
                take = self._maker.take_from(sound)
                _must_be_alike(step.word, take, [*known, *made], others)
                made.append(take)
                self._keep(with_takes(before, {step.word: made}, replies, "microphone"))
                refused = 0
            except BadTakeError as error:
                fault = error.fault
                refused += 1
            self._tell(replace(step, take=len(known) + len(made), fault=fault))
            if refused == TRIES:
                self._leave_out(step.word)
                return True
            if fault is not None:
                self.speak(phrase(f"enrol_{fault}"))
                self.speak(asked)
            elif len(known) + len(made) < step.of:
                self.speak(phrase("enrol_again" if len(made) == 1 else "enrol_once_more"))
        return True

    def _leave_out(self, word: str) -> None:
        """Skip a word whose takes are always refused; drop its new takes, as any of them may be wrong."""
        if len(self.state.takes.get(word, ())) < RECOMMENDED_TAKES:
            rest = {other: own for other, own in self.state.takes.items() if other != word}
            self._keep(replace(self.state, takes=rest, learnt=None))
        self.speak(phrase("enrol_left_out"))

    def _keep(self, state: Enrolment) -> None:
        self.state = state
        self._keep_state(state)

    def _quiet(self) -> Block | None:
        """Return a length of the room's sound, or None as soon as somebody speaks."""
        activity = Activity()
        kept: list[Block] = []
        begin = self._now
        while (listened := to_seconds(self._now - begin, RATE)) < ROOM_SECONDS:
            block = self._next()
            kept.append(block.mic)
            self._tell(MicLevel(decibels(block.mic), listened))
            if any(hearing.kind == "voice_began" for hearing in activity.feed(block)):
                return None
        return np.concatenate(kept)

    def _record(self) -> Block | None:
        """Return the sound from now to just after a voice, or None if nobody speaks."""
        activity = Activity()
        kept: list[Block] = []
        begin = self._now
        end: int | None = None
        while end is None or self._now < end:
            captured_at = self._now
            block = self._next()
            kept.append(block.mic)
            self._tell(MicLevel(decibels(block.mic)))
            for hearing in activity.feed(block):
                if hearing.kind == "voice_ended":
                    end = hearing.ended + SETTLE
            if end is None and not activity.speaking and captured_at - begin > TAKE_PATIENCE:
                return None
            if captured_at - begin > 2 * TAKE_PATIENCE:  # a voice without an end, such as a radio
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
    """Raise BadTakeError if `take` is unlike the word's earlier takes, or more like another word."""
    if not made:
        return
    scores = best_scores(take, {**others, word: made})
    if scores[word] < ALIKE or scores[word] < max(scores.values()):
        raise BadTakeError(Fault.UNLIKE)
