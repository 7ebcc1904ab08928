from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import replace
from typing import Any

import numpy as np
import pytest
from heard_rooms import REPLIES, TAUGHT_AT, Voice

from coach.audio.room import VirtualRoom
from coach.ears.enrolment import Enrolment
from coach.ears.room_noise import ROOM_SECONDS
from coach.ears.spoken import PHRASES, ROOM_TRIES, SILENCES, TRIES, LessonStep, MicLevel, enrol_spoken, wanted
from coach.ears.takes import Fault, TakeMaker
from coach.errors import DeviceError
from coach.ports import Block
from coach.tempo.units import to_samples
from coach.words.phrases import Phrase, ReplyWords


class DeadRoom(VirtualRoom):
    """A room whose microphone gives nothing."""

    def read(self, timeout: float = 1.0) -> None:  # noqa: ARG002  as Device has it
        return None


ASKING = {"enrol_word", "enrol_again", "enrol_once_more"}


class Pupil:
    """A person in a virtual room who answers what the coach asks for."""

    def __init__(self, answers: Iterator[Block | None], room_s: float = 2.0) -> None:
        """`room_s`: seconds for which the coach listens to the room, which most lessons here are not about."""
        self.room = VirtualRoom()
        self.room_s = room_s
        self.said: list[str] = []
        self.kept: list[dict[str, int]] = []
        self.steps: list[LessonStep] = []
        self.listened: list[MicLevel] = []
        self._answers = answers

    def say(self, phrase: Phrase) -> Block:
        """Return a beep as the coach's phrase, and let the person answer after it if it asks for something."""
        self.said.append(phrase.key)
        beep: Block = (0.1 * np.sin(np.arange(to_samples(0.3)) * 0.2)).astype(np.float32)
        if phrase.key in ASKING:
            answer = next(self._answers, None)
            if answer is not None:
                self.room.speak(answer, self.room.now + len(beep) + to_samples(0.8))
        return beep

    def learn(self, words: list[str], maker: TakeMaker, start: Enrolment | None = None) -> Enrolment:
        with pytest.MonkeyPatch.context() as patch:
            patch.setattr("coach.ears.spoken.ROOM_SECONDS", self.room_s)
            return enrol_spoken(
                self.room,
                self.say,
                REPLIES,
                dict.fromkeys(words, 3),
                start=start or Enrolment({}),
                keep=self._keep,
                tell=self._tell,
                maker=maker,
            )

    def _keep(self, made: Enrolment) -> None:
        self.kept.append({word: len(takes) for word, takes in made.takes.items()})

    def _tell(self, news: LessonStep | MicLevel) -> None:
        if isinstance(news, LessonStep):
            self.steps.append(news)
        else:
            self.listened.append(news)


@pytest.fixture
def say(voice: Voice) -> Callable[..., Iterator[Block | None]]:
    def answers(*words: str | None) -> Iterator[Block | None]:
        return (voice(word, TAUGHT_AT[n % 3]) if word else None for n, word in enumerate(words))

    return answers


Answers = Callable[..., Iterator[Any]]
"""The pupil's answers: a take each, or None for silence."""


def test_three_good_takes_teach_a_word_and_each_take_is_kept_at_once(maker: TakeMaker, say: Answers) -> None:
    pupil = Pupil(say("stop", "stop", "stop", "yes", "yes", "yes"))

    made = pupil.learn(["stop", "yes"], maker)

    assert {word: len(takes) for word, takes in made.takes.items()} == {"stop": 3, "yes": 3}
    assert pupil.kept[:5] == [{}, {"stop": 1}, {"stop": 2}, {"stop": 3}, {"stop": 3, "yes": 1}]
    assert [(step.word, step.take, step.words_done) for step in pupil.steps][:5] == [
        ("stop", 0, 0), ("stop", 1, 0), ("stop", 2, 0), ("stop", 3, 0), ("yes", 0, 1),
    ]  # fmt: skip
    assert made.source == "microphone"
    assert set(pupil.said) <= set(PHRASES)


def test_another_word_in_between_is_refused_and_asked_for_again(maker: TakeMaker, say: Answers) -> None:
    pupil = Pupil(say("stop", "how many", "stop", "stop"))

    made = pupil.learn(["stop"], maker)

    assert len(made.takes["stop"]) == 3
    assert [step.fault for step in pupil.steps] == [None, None, Fault.UNLIKE, None, None]
    assert "enrol_unlike" in pupil.said


@pytest.mark.parametrize(
    ("fault", "spoil"),
    [
        (Fault.CLIPPED, lambda word: np.clip(word * 200, -1, 1)),
        (Fault.TWO_WORDS, lambda word: np.concatenate([word, np.zeros(to_samples(0.42), np.float32), word])),
        (Fault.LONG, lambda word: np.tile(word, 6)),
    ],
)
def test_a_bad_take_is_refused_and_the_person_is_told_why(
    fault: Fault, spoil: Callable[[Block], Block], maker: TakeMaker, voice: Voice
) -> None:
    bad = spoil(voice("ready"))
    pupil = Pupil(iter([bad, *(voice("ready", rate) for rate in TAUGHT_AT)]))
    if fault is Fault.CLIPPED:
        pupil.room.acoustics = replace(pupil.room.acoustics, patient_db=-3.0)

    pupil.learn(["ready"], maker)

    assert pupil.steps[1].fault is fault
    assert f"enrol_{fault}" in pupil.said


def test_silence_is_asked_again_and_ends_the_lesson_with_what_was_taught(maker: TakeMaker, say: Answers) -> None:
    pupil = Pupil(say("stop", "stop", "stop", *[None] * 9))

    made = pupil.learn(["stop", "yes"], maker)

    assert set(made.takes) == {"stop"}
    assert pupil.said.count("enrol_nothing") == SILENCES - 1
    assert pupil.said[-1] == "enrol_ended"


def test_a_word_whose_takes_are_always_refused_is_skipped(maker: TakeMaker, say: Answers) -> None:
    pupil = Pupil(say("stop", *["how many"] * TRIES, "yes", "yes", "yes"))

    made = pupil.learn(["stop", "yes"], maker)

    assert set(made.takes) == {"yes"}
    assert "enrol_left_out" in pupil.said


def test_good_takes_are_kept_when_the_lesson_is_interrupted(maker: TakeMaker, say: Answers) -> None:
    def interrupted() -> Iterator[Block | None]:
        yield from say("stop", "stop", "stop", "yes")
        raise KeyboardInterrupt

    pupil = Pupil(interrupted())

    with pytest.raises(KeyboardInterrupt):
        pupil.learn(["stop", "yes"], maker)

    assert pupil.kept[-1] == {"stop": 3, "yes": 1}
    assert pupil.room.read() is None, "the device was not let go of"


def test_a_dead_microphone_is_one_sentence(maker: TakeMaker, say: Answers) -> None:
    pupil = Pupil(say())
    pupil.room = DeadRoom()

    with pytest.raises(DeviceError, match="coach devices"):
        pupil.learn(["stop"], maker)


def test_the_room_is_recorded_first_and_kept_as_numbers(maker: TakeMaker, say: Answers) -> None:
    pupil = Pupil(say("stop", "stop", "stop"), ROOM_SECONDS)

    made = pupil.learn(["stop"], maker)

    assert pupil.said[:2] == ["enrol_room", "enrol_welcome"]
    assert made.noise is not None
    assert made.noise.frames.shape[1] == 96
    assert made.noise.frames.size < 20 * 16000 / 10, "too many numbers for none of them to be sound"
    assert abs(made.noise.level - pupil.room.acoustics.noise_db) < 2
    rooms = [news.room for news in pupil.listened if news.room is not None]
    assert rooms[0] < 0.1
    assert 19.9 < rooms[-1] <= 20.0
    assert maker.room_sound is not None
    assert len(maker.room_sound) == 20 * 16000


def test_a_room_in_which_somebody_speaks_is_recorded_again(maker: TakeMaker, voice: Voice) -> None:
    pupil = Pupil(iter(()), ROOM_SECONDS)
    pupil.room.speak(voice("how many"), to_samples(5))

    made = pupil.learn([], maker)

    assert pupil.said == ["enrol_room", "enrol_room_again", "enrol_room_done"]
    assert made.noise is not None


def test_a_room_that_never_gets_quiet_is_skipped(maker: TakeMaker, voice: Voice) -> None:
    pupil = Pupil(iter(()), ROOM_SECONDS)
    for second in range(3, 80, 4):
        pupil.room.speak(voice("how many"), to_samples(second))

    made = pupil.learn([], maker)

    assert pupil.said.count("enrol_room_again") == ROOM_TRIES - 1
    assert "enrol_room_left_out" in pupil.said
    assert made.noise is None


def test_a_skipped_word_keeps_its_takes_of_an_earlier_lesson(
    maker: TakeMaker, say: Answers, enrolment: Enrolment
) -> None:
    pupil = Pupil(say(*["how many"] * TRIES))

    made = pupil.learn(["stop"], maker, enrolment)

    assert made.takes["stop"] == enrolment.takes["stop"]
    assert made.noise is not None


def test_an_interrupted_lesson_continues_where_it_was(enrolment: Enrolment) -> None:
    takes = {"stop": enrolment.takes["stop"], "ready": enrolment.takes["ready"][:1]}

    lesson = wanted(Enrolment(takes), REPLIES)

    assert lesson == {"ready": 2, "yes": 3, "no": 3, "n3": 3, "left": 3}


def test_with_every_word_taught_each_gets_more_takes(enrolment: Enrolment) -> None:
    assert wanted(enrolment, REPLIES) == dict.fromkeys(("stop", "ready", "yes", "no", "n3", "left"), 3)
    assert wanted(enrolment, REPLIES, ("no",)) == {"no": 3}


def test_a_word_whose_wording_has_changed_is_taught_again(enrolment: Enrolment) -> None:
    assert wanted(enrolment, REPLIES | {"left": ReplyWords("how much")}) == {"left": 3}
