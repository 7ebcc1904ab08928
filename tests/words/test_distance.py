# ruff: noqa: RUF001  # phonetic signs look like letters

from __future__ import annotations

import sys

import pytest
from hypothesis import given
from hypothesis import strategies as st

from coach.cli.words import careful, sentences
from coach.voice.pack import load_pack
from coach.voice.phonemes import phonemes
from coach.words.distance import (
    CONSONANTS,
    STRETCH_TOO_CLOSE,
    TOO_CLOSE,
    VOWELS,
    WORD_BREAK,
    closest_pairs,
    closest_stretches,
    distance,
    nearest_stretch,
    sounds,
)

SPOKEN = st.text(st.sampled_from([*VOWELS, *CONSONANTS]), min_size=1, max_size=8)

EXCEPTIONS = {
    "en": {
        (
            "end session",
            "seven",
        ): "a word of three syllables: in three synthesised voices they score 0.45, 0.75 is heard",
        ("five", "nine"): "numbers keep their names; a number is read back",
    },
}
"""Pairs of taught words that are closer than `TOO_CLOSE`, and the reason why each stays."""


@given(SPOKEN, SPOKEN)
def test_a_distance_is_the_same_both_ways_and_zero_to_itself(one: str, other: str) -> None:
    assert distance(one, other) == pytest.approx(distance(other, one))
    assert distance(one, one) == 0
    assert 0 <= distance(one, other) <= 1
    assert one == other or distance(one, other) > 0


@given(SPOKEN, SPOKEN, SPOKEN)
def test_a_word_is_found_anywhere_in_a_sentence(before: str, word: str, after: str) -> None:
    assert nearest_stretch(word, before + word + after) == pytest.approx(0)
    assert nearest_stretch(word, before + word + after) <= distance(word, before + word + after) + 1e-9


@pytest.mark.parametrize(
    ("word", "near", "far"),
    [
        ("pɪn", "bɪn", "wɪn"),  # voice alone; place and manner
        ("pɪn", "pɛn", "puːn"),  # a little lower; at the back
        ("stɑp", "tɑp", "ɹɛdi"),
        ("peɪn", "eɪt", "stɑp"),
    ],
)
def test_what_sounds_nearer_is_nearer(word: str, near: str, far: str) -> None:
    assert distance(word, near) < distance(word, far)


def test_stress_and_length_are_ignored_and_a_wording_without_sounds_is_like_none() -> None:
    assert sounds("stˈɑːp") == ("s", "t", "ɑ", "p")
    assert distance("stˈɑːp", "stɑp") == 0
    assert distance("", "stɑp") == nearest_stretch("stɑp", "") == nearest_stretch("", "stɑp") == 1


def test_a_word_is_not_heard_across_a_pause() -> None:
    assert nearest_stretch("stɑp", f"bɛst {WORD_BREAK} ɑp") > nearest_stretch("stɑp", "bɛst ɑp") == 0


on_linux = pytest.mark.skipif(sys.platform != "linux", reason="only the library on Linux tells phonemes")


@on_linux
@pytest.mark.parametrize("language", EXCEPTIONS)
def test_no_two_replies_sound_alike_except_those_with_a_reason(language: str) -> None:
    pack = load_pack(language)
    words = [reply.word for reply in pack.replies.values()]
    pairs = closest_pairs(phonemes(pack.speech.voice, words), words)

    near = {tuple(sorted((one, other))) for away, one, other in pairs if away < TOO_CLOSE}

    assert near == set(EXCEPTIONS[language])


@on_linux
@pytest.mark.parametrize("language", EXCEPTIONS)
def test_no_sentence_of_the_coach_comes_near_a_halt_or_says_ready_by_accident(language: str) -> None:
    pack = load_pack(language)
    said = sentences(pack)
    known = phonemes(pack.speech.voice, [*careful(pack), *said])

    near = {
        (word, text)
        for word in careful(pack)
        for away, text in closest_stretches(word, known, said)
        if away < STRETCH_TOO_CLOSE and word not in text.casefold()
    }

    assert near == set()
    assert not [text for text in said if pack.replies["stop"].word in text.casefold().split()]


@on_linux
def test_the_pairs_that_ears_confuse_are_the_ones_that_are_too_close() -> None:
    pairs = [("pause", "four"), ("five", "nine"), ("pain", "eight"), ("stop", "top"), ("stop", "shop")]
    known = phonemes("en-us", [word for pair in pairs for word in pair])

    assert all(distance(known[one], known[other]) < TOO_CLOSE for one, other in pairs)


@on_linux
def test_an_unknown_voice_is_told_in_one_sentence() -> None:
    from coach.errors import SpeechError

    with pytest.raises(SpeechError, match=r'"xx" is pronounced; check the voice in speech\.yaml'):
        phonemes("xx", ["stop"])


def test_the_english_coach_names_the_words_that_were_taught() -> None:
    pack = load_pack("en")
    asked = pack.phrases["halt_why"]

    assert all(pack.replies[reply].word in asked for reply in ("pain", "tired", "unsteady", "break"))
