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


# -- the features, as the chart of the International Phonetic Association has them (revised to 2020) --

HEIGHTS = ("iyɨʉɯu", "ɪᵻʏʊ", "eøɘɵɤo", "əɚ", "ɛœɜɝɞʌɔ", "æɐ", "aɶɑɒ")
"""The vowels of the chart's seven rows, from close to open; hooked ones beside the plain ones."""
PLACES_OF_VOWELS = {0: "iyeøɛœæɶ", 0.3: "ɪʏ", 0.5: "a", 0.7: "ᵻ", 1: "ɨʉɘɵəɚɜɝɞɐ", 1.7: "ʊ", 2: "ɯuɤoʌɔɑɒ"}
"""From front (0) over central (1) to back (2)."""
ROUNDED = set("yʉuʏʊøɵoœɞɔɶɒ")

PLACES = ("pbmɸβwʍ", "fvʋɱ", "θðtdnszɾrɹlɫ", "ʃʒɕʑʈɖɳʂʐɭɻ", "cɟɲçʝjʎ", "kɡgŋxɣɰ", "qχʁʀ", "ħʔhɦ")
"""The consonants from the lips to the throat: lips, lip and teeth, teeth and ridge, behind the ridge, palate, velum,
uvula, throat."""
MANNERS = ("pbtdʈɖcɟkɡgqʔ", "mɱnɳɲŋ", "ɸβfvθðszʃʒɕʑʂʐçʝxɣχʁħhɦ", "ɾrʀ", "lɫɭʎ", "wʍʋɹɻjɰ")
"""Stop, nasal, fricative, trill or tap, lateral, glide."""
VOICELESS = set("pɸʍfθtsʃɕʈʂcçkxqχħʔh")


def test_every_sound_has_the_features_that_the_phonetic_chart_gives_it() -> None:
    places_of_vowels = {sign: place for place, signs in PLACES_OF_VOWELS.items() for sign in signs}
    manners = {sign: manner for manner, signs in enumerate(MANNERS) for sign in signs}

    assert {
        sign: (height, places_of_vowels[sign], sign in ROUNDED)
        for height, signs in enumerate(HEIGHTS)
        for sign in signs
    } == VOWELS
    assert {
        sign: (place, manners[sign], sign not in VOICELESS) for place, signs in enumerate(PLACES) for sign in signs
    } == CONSONANTS


@pytest.mark.parametrize(
    ("one", "other", "cost"),
    [
        ("i", "ɯ", 0.2 + 1.2 * 0.35),  # the whole way back
        ("i", "y", 0.2 + 1.2 * 0.15),  # the lips alone
        ("i", "e", 0.2 + 1.2 * 0.5 * 2 / 6),  # two of the six steps down
        ("u", "a", 1.0),  # more than the most
        ("p", "b", 0.2 + 1.2 * 0.2),  # the voice alone
        ("t", "c", 0.2 + 1.2 * 0.4 * 2 / 7),  # two of the seven steps of place
        ("p", "h", 1.0),
        ("i", "j", 0.7),  # a glide is half a vowel
        ("w", "u", 0.7),
        ("i", "t", 1.0),
    ],
)
def test_a_changed_sound_costs_by_what_changes_in_it(one: str, other: str, cost: float) -> None:
    assert distance(one, other) == distance(other, one) == pytest.approx(cost)


@pytest.mark.parametrize(
    ("pair", "apart"),
    [
        ("bm", 0.6), ("dz", 0.7), ("dɾ", 0.9), ("dl", 0.9), ("bw", 1.0), ("nz", 0.9), ("nɾ", 0.7), ("nl", 0.6),
        ("mw", 0.7), ("zɾ", 0.7), ("zl", 0.8), ("zɹ", 0.9), ("ɾl", 0.4), ("ɾɹ", 0.4), ("lɹ", 0.4),
        ("db", 0.0), ("mn", 0.0), ("βz", 0.0), ("ʎl", 0.0), ("ɹw", 0.0),
    ],
)  # fmt: skip
def test_how_a_sound_is_made_costs_more_the_less_alike_two_ways_are(pair: str, apart: float) -> None:
    place = 0.0 if apart else 0.4 * 2 / 7  # two steps of place where nothing else sets them apart

    assert distance(*pair) == pytest.approx(0.2 + 1.2 * (0.4 * apart + place))
    assert distance(*reversed(pair)) == distance(*pair)


def test_a_sound_more_costs_a_syllable_or_less() -> None:
    assert distance("t", "ta") == pytest.approx(1.0 / 2)
    assert distance("t", "") == distance("", "t") == 1.0
    assert distance("a", "ta") == distance("ta", "a") == pytest.approx(0.7 / 2)


def test_pairs_and_stretches_come_with_the_closest_first() -> None:
    known = {"stop": "stɑp", "top": "tɑp", "yes": "jɛs", "a": "bɛst ɑp", "b": "jɛs"}

    pairs = closest_pairs(known, ["stop", "yes", "top", "stop"])

    assert (len(pairs), pairs[0][1:]) == (3, ("stop", "top"))
    assert closest_stretches("stop", known, ["b", "a"])[0] == (0, "a")
