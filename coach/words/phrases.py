"""Turn a phrase (a key with its numbers and names) into the sentence that the coach says."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

from coach.errors import VoicePackError

COUNTED = "counted"
"""Format of a number in a wording, {n:counted}: the word for counting aloud."""


@dataclass(frozen=True, slots=True)
class Phrase:
    """Something to say: a key of the voice pack and the values to put into its wording."""

    key: str
    """Key in phrases.yaml, or "text": then the `text` value is said as it is (the therapist's own words)."""
    values: tuple[tuple[str, str | int], ...] = ()
    """Name and value for each {name} in the wording. A number is said as the pack's number word, or as its counting
    word for {name:counted}."""


def phrase(key: str, **values: str | int) -> Phrase:
    """Return the phrase of `key` with `values`, sorted so that equal phrases compare equal."""
    return Phrase(key, tuple(sorted(values.items())))


@dataclass(frozen=True, slots=True)
class ReplyWords:
    """One reply: its first wording and the others that mean the same."""

    word: str
    """The wording the person is taught, such as "stop"."""
    also: tuple[str, ...] = ()
    """Other wordings that an open-vocabulary ear accepts for it."""
    instead: str = ""
    """Of a word that halts: what a program's texts say in its place; empty: nothing is proposed."""


@dataclass(frozen=True, slots=True)
class Speech:
    """How this language is spoken."""

    voice: str
    """Voice id of the engine."""
    rate: int
    """Words a minute; 150-200 is comfortable for young and old (Sutton 1995)."""
    pause: float
    """Seconds of silence between two sentences."""
    model: str = ""
    """Address of this language's open-vocabulary model, for the one explicit download; empty if unknown."""
    sha256: str = ""
    """SHA-256 of that archive in hexadecimal; empty if unknown."""


@dataclass(frozen=True, slots=True)
class VoicePack:
    """All wording of one language."""

    language: str
    phrases: Mapping[str, str]
    """Key to wording with {names}."""
    numbers: tuple[str, ...]
    """Number words from zero; the last index is the largest number that can be said in words."""
    replies: Mapping[str, ReplyWords]
    """Reply id to its wordings. Numbers 0-10 are "n0" to "n10"."""
    halts: frozenset[str]
    """Ids of the replies that halt."""
    speech: Speech
    screens: Mapping[str, str] = field(default_factory=dict)
    """Labels of screens (terminal and page), key to wording."""
    counted: tuple[str, ...] = ()
    """Number words from zero for counting aloud, if the language has separate ones; else empty."""
    decoys: tuple[str, ...] = ()
    """Words that mean no reply; an open-vocabulary ear listens for them so as not to take them for one."""


def sentence(pack: VoicePack, said: Phrase) -> str:
    """Return the sentence for `said` in the language of `pack`.

    Raises VoicePackError if the pack lacks the key or the phrase lacks a value.
    """
    if said.key == "text":
        return str(dict(said.values)["text"]).strip()
    wording = pack.phrases.get(said.key)
    if wording is None:
        raise VoicePackError(f'voice pack "{pack.language}" lacks the phrase "{said.key}"; add it to phrases.yaml.')
    values = {name: _spoken(pack, value) for name, value in said.values}
    try:
        text = wording.format(**values)
    except (KeyError, IndexError) as missing:
        raise VoicePackError(
            f'phrase "{said.key}" of voice pack "{pack.language}" asks for {missing}, which the coach does not give '
            "it; take it out of phrases.yaml."
        ) from missing
    return text[:1].upper() + text[1:]


class _Number(str):
    """A number in words; the format {n:counted} gives its counting word."""

    __slots__ = ("counted",)
    counted: str

    def __format__(self, how: str) -> str:
        return self.counted if how == COUNTED else str(self)


def _spoken(pack: VoicePack, value: str | int) -> str:
    if isinstance(value, str):
        return value
    number = _Number(_in_words(pack.numbers, value) or value)
    number.counted = _in_words(pack.counted, value) or str(number)
    return number


def _in_words(numbers: tuple[str, ...], value: int) -> str:
    return numbers[value] if 0 <= value < len(numbers) else ""
