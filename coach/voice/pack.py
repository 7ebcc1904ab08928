"""Read a voice pack: all words spoken and heard in one language, from voices/<language>/*.yaml.

Each of the five files is a plain mapping or list of short texts (see `_FILES`). Every scalar is read as text, so a key
`yes:` or a wording `no` stays a word.
"""

from __future__ import annotations

import math
import re
from collections.abc import Iterable, Mapping
from functools import lru_cache
from pathlib import Path
from string import Formatter

import yaml

from coach import resources
from coach.errors import VoicePackError, did_you_mean
from coach.program.nodes import plain_words, root_of
from coach.session.events import REPLIES, On
from coach.words.phrases import COUNTED, ReplyWords, Speech, VoicePack
from coach.words.replies import NUMBERS

REFERENCE = "en"
"""The pack whose keys every other pack must have."""

REPLY_IDS = frozenset(reply.value for reply in REPLIES if reply is not On.NUMBER) | NUMBERS
"""Every reply for which a pack must have words."""

_FILES = ("phrases", "replies", "numbers", "speech", "screens")
LARGEST = 512 * 1024
"""Bytes of a file at most: ten times the largest shipped one."""
_LEAST_NUMBER = 100
"""The number words must reach this at least: seconds of a hold and minutes are said in words."""


def languages(folder: Path | None = None) -> tuple[str, ...]:
    """Return the languages that have a pack, in order; `folder` replaces the shipped voices/."""
    root = folder or resources.folder("voices")
    if not root.is_dir():
        return ()
    return tuple(sorted(entry.name for entry in root.iterdir() if (entry / "replies.yaml").is_file()))


def load_pack(language: str, folder: Path | None = None) -> VoicePack:
    """Return the checked voice pack of `language`; `folder` replaces the shipped voices/.

    Raises VoicePackError, which names the file and line, what was found and what to write.
    """
    root = folder or resources.folder("voices")
    there = languages(folder)
    if language not in there:
        raise VoicePackError(f'There is no voice pack "{language}"; there are: {", ".join(there) or "none"}.')
    nodes = {name: _Node.read(root / language / f"{name}.yaml") for name in _FILES}
    replies, halts, decoys = _replies(nodes["replies"])
    numbers, counted = _both_numbers(nodes["numbers"])
    pack = VoicePack(
        language=language,
        phrases=_phrases(nodes["phrases"]),
        numbers=numbers,
        replies=replies,
        halts=halts,
        speech=_speech(nodes["speech"]),
        screens={key: node.text() for key, node in nodes["screens"].mapping().items()},
        counted=counted,
        decoys=decoys,
    )
    for key, node in nodes["phrases"].mapping().items():
        found = halt_word_in(pack, node.text())
        if found:
            raise VoicePackError(
                f'{node.where}: phrase "{key}" contains "{found}", which halts the session; use another word.'
            )
    if language != REFERENCE and REFERENCE in there:
        _same_keys(root, nodes)
    return pack


def halt_words(pack: VoicePack) -> Mapping[str, str]:
    """Return every wording that halts, in lower case, with what to write instead; no text that is said may hold one."""
    replies = [pack.replies[reply] for reply in pack.halts]
    return {wording: reply.instead for reply in replies for wording in (reply.word, *reply.also)}


def halt_word_in(pack: VoicePack, text: str) -> str:
    """Return the first halting wording that `text` contains as whole words, or an empty text."""
    words = f" {_plain(text)} "
    return next((wording for wording in sorted(halt_words(pack)) if f" {_plain(wording)} " in words), "")


def _plain(text: str) -> str:
    return " ".join(re.findall(r"[^\W_]+(?:['’][^\W_]+)*", text.casefold()))  # noqa: RUF001 - both apostrophes occur


def _phrases(node: _Node) -> Mapping[str, str]:
    phrases = {}
    for key, value in node.mapping().items():
        phrases[key] = value.text()
        _names_in(value)
    return phrases


def _names_in(value: _Node) -> frozenset[str]:
    """Return the {names} of a wording. Raises VoicePackError if braces hold anything but a plain name."""
    try:
        parsed = [(field, how) for _, field, how, _ in Formatter().parse(value.text()) if field is not None]
    except ValueError as broken:
        raise VoicePackError(f"{value.where}: broken braces ({broken}); write a name as {{name}}.") from broken
    for field, how in parsed:
        if not field.isidentifier():
            raise VoicePackError(f'{value.where}: "{{{field}}}" is not a name; write a name as {{name}}.')
        if how not in ("", COUNTED):
            raise VoicePackError(f'{value.where}: "{{{field}:{how}}}"; write {{{field}}} or {{{field}:{COUNTED}}}.')
    return frozenset(field for field, _ in parsed)


def _replies(node: _Node) -> tuple[Mapping[str, ReplyWords], frozenset[str], tuple[str, ...]]:
    top = node.mapping({"halts", "replies", "decoys"}, optional={"decoys"})
    entries = top["replies"].mapping(REPLY_IDS)
    replies = {}
    owner: dict[str, str] = {}
    for reply, entry in entries.items():
        parts = entry.mapping({"word", "also", "instead"}, optional={"also", "instead"})
        also = parts["also"].items() if "also" in parts else ()
        nodes = (parts["word"], *also)
        for wording in nodes:
            plain = _plain(wording.text())
            if not plain:
                raise VoicePackError(f'{wording.where}: "{wording.text()}" has no word in it; write what is said.')
            if plain in owner:
                raise VoicePackError(
                    f'{wording.where}: "{wording.text()}" already means "{owner[plain]}"; one wording has one meaning.'
                )
            owner[plain] = reply
        instead = parts["instead"].text() if "instead" in parts else ""
        replies[reply] = ReplyWords(nodes[0].text().casefold(), tuple(n.text().casefold() for n in also), instead)
    halts = top["halts"].items()
    for halt in halts:
        if halt.text() not in REPLY_IDS:
            raise VoicePackError(
                f'{halt.where}: unknown reply "{halt.text()}"; {did_you_mean(halt.text(), sorted(REPLY_IDS))}'
            )
    found = frozenset(halt.text() for halt in halts)
    if "stop" not in found:
        raise VoicePackError(f"{top['halts'].where}: stop must be among the halts.")
    decoys = top["decoys"].items() if "decoys" in top else ()
    for decoy in decoys:
        if _plain(decoy.text()) in owner:
            raise VoicePackError(
                f'{decoy.where}: the decoy "{decoy.text()}" means "{owner[_plain(decoy.text())]}"; take it out.'
            )
    return replies, found, tuple(decoy.text().casefold() for decoy in decoys)


def _both_numbers(node: _Node) -> tuple[tuple[str, ...], tuple[str, ...]]:
    """Return the number words, and the counting words if the file has them."""
    if node.is_list:
        return _numbers(node), ()
    parts = node.mapping({"numbers", "counted"})
    return _numbers(parts["numbers"]), tuple(item.text() for item in parts["counted"].items())


def _numbers(node: _Node) -> tuple[str, ...]:
    numbers = tuple(item.text() for item in node.items())
    if len(numbers) <= _LEAST_NUMBER:
        raise VoicePackError(f"{node.where}: number words go to {len(numbers) - 1}; they must reach {_LEAST_NUMBER}.")
    first: dict[str, int] = {}
    for value, word in enumerate(numbers):
        if first.setdefault(word, value) != value:
            raise VoicePackError(
                f'{node.items()[value].where}: "{word}" stands for {first[word]} and {value}; one number is missing.'
            )
    return numbers


def _speech(node: _Node) -> Speech:
    parts = node.mapping({"voice", "rate", "pause", "model", "sha256"}, optional={"model", "sha256"})
    return Speech(
        voice=parts["voice"].text(),
        rate=round(parts["rate"].number(80, 300, "words a minute")),
        pause=parts["pause"].number(0, 3, "seconds"),
        model=parts["model"].text() if "model" in parts else "",
        sha256=parts["sha256"].text() if "sha256" in parts else "",
    )


def _same_keys(root: Path, nodes: Mapping[str, _Node]) -> None:
    for name in ("phrases", "screens"):
        ours = nodes[name].mapping()
        reference = _Node.read(root / REFERENCE / f"{name}.yaml").mapping()
        nodes[name].mapping(reference.keys())
        for key, node in ours.items():
            # A language may omit a name, but must not add one: the coach gives no value for it.
            extra = _names_in(node) - _names_in(reference[key])
            if extra:
                known = sorted(_names_in(reference[key]))
                raise VoicePackError(
                    f'{node.where}: phrase "{key}" has no value {{{min(extra)}}}; it may use: {", ".join(known)}.'
                )


@lru_cache(maxsize=10)
def _parsed(text: str) -> yaml.Node | None:
    """Return the root node of a file's text. Two packs stay cached: a visit reads one per person and program."""
    return root_of(text)


class _Node:
    """A part of a file that knows its file and line."""

    def __init__(self, file: str, node: yaml.Node) -> None:
        self._file = file
        self._node = node
        self.where = f"{file}:{node.start_mark.line + 1}"

    @classmethod
    def read(cls, path: Path) -> _Node:
        name = f"{path.parent.name}/{path.name}"
        try:
            if path.stat().st_size > LARGEST:
                raise VoicePackError(
                    f"{name} is larger than {LARGEST // 1024} KiB; a voice pack is a few pages of text."
                )
            node = _parsed(path.read_text(encoding="utf-8"))
        except FileNotFoundError as missing:
            raise VoicePackError(
                f'Voice pack "{path.parent.name}" lacks {path.name}; copy it from {REFERENCE}/ and translate it.'
            ) from missing
        except (OSError, UnicodeDecodeError) as unreadable:
            raise VoicePackError(f"{name} cannot be read ({unreadable}); save it as UTF-8 text.") from unreadable
        except yaml.MarkedYAMLError as broken:
            line = broken.problem_mark.line + 1 if broken.problem_mark else 1
            raise VoicePackError(f"{name}:{line}: {plain_words(str(broken.problem))}") from broken
        except yaml.YAMLError as broken:
            raise VoicePackError(f"{name} is not YAML ({broken}); save it as UTF-8 text.") from broken
        except (ValueError, OverflowError) as broken:  # an impossible escape
            raise VoicePackError(f"{name} is not YAML; compare it with that of {REFERENCE}/.") from broken
        if node is None:
            raise VoicePackError(f"{name} is empty; copy it from {REFERENCE}/ and translate it.")
        return cls(name, node)

    def mapping(self, known: Iterable[str] | None = None, optional: Iterable[str] = ()) -> dict[str, _Node]:
        """Return the entries by key. With `known`, other keys and, unless `optional`, missing keys are errors."""
        if not isinstance(self._node, yaml.MappingNode):
            raise VoicePackError(f"{self.where}: expected lines of `key: value` here.")
        keys = sorted(known) if known is not None else None
        entries: dict[str, _Node] = {}
        for key_node, value_node in self._node.value:
            key = _Node(self._file, key_node)
            if key.text() in entries:
                raise VoicePackError(f'{key.where}: "{key.text()}" is here twice; keep one.')
            if keys is not None and key.text() not in keys:
                raise VoicePackError(f'{key.where}: unknown "{key.text()}"; {did_you_mean(key.text(), keys)}')
            entries[key.text()] = _Node(self._file, value_node)
        missing = [key for key in keys or () if key not in entries and key not in set(optional)]
        if missing:
            raise VoicePackError(f"{self.where}: lacks {', '.join(missing)}; add what is missing.")
        return entries

    @property
    def is_list(self) -> bool:
        """True if the node is a list."""
        return isinstance(self._node, yaml.SequenceNode)

    def items(self) -> tuple[_Node, ...]:
        """Return the entries of a list."""
        if not isinstance(self._node, yaml.SequenceNode):
            raise VoicePackError(f"{self.where}: expected a list here, as `[one, two]` or lines of `- one`.")
        return tuple(_Node(self._file, node) for node in self._node.value)

    def text(self) -> str:
        """Return the text, with each run of white space as one space."""
        value = self._node.value if isinstance(self._node, yaml.ScalarNode) else None
        if not isinstance(value, str) or not value.strip():
            raise VoicePackError(f"{self.where}: expected a text here.")
        return " ".join(value.split())

    def number(self, low: float, high: float, unit: str) -> float:
        """Return the number, from `low` to `high`."""
        try:
            value = float(self.text())
        except ValueError:
            value = math.nan
        if not low <= value <= high:
            raise VoicePackError(f'{self.where}: found "{self.text()}"; write a number from {low} to {high} ({unit}).')
        return value
