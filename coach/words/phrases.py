"""Phrases: a key with its numbers and names becomes the sentence that is said."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

from coach.errors import VoicePackError

COUNTED = "counted"
"""After the name of a number in a wording, {n:counted}: the number as it is counted aloud."""


@dataclass(frozen=True, slots=True)
class Phrase:
    """Something to say: a key of the voice pack and what to put into it."""

    key: str
    """Key in phrases.yaml; "text" says its `text` value as it stands (the therapist's own words)."""
    values: tuple[tuple[str, str | int], ...] = ()
    """Name and value for each {name} in the wording; a number is said as the pack's number word, and for
    {name:counted} as the one that is counted aloud."""


def phrase(key: str, **values: str | int) -> Phrase:
    """Return the phrase of `key` with `values`, in an order that makes equal phrases equal."""
    return Phrase(key, tuple(sorted(values.items())))


@dataclass(frozen=True, slots=True)
class ReplyWords:
    """One reply: its first wording and the others that mean the same."""

    word: str
    """What the person is taught to say: "stop"."""
    also: tuple[str, ...] = ()
    """Other wordings an open-vocabulary ear may take for it."""


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
    """Where the open vocabulary of this language can be had, for the one explicit download; empty if not known."""
    sha256: str = ""
    """SHA-256 of that archive in hexadecimal; empty if it is not known."""


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
    """Number words from zero that are counted aloud, where a language has others for that; else empty."""
    decoys: tuple[str, ...] = ()
    """Words that are no reply, for an open-vocabulary ear to tell from the replies."""


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
            f'phrase "{said.key}" of voice pack "{pack.language}" asks for {missing}, which is not given there.'
        ) from missing
    return text[:1].upper() + text[1:]


class _Number(str):
    """A number in words; {n:counted} asks for the word that is counted aloud."""

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
