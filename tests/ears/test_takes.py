from __future__ import annotations

import numpy as np
import pytest
from heard_rooms import Voice, room

from coach.ears.spectrum import ROW
from coach.ears.takes import AFTERWARDS, LONGEST_ROWS, BadTakeError, Fault, TakeMaker
from coach.ports import Block
from coach.tempo.units import to_samples


def fault_of(maker: TakeMaker, sound: Block) -> Fault:
    with pytest.raises(BadTakeError) as refused:
        maker.take_from(sound)
    assert str(refused.value).endswith(".")
    return refused.value.fault


def test_a_word_in_a_recording_becomes_numbers(maker: TakeMaker, voice: Voice) -> None:
    word = voice("stop")

    take = maker.take_from(room(3, (1.0, word)))

    assert take.frames.shape == (len(take.ends), 96)
    assert take.frames.dtype == np.float32
    assert abs(take.length - len(word)) < to_samples(0.12)
    assert take.ends[0] > 0
    assert (np.diff(take.ends) == to_samples(0.08)).all()


def test_the_spectra_of_a_take_are_those_of_its_word_and_end_in_silence(maker: TakeMaker, voice: Voice) -> None:
    take = maker.take_from(room(3, (1.0, voice("stop"))))

    assert len(take.rows) == -(-take.length // ROW) + AFTERWARDS <= LONGEST_ROWS
    levels = take.rows.max(axis=1)
    assert levels[:-AFTERWARDS].min() > levels[-1] + 10.0
    assert levels[0] > -70.0


def test_a_word_cut_close_gives_nearly_the_same_take(maker: TakeMaker, voice: Voice) -> None:
    loose, tight = maker.take_from(room(3, (1.0, voice("ready")))), maker.take_from(voice("ready"))

    assert abs(loose.length - tight.length) < to_samples(0.1)


@pytest.mark.parametrize("sound", [np.zeros(0, np.float32), np.zeros(16000, np.float32), room(2), room(2, noise=-30)])
def test_nothing_said_is_refused(maker: TakeMaker, sound: Block) -> None:
    assert fault_of(maker, sound) == Fault.EMPTY


def test_a_word_that_is_too_quiet_is_refused(maker: TakeMaker, voice: Voice) -> None:
    assert fault_of(maker, room(3, (1.0, voice("stop") * 0.004), noise=-80)) in {Fault.QUIET, Fault.EMPTY}
    assert fault_of(maker, voice("ready") * 0.01) == Fault.QUIET


def test_a_distorted_word_is_refused(maker: TakeMaker, voice: Voice) -> None:
    assert fault_of(maker, np.clip(voice("ready") * 30, -1, 1)) == Fault.CLIPPED


def test_two_words_are_refused(maker: TakeMaker, voice: Voice) -> None:
    assert fault_of(maker, room(4, (1.0, voice("yes")), (2.0, voice("ready")))) == Fault.TWO_WORDS


def test_a_sentence_is_refused(maker: TakeMaker, other_speech: Block) -> None:
    assert fault_of(maker, other_speech[: to_samples(3)]) in {Fault.LONG, Fault.TWO_WORDS}
