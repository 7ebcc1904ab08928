"""Collect the takes of a person's words: from files, from the microphone, or from synthesised speech."""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path

from coach.ears.enrolment import RECOMMENDED_TAKES, Enrolment, unlike
from coach.ears.takes import BadTakeError, Fault, Take, TakeMaker
from coach.errors import HearingError, did_you_mean
from coach.ports import Block
from coach.words.phrases import ReplyWords

SOUNDS = (".wav", ".flac")
"""Endings of the files that are looked at; in either case."""
MOST_TAKES = 12
"""Takes of a word that are used; more cost work at every moment of a session and teach little."""

HALTS = frozenset({"stop"})
"""Reply ids that halt, unless the voice pack says otherwise."""

_NUMBERED = re.compile(r"(?P<word>.+?)[ _-]+\d+")


@dataclass(frozen=True, slots=True)
class Refused:
    """A recording that taught nothing."""

    name: str
    """Its file name, or the word that was asked for."""
    because: str
    """A sentence for the person."""


@dataclass(frozen=True, slots=True)
class Teaching:
    """What came of it."""

    enrolment: Enrolment
    refused: tuple[Refused, ...] = ()


def enrol_folder(
    folder: Path,
    replies: Mapping[str, ReplyWords],
    read: Callable[[Path], Block],
    *,
    words: Sequence[str] = (),
    language: str = "en",
    halts: frozenset[str] = HALTS,
    maker: TakeMaker | None = None,
) -> Teaching:
    """Take the words from files named WORD_NN.wav or .flac, where WORD is a reply id or its wording.

    `read` gives a file's sound, mono at 16 kHz. `words`: only these reply ids (default: all that are there).
    Raises HearingError if the folder is missing or empty, a name is no word, or no file is usable.
    """
    if not folder.is_dir():
        raise HearingError(f"There is no folder {folder}; name one that holds takes such as stop_01.wav.")
    files = sorted(path for path in folder.iterdir() if path.suffix.lower() in SOUNDS and path.is_file())
    if not files:
        raise HearingError(f"{folder} holds no .wav or .flac files; put takes such as stop_01.wav into it.")
    named = [(path, _word_of(path, replies)) for path in files]
    maker = maker or TakeMaker()
    takes: dict[str, list[Take]] = {}
    names: dict[str, list[str]] = {}
    refused: list[Refused] = []
    for path, word in named:
        if (words and word not in words) or len(takes.get(word, ())) >= MOST_TAKES:
            continue
        try:
            takes.setdefault(word, []).append(maker.take_from(read(path)))
            names.setdefault(word, []).append(path.name)
        except BadTakeError as error:
            refused.append(Refused(path.name, str(error)))
    while found := unlike({word: made for word, made in takes.items() if made}):
        word, number = found
        del takes[word][number]
        refused.append(Refused(names[word].pop(number), str(BadTakeError(Fault.UNLIKE))))
    return Teaching(_enrolment(takes, replies, language, halts, "files", str(folder), refused), tuple(refused))


def enrol_synthetic(
    render: Callable[[str, int], Block],
    replies: Mapping[str, ReplyWords],
    *,
    words: Sequence[str] = (),
    count: int = RECOMMENDED_TAKES,
    language: str = "en",
    halts: frozenset[str] = HALTS,
    maker: TakeMaker | None = None,
) -> Teaching:
    """Take the words from synthesised speech: `render(wording, variant)` with variants 0, 1, ... below `count`.

    For the demo and for tests; it teaches a machine's voice. Raises HearingError if no sound is usable.
    """
    maker = maker or TakeMaker()
    takes: dict[str, list[Take]] = {}
    refused: list[Refused] = []
    for word in words or sorted(replies):
        for variant in range(count):
            try:
                takes.setdefault(word, []).append(maker.take_from(render(replies[word].word, variant)))
            except BadTakeError as error:
                refused.append(Refused(f"{word} {variant}", str(error)))
    return Teaching(_enrolment(takes, replies, language, halts, "synthesised", "the voice", refused), tuple(refused))


def check_words(words: Sequence[str], replies: Mapping[str, ReplyWords]) -> tuple[str, ...]:
    """Return the reply ids of `words` (ids or wordings). Raises HearingError that names the near ones."""
    return tuple(_reply_of(word, replies, f'"{word}" is no reply') for word in words)


def _word_of(path: Path, replies: Mapping[str, ReplyWords]) -> str:
    matched = _NUMBERED.fullmatch(path.stem)
    text = matched["word"] if matched else path.stem
    return _reply_of(text, replies, f'{path}: "{text}" is no reply')


def _reply_of(text: str, replies: Mapping[str, ReplyWords], complaint: str) -> str:
    plain = {_plain(reply.word): word for word, reply in replies.items()} | {_plain(word): word for word in replies}
    found = plain.get(_plain(text))
    if found is None:
        raise HearingError(f"{complaint}; {did_you_mean(_plain(text), sorted(replies))}")
    return found


def _plain(text: str) -> str:
    return " ".join(re.findall(r"[^\W_]+", text.lower()))


def _enrolment(
    takes: Mapping[str, Sequence[Take]],
    replies: Mapping[str, ReplyWords],
    language: str,
    halts: frozenset[str],
    source: str,
    where: str,
    refused: Sequence[Refused],
) -> Enrolment:
    kept = {word: tuple(made) for word, made in takes.items() if made}
    if not kept:
        first = f" ({refused[0].name}: {refused[0].because})" if refused else ""
        raise HearingError(f"No take in {where} is usable{first}.")
    return Enrolment(kept, language, {word: replies[word].word for word in kept}, source, halts)
