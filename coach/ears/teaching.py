"""Collect the takes of a person's words: from files, from the microphone, or from synthesised speech."""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np

from coach.ears.augment import Augmenter
from coach.ears.cohort import cohort
from coach.ears.enrolment import RECOMMENDED_TAKES, Enrolment
from coach.ears.learnt import learn
from coach.ears.takes import BadTakeError, Fault, Take, TakeMaker, examples_of
from coach.ears.word_report import unlike
from coach.errors import HearingError, did_you_mean
from coach.logbook.files import AbsentError, list_folder
from coach.ports import Block
from coach.progress import HowFar
from coach.words.phrases import ReplyWords

SOUNDS = (".wav", ".flac")
"""Suffixes of the files that are read, in either case."""
MOST_TAKES = 12
"""Most takes of a word that are used; more cost work throughout a session and teach little."""

HALTS = frozenset({"stop"})
"""Reply ids that halt, unless the voice pack says otherwise."""

_NUMBERED = re.compile(r"(?P<word>.+?)[ _-]+\d+")


@dataclass(frozen=True, slots=True)
class Refused:
    """A recording that could not be used."""

    name: str
    """Its file name, or the word that was to be said."""
    because: str
    """The reason, as a sentence for the person."""


@dataclass(frozen=True, slots=True)
class Teaching:
    """The result of teaching."""

    enrolment: Enrolment
    refused: tuple[Refused, ...] = ()


def enrol_folder(
    folder: Path,
    replies: Mapping[str, ReplyWords],
    read: Callable[[Path], Block],
    *,
    words: Sequence[str] = (),
    start: Enrolment | None = None,
    language: str = "en",
    halts: frozenset[str] = HALTS,
    maker: TakeMaker | None = None,
) -> Teaching:
    """Teach words from files named WORD_NN.wav or .flac, where WORD is a reply id or its wording.

    `read` gives a file's sound, mono at 16 kHz. `words`: only these reply ids (default: all files). `start`: the
    earlier enrolment; the takes are added to it (see `with_takes`), and takes that are unlike it are left out. Raises
    HearingError if the folder is missing or empty, a name is no word, or no file is usable.
    """
    try:
        files = [path for path in list_folder(folder) if path.suffix.lower() in SOUNDS and path.is_file()]
    except AbsentError as error:
        raise HearingError(f"There is no folder {folder}; name one that holds takes such as stop_01.wav.") from error
    if not files:
        raise HearingError(f"{folder} holds no .wav or .flac files; put takes such as stop_01.wav into it.")
    named = [(path, _word_of(path, replies)) for path in files]
    maker = maker or TakeMaker()
    start = start or Enrolment({}, language, {}, "files", halts)
    made: dict[str, list[Take]] = {}
    names: dict[int, str] = {}
    refused: list[Refused] = []
    for path, word in named:
        if (words and word not in words) or len(made.get(word, ())) >= MOST_TAKES:
            continue
        try:
            take = maker.take_from(read(path))
        except BadTakeError as error:
            refused.append(Refused(path.name, str(error)))
            continue
        made.setdefault(word, []).append(take)
        names[id(take)] = path.name
    if not made:
        raise _nothing_usable(str(folder), refused)
    taught = with_takes(start, made, replies, "files")
    kept = {word: list(takes) for word, takes in taught.takes.items()}
    while found := unlike(kept):
        word, number = found
        name = names.get(id(kept[word].pop(number)), f"{word}: an earlier take")
        refused.append(Refused(name, str(BadTakeError(Fault.UNLIKE))))
    return Teaching(replace(taught, takes={word: tuple(takes) for word, takes in kept.items()}), tuple(refused))


def known_takes(start: Enrolment, replies: Mapping[str, ReplyWords], word: str) -> tuple[Take, ...]:
    """Return the takes of `word`; none if they were made with another wording."""
    same = start.wordings.get(word, replies[word].word) == replies[word].word
    return tuple(start.takes.get(word, ())) if same else ()


def reworded(start: Enrolment, replies: Mapping[str, ReplyWords]) -> list[str]:
    """Return the words whose taught wording is no longer that of their reply."""
    return [word for word in start.takes if word in replies and not known_takes(start, replies, word)]


def with_takes(
    start: Enrolment, new: Mapping[str, Sequence[Take]], replies: Mapping[str, ReplyWords], source: str
) -> Enrolment:
    """Return `start` with the takes of `new` added: each recording once, and the newest if there are too many.

    Takes of an outdated wording are dropped. The earlier forecast is dropped, too.
    """
    takes = {word: tuple(own) for word, own in start.takes.items()}
    for word, more in new.items():
        own = list(known_takes(start, replies, word))
        for take in more:  # a copy would look like a second, agreeing take
            if not any(np.array_equal(take.frames, old.frames) for old in own):
                own.append(take)
        takes[word] = tuple(own[-MOST_TAKES:])
    wordings = {**start.wordings, **{word: replies[word].word for word in new}}
    return replace(start, takes=takes, wordings=wordings, source=source, verdict="", learnt=None)


def learn_words(
    enrolment: Enrolment,
    *,
    room: Block | None = None,
    talk: Block | None = None,
    tell: HowFar = lambda _done, _of: None,
) -> Enrolment:
    """Return `enrolment` with what is learnt from its takes, and without their sound.

    `room`: the sound of the person's room, `talk`: some speech (see Augmenter). `tell` gets the number of augmented
    takes and of all takes. A take without its sound that was never augmented is used unchanged.
    """
    augmenter = Augmenter(room=room, talk=talk)
    fresh = sum(take.sound is not None for takes in enrolment.takes.values() for take in takes)
    done = 0
    takes: dict[str, tuple[Take, ...]] = {}
    for word, own in enrolment.takes.items():
        made = []
        for take in own:
            if take.sound is None:
                made.append(take)
                continue
            made.append(replace(take, augmented=augmenter.augment(take.sound, len(own)), sound=None))
            done += 1
            tell(done, fresh)
        takes[word] = tuple(made)
    examples = {word: examples_of(own) for word, own in takes.items()}
    lengths = {word: int(np.median([take.length for take in own])) for word, own in takes.items()}
    return replace(enrolment, takes=takes, learnt=learn(examples, lengths, cohort()))


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
    """Teach words from synthesised speech: `render(wording, variant)` with variants 0, 1, ... below `count`.

    For the demo and for tests: the voice is a machine's. Raises HearingError if no sound is usable.
    """
    maker = maker or TakeMaker()
    takes: dict[str, list[Take]] = {}
    refused: list[Refused] = []
    for word in words or sorted(replies):
        for variant in range(count):
            try:
                take = maker.take_from(render(replies[word].word, variant))
            except BadTakeError as error:
                refused.append(Refused(f"{word} {variant}", str(error)))
            else:
                takes.setdefault(word, []).append(take)
    if not takes:
        raise _nothing_usable("the voice", refused)
    nothing = Enrolment({}, language, {}, "synthesised", halts)
    return Teaching(with_takes(nothing, takes, replies, "synthesised"), tuple(refused))


def check_words(words: Sequence[str], replies: Mapping[str, ReplyWords]) -> tuple[str, ...]:
    """Return the reply ids of `words` (ids or wordings). Raises HearingError that names similar ones."""
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


def _nothing_usable(where: str, refused: Sequence[Refused]) -> HearingError:
    first = f" ({refused[0].name}: {refused[0].because})" if refused else ""
    return HearingError(f"No take in {where} is usable{first}.")
