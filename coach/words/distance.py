"""Measure how different two wordings sound, from their phonemes (IPA as a speech engine writes it).

The distance is a weighted edit distance: the least cost of turning one wording into the other, sound by sound, divided
by the number of sounds of the longer one. It is 0 for the same wording and about 1 for nothing in common. Changing a
sound costs by its features (a vowel's height, place and rounding; a consonant's place, manner and voice); adding or
dropping a sound costs `ADDED`. The weights are a judgement, not fitted. They agree with the ear for taught words on the
closest pairs, and weakly over all pairs (tests/bench/RESULTS.md, "How alike two replies sound").
"""

# ruff: noqa: RUF001, RUF002  # phonetic signs look like letters

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from itertools import combinations

TOO_CLOSE = 0.42
"""Distance below which two replies are too alike; the pairs that the ear confuses most lie below it
(tests/bench/RESULTS.md, "How alike two replies sound")."""
STRETCH_TOO_CLOSE = 0.2
"""Distance below which a stretch of a coach's sentence is too like a reply."""
WORD_BREAK = "|"
"""Separates two clauses in phonemes: no word is heard across it."""

ADDED = {"vowel": 1.0, "consonant": 0.7}
"""Cost of adding or dropping a sound; a vowel costs more because it adds a syllable."""
ACROSS = 1.0
"""Cost of changing a vowel into a consonant or back, and the most any change costs."""
GLIDE = 0.7
"""Cost of changing a vowel into a glide or back: a glide is half a vowel."""

OTHER, GREATEST = 0.2, 1.2
"""Cost of any change within vowels or within consonants, and what the greatest change adds; `ACROSS` at most."""
_HEIGHT, _PLACE_OF_VOWEL, _ROUND = 0.5, 0.35, 0.15
"""Weights of a vowel's features; they add up to 1."""
_PLACE, _MANNER, _VOICE = 0.4, 0.4, 0.2
"""Weights of a consonant's features; they add up to 1."""

VOWELS: dict[str, tuple[float, float, int]] = {
    "i": (0, 0, 0), "y": (0, 0, 1), "ɨ": (0, 1, 0), "ʉ": (0, 1, 1), "ɯ": (0, 2, 0), "u": (0, 2, 1),
    "ɪ": (1, 0.3, 0), "ᵻ": (1, 0.7, 0), "ʏ": (1, 0.3, 1), "ʊ": (1, 1.7, 1),
    "e": (2, 0, 0), "ø": (2, 0, 1), "ɘ": (2, 1, 0), "ɵ": (2, 1, 1), "ɤ": (2, 2, 0), "o": (2, 2, 1),
    "ə": (3, 1, 0), "ɚ": (3, 1, 0), "ɛ": (4, 0, 0), "œ": (4, 0, 1), "ɜ": (4, 1, 0), "ɝ": (4, 1, 0), "ɞ": (4, 1, 1),
    "ʌ": (4, 2, 0), "ɔ": (4, 2, 1), "æ": (5, 0, 0), "ɐ": (5, 1, 0),
    "a": (6, 0.5, 0), "ɶ": (6, 0, 1), "ɑ": (6, 2, 0), "ɒ": (6, 2, 1),
}  # fmt: skip
"""Vowel to height (0 close to 6 open), place (0 front to 2 back), and whether the lips are rounded."""

_STOP, _NASAL, _FRICATIVE, _TRILL, _LATERAL, _GLIDE = range(6)
_UNLIKE_MANNERS = (
    (0.0, 0.6, 0.7, 0.9, 0.9, 1.0),
    (0.6, 0.0, 0.9, 0.7, 0.6, 0.7),
    (0.7, 0.9, 0.0, 0.7, 0.8, 0.9),
    (0.9, 0.7, 0.7, 0.0, 0.4, 0.4),
    (0.9, 0.6, 0.8, 0.4, 0.0, 0.4),
    (1.0, 0.7, 0.9, 0.4, 0.4, 0.0),
)
"""Difference of two manners, 0 to 1; rows and columns: stop, nasal, fricative, trill or tap, lateral, glide."""

_FARTHEST = 7
"""Steps of place from the lips to the throat."""
CONSONANTS: dict[str, tuple[int, int, int]] = {
    "p": (0, _STOP, 0), "b": (0, _STOP, 1), "m": (0, _NASAL, 1), "ɸ": (0, _FRICATIVE, 0), "β": (0, _FRICATIVE, 1),
    "w": (0, _GLIDE, 1), "ʍ": (0, _GLIDE, 0), "f": (1, _FRICATIVE, 0), "v": (1, _FRICATIVE, 1), "ʋ": (1, _GLIDE, 1),
    "ɱ": (1, _NASAL, 1), "θ": (2, _FRICATIVE, 0), "ð": (2, _FRICATIVE, 1), "t": (2, _STOP, 0), "d": (2, _STOP, 1),
    "n": (2, _NASAL, 1), "s": (2, _FRICATIVE, 0), "z": (2, _FRICATIVE, 1), "ɾ": (2, _TRILL, 1), "r": (2, _TRILL, 1),
    "ɹ": (2, _GLIDE, 1), "l": (2, _LATERAL, 1), "ɫ": (2, _LATERAL, 1), "ʃ": (3, _FRICATIVE, 0),
    "ʒ": (3, _FRICATIVE, 1), "ɕ": (3, _FRICATIVE, 0), "ʑ": (3, _FRICATIVE, 1), "ʈ": (3, _STOP, 0), "ɖ": (3, _STOP, 1),
    "ɳ": (3, _NASAL, 1), "ʂ": (3, _FRICATIVE, 0), "ʐ": (3, _FRICATIVE, 1), "ɭ": (3, _LATERAL, 1), "ɻ": (3, _GLIDE, 1),
    "c": (4, _STOP, 0), "ɟ": (4, _STOP, 1), "ɲ": (4, _NASAL, 1), "ç": (4, _FRICATIVE, 0), "ʝ": (4, _FRICATIVE, 1),
    "j": (4, _GLIDE, 1), "ʎ": (4, _LATERAL, 1), "k": (5, _STOP, 0), "ɡ": (5, _STOP, 1), "g": (5, _STOP, 1),
    "ŋ": (5, _NASAL, 1), "x": (5, _FRICATIVE, 0), "ɣ": (5, _FRICATIVE, 1), "ɰ": (5, _GLIDE, 1), "q": (6, _STOP, 0),
    "χ": (6, _FRICATIVE, 0), "ʁ": (6, _FRICATIVE, 1), "ʀ": (6, _TRILL, 1), "ħ": (7, _FRICATIVE, 0),
    "ʔ": (7, _STOP, 0), "h": (7, _FRICATIVE, 0), "ɦ": (7, _FRICATIVE, 1),
}  # fmt: skip
"""Consonant to place (0 lips to 7 throat), manner, and whether it is voiced."""


def sounds(phonemes: str) -> tuple[str, ...]:
    """Return the sounds in `phonemes`, without stress, length, pauses or finer marks.

    >>> sounds("ɹˈɛdi tə ɡˌoʊ")
    ('ɹ', 'ɛ', 'd', 'i', 't', 'ə', 'ɡ', 'o', 'ʊ')
    """
    return tuple(sign for sign in phonemes if sign in VOWELS or sign in CONSONANTS)


def distance(one: str, other: str) -> float:
    """Return the distance of two wordings, 0 to about 1, from their phonemes; 1 if either has no sound."""
    a, b = sounds(one), sounds(other)
    if not a or not b:
        return 1.0
    return _costs(a, b, anywhere=False)[-1] / max(len(a), len(b))


def nearest_stretch(word: str, text: str) -> float:
    """Return the distance of `word` to the stretch of `text` that sounds most like it; 1 if either has no sound."""
    mine = sounds(word)
    if not mine:
        return 1.0
    clauses = [clause for part in text.split(WORD_BREAK) if (clause := sounds(part))]
    return min((min(_costs(mine, clause, anywhere=True)) / len(mine) for clause in clauses), default=1.0)


def closest_pairs(phonemes: Mapping[str, str], names: Iterable[str]) -> list[tuple[float, str, str]]:
    """Return all pairs of `names` with their distance, the closest first; `phonemes` must hold each name."""
    pairs = combinations(dict.fromkeys(names), 2)
    return sorted((distance(phonemes[one], phonemes[other]), one, other) for one, other in pairs)


def closest_stretches(word: str, phonemes: Mapping[str, str], texts: Iterable[str]) -> list[tuple[float, str]]:
    """Return each text with the distance from `word` to its most similar stretch, the closest text first."""
    return sorted((nearest_stretch(phonemes[word], phonemes[text]), text) for text in texts)


def _costs(word: Sequence[str], text: Sequence[str], *, anywhere: bool) -> list[float]:
    """Return, for each place in `text`, the cost of turning `word` into the stretch that ends there.

    The stretch begins at the start of `text`, or wherever it costs least (`anywhere`).
    """
    row = [0.0]
    for sound in text:
        row.append(0.0 if anywhere else row[-1] + _added(sound))
    for mine in word:
        above, row = row, [row[0] + _added(mine)]
        for place, sound in enumerate(text):
            row.append(min(above[place] + _changed(mine, sound), above[place + 1] + _added(mine),
                           row[-1] + _added(sound)))  # fmt: skip
    return row


def _added(sound: str) -> float:
    return ADDED["vowel" if sound in VOWELS else "consonant"]


def _changed(one: str, other: str) -> float:
    if one == other:
        return 0.0
    if one in VOWELS and other in VOWELS:
        (height, place, lips), (height2, place2, lips2) = VOWELS[one], VOWELS[other]
        change = (
            _HEIGHT * abs(height - height2) / 6 + _PLACE_OF_VOWEL * abs(place - place2) / 2 + _ROUND * (lips != lips2)
        )
    elif one in CONSONANTS and other in CONSONANTS:
        (where, how, voice), (where2, how2, voice2) = CONSONANTS[one], CONSONANTS[other]
        change = (
            _PLACE * abs(where - where2) / _FARTHEST + _MANNER * _UNLIKE_MANNERS[how][how2] + _VOICE * (voice != voice2)
        )
    else:
        consonant = one if one in CONSONANTS else other
        return GLIDE if CONSONANTS[consonant][1] == _GLIDE else ACROSS
    return min(ACROSS, OTHER + GREATEST * change)
