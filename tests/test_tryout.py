"""One word each way: what the check before a session finds, in real sound."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from in_the_room import Furnished

from coach.audio.room import Acoustics, VirtualRoom
from coach.ears.activity import Activity
from coach.ears.front import Ears
from coach.ears.keys import Keys
from coach.errors import DeviceError
from coach.ports import Block, Captured
from coach.tempo.units import to_samples
from coach.tryout import ANSWER_PATIENCE, BEFORE, Tried, try_out


@pytest.fixture(scope="module")
def hello(furnished: Furnished) -> Block:
    """What the coach says; from the clips that the shared home has already."""
    said = [furnished.said[name] for name in ("no", "yes", "finish", "pause", "unsteady", "left")]
    return np.concatenate([*said, *said])


def room_in_which(acoustics: Acoustics, clip: Block, answer: Block | None) -> VirtualRoom:
    made = VirtualRoom(acoustics=acoustics)
    if answer is not None:
        made.speak(answer, BEFORE + len(clip) + to_samples(0.8))
    return made


def nobody_taught() -> Ears:
    return Ears([Activity(), Keys()])


def test_a_taught_word_is_understood_and_the_coach_is_heard(furnished: Furnished, hello: Block) -> None:
    told: list[Tried] = []
    tried = try_out(room_in_which(Acoustics(), hello, furnished.said["ready"]), hello, furnished.ears(), told.append)

    assert (tried.alive, tried.echo, tried.voice, tried.word) == (True, True, True, "ready")
    assert not told[0].spoken
    assert tried.spoken
    assert max(one.level for one in told) > 0.3


def test_without_taught_words_a_voice_is_heard_and_nothing_understood(furnished: Furnished, hello: Block) -> None:
    tried = try_out(room_in_which(Acoustics(), hello, furnished.said["ready"]), hello, nobody_taught(), lambda _: None)

    assert (tried.voice, tried.word) == (True, "")


def test_the_coachs_own_words_are_not_taken_for_a_voice(furnished: Furnished, hello: Block) -> None:
    device = room_in_which(Acoustics(), hello, None)
    tried = try_out(device, hello, furnished.ears(), lambda _: None)

    assert (tried.voice, tried.word, tried.echo) == (False, "", True)
    assert device.now >= BEFORE + len(hello) + ANSWER_PATIENCE, "somebody slow would not have been waited for"


def test_a_speaker_that_is_off_shows(furnished: Furnished, hello: Block) -> None:
    silent = replace(Acoustics(), echo_db=float("-inf"))
    tried = try_out(room_in_which(silent, hello, furnished.said["ready"]), hello, nobody_taught(), lambda _: None)

    assert (tried.alive, tried.echo, tried.voice) == (True, False, True)


def test_a_microphone_that_gives_perfect_silence_is_not_alive(hello: Block) -> None:
    class Dead(VirtualRoom):
        def read(self, timeout: float = 1.0) -> Captured | None:
            got = super().read(timeout)
            return replace(got, mic=np.zeros_like(got.mic), clean=np.zeros_like(got.clean)) if got else None

    tried = try_out(Dead(), hello, nobody_taught(), lambda _: None)

    assert (tried.alive, tried.voice) == (False, False)


def test_a_device_that_gives_nothing_ends_the_check(hello: Block) -> None:
    class Still(VirtualRoom):
        def read(self, timeout: float = 1.0) -> Captured | None:  # noqa: ARG002  a Device has it
            return None

    assert try_out(Still(), hello, nobody_taught(), lambda _: None) == Tried()


def test_the_device_is_always_released(hello: Block) -> None:
    class Gone(VirtualRoom):
        closed = 0

        def read(self, timeout: float = 1.0) -> Captured | None:  # noqa: ARG002  a Device has it
            raise DeviceError("It is gone.")

        def close(self) -> None:
            self.closed += 1

    device = Gone()
    with pytest.raises(DeviceError):
        try_out(device, hello, nobody_taught(), lambda _: None)

    assert device.closed == 1
