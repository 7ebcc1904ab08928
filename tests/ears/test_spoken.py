from __future__ import annotations

from collections.abc import Callable, Iterator

import numpy as np
import pytest
from heard_rooms import REPLIES, TAUGHT_AT, Voice

from coach.audio.room import VirtualRoom
from coach.ears.enrolment import Enrolment
from coach.ears.spoken import PHRASES, SILENCES, TRIES, Step, enrol_spoken
from coach.ears.takes import Fault, TakeMaker
from coach.errors import DeviceError
from coach.ports import Block
from coach.tempo.units import to_samples
from coach.words.phrases import Phrase


class DeadRoom(VirtualRoom):
    """A room whose microphone gives nothing."""

    def read(self, timeout: float = 1.0) -> None:  # noqa: ARG002  a Device has it
        return None


ASKING = {"enrol_word", "enrol_again", "enrol_once_more"}


class Pupil:
    """A person in a virtual room who answers what the coach asks for."""

    def __init__(self, answers: Iterator[Block | None]) -> None:
        self.room = VirtualRoom()
        self.said: list[str] = []
        self.kept: list[set[str]] = []
        self.steps: list[Step] = []
        self._answers = answers

    def say(self, phrase: Phrase) -> Block:
        """Give a beep for what the coach says, and let the person answer after it if they are asked something."""
        self.said.append(phrase.key)
        beep: Block = (0.1 * np.sin(np.arange(to_samples(0.3)) * 0.2)).astype(np.float32)
        if phrase.key in ASKING:
            answer = next(self._answers, None)
            if answer is not None:
                self.room.speak(answer, self.room.now + len(beep) + to_samples(0.8))
        return beep

    def learn(self, words: list[str], maker: TakeMaker, start: Enrolment | None = None) -> Enrolment:
        return enrol_spoken(
            self.room,
            self.say,
            REPLIES,
            words,
            start=start or Enrolment({}),
            keep=lambda made: self.kept.append(set(made.takes)),
            tell=self.steps.append,
            maker=maker,
        )


@pytest.fixture
def say(voice: Voice) -> Callable[..., Iterator[Block | None]]:
    def answers(*words: str | None) -> Iterator[Block | None]:
        return (voice(word, TAUGHT_AT[n % 3]) if word else None for n, word in enumerate(words))

    return answers


Answers = Callable[..., Iterator[Block | None]]


def test_three_good_takes_teach_a_word_and_each_word_is_kept_at_once(maker: TakeMaker, say: Answers) -> None:
    pupil = Pupil(say("stop", "stop", "stop", "yes", "yes", "yes"))

    made = pupil.learn(["stop", "yes"], maker)

    assert {word: len(takes) for word, takes in made.takes.items()} == {"stop": 3, "yes": 3}
    assert pupil.kept == [{"stop"}, {"stop", "yes"}]
    assert [(step.word, step.take, step.words_done) for step in pupil.steps][:4] == [
        ("stop", 1, 0), ("stop", 2, 0), ("stop", 3, 0), ("yes", 1, 1),
    ]  # fmt: skip
    assert made.source == "microphone"
    assert set(pupil.said) <= set(PHRASES)


def test_another_word_in_between_is_refused_and_asked_for_again(maker: TakeMaker, say: Answers) -> None:
    pupil = Pupil(say("stop", "how many", "stop", "stop"))

    made = pupil.learn(["stop"], maker)

    assert len(made.takes["stop"]) == 3
    assert [step.fault for step in pupil.steps] == [None, Fault.UNLIKE, None, None]
    assert "enrol_unlike" in pupil.said


def test_silence_is_asked_again_and_ends_the_lesson_with_what_was_taught(maker: TakeMaker, say: Answers) -> None:
    pupil = Pupil(say("stop", "stop", "stop", *[None] * 9))

    made = pupil.learn(["stop", "yes"], maker)

    assert set(made.takes) == {"stop"}
    assert pupil.said.count("enrol_nothing") == SILENCES - 1
    assert pupil.said[-1] == "enrol_ended"


def test_a_word_that_never_comes_right_is_left_out(maker: TakeMaker, say: Answers) -> None:
    pupil = Pupil(say("stop", *["how many"] * TRIES, "yes", "yes", "yes"))

    made = pupil.learn(["stop", "yes"], maker)

    assert set(made.takes) == {"yes"}
    assert "enrol_left_out" in pupil.said


def test_what_was_complete_is_kept_when_the_lesson_is_interrupted(maker: TakeMaker, say: Answers) -> None:
    def interrupted() -> Iterator[Block | None]:
        yield from say("stop", "stop", "stop", "yes")
        raise KeyboardInterrupt

    pupil = Pupil(interrupted())

    with pytest.raises(KeyboardInterrupt):
        pupil.learn(["stop", "yes"], maker)

    assert pupil.kept == [{"stop"}]
    assert pupil.room.read() is None, "the device was not let go of"


def test_a_dead_microphone_is_one_sentence(maker: TakeMaker, say: Answers) -> None:
    pupil = Pupil(say())
    pupil.room = DeadRoom()

    with pytest.raises(DeviceError, match="coach devices"):
        pupil.learn(["stop"], maker)
