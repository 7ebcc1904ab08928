from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from heard_rooms import REPLIES, TAUGHT_AT, Voice
from sound_files import write_sound

from coach.audio.wavs import read_sound
from coach.ears.takes import TakeMaker
from coach.ears.teaching import check_words, enrol_folder, enrol_synthetic
from coach.errors import HearingError
from coach.ports import Block


def silence(_: Path) -> Block:
    return np.zeros(16000, np.float32)


@pytest.fixture
def takes(tmp_path: Path, voice: Voice) -> Path:
    """Two good takes each of two words, one named by its reply id, one by its wording."""
    for number, rate in enumerate(TAUGHT_AT[:2]):
        write_sound(tmp_path / f"stop_0{number}.wav", voice("stop", rate))
        write_sound(tmp_path / f"How-many_{number}.wav", voice("how many", rate))
    return tmp_path


def test_files_may_be_named_by_reply_id_or_wording(takes: Path, maker: TakeMaker) -> None:
    taught = enrol_folder(takes, REPLIES, read_sound, maker=maker)

    assert {word: len(made) for word, made in taught.enrolment.takes.items()} == {"stop": 2, "left": 2}
    assert taught.enrolment.wordings["left"] == "how many"
    assert taught.refused == ()


def test_only_the_words_asked_for_are_taken(takes: Path, maker: TakeMaker) -> None:
    taught = enrol_folder(takes, REPLIES, read_sound, words=["stop"], maker=maker)

    assert list(taught.enrolment.takes) == ["stop"]


def test_a_misnamed_file_names_the_near_word_and_nothing_is_taught(takes: Path, maker: TakeMaker) -> None:
    write_sound(takes / "redy_01.wav", np.zeros(100, np.float32))

    with pytest.raises(HearingError, match=r'redy_01\.wav: "redy" is no reply; did you mean "ready"\?'):
        enrol_folder(takes, REPLIES, read_sound, maker=maker)


def test_a_bad_take_is_refused_with_its_reason_and_the_rest_is_used(takes: Path, maker: TakeMaker) -> None:
    write_sound(takes / "yes_01.wav", np.zeros(16000, np.float32))

    taught = enrol_folder(takes, REPLIES, read_sound, maker=maker)

    assert [(each.name, "no word" in each.because) for each in taught.refused] == [("yes_01.wav", True)]
    assert "yes" not in taught.enrolment.takes


def test_a_take_of_another_word_under_a_wrong_name_is_refused(tmp_path: Path, voice: Voice, maker: TakeMaker) -> None:
    for number, rate in enumerate(TAUGHT_AT):
        write_sound(tmp_path / f"stop_0{number}.wav", voice("stop", rate))
        write_sound(tmp_path / f"yes_0{number}.wav", voice("yes" if number else "stop", rate))

    taught = enrol_folder(tmp_path, REPLIES, read_sound, maker=maker)

    assert [each.name for each in taught.refused] == ["yes_00.wav"]
    assert len(taught.enrolment.takes["yes"]) == 2


def test_a_folder_of_silence_teaches_nothing_and_says_why(tmp_path: Path, maker: TakeMaker) -> None:
    (tmp_path / "stop_01.wav").touch()

    with pytest.raises(HearingError, match=r"No take in .* is usable \(stop_01.wav: no word is in it"):
        enrol_folder(tmp_path, REPLIES, silence, maker=maker)


def test_an_empty_or_missing_folder_says_what_to_put_there(tmp_path: Path, maker: TakeMaker) -> None:
    for folder in (tmp_path, tmp_path / "none"):
        with pytest.raises(HearingError, match=r"such as stop_01\.wav"):
            enrol_folder(folder, REPLIES, read_sound, maker=maker)


def test_words_may_be_named_by_id_or_wording() -> None:
    assert check_words(["left", "how many", "Three"], REPLIES) == ("left", "left", "n3")
    with pytest.raises(HearingError, match='"stopp" is no reply; did you mean "stop"'):
        check_words(["stopp"], REPLIES)


def test_synthesised_words_say_where_they_come_from(maker: TakeMaker, voice: Voice) -> None:
    taught = enrol_synthetic(lambda word, _: voice(word), REPLIES, words=["stop"], count=1, maker=maker)

    assert (taught.enrolment.source, list(taught.enrolment.takes)) == ("synthesised", ["stop"])
