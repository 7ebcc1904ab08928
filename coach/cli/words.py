"""`coach words`: how different the replies of a language sound from each other and from what the coach says."""

from __future__ import annotations

import argparse
import re
from collections.abc import Sequence

from rich.console import Console
from rich.table import Table

from coach.cli.labels import Labels
from coach.voice.pack import load_pack
from coach.voice.phonemes import phonemes
from coach.words.distance import STRETCH_TOO_CLOSE, TOO_CLOSE, closest_pairs, closest_stretches, distance
from coach.words.phrases import VoicePack

CAREFUL = "ready"
"""The reply that starts work; it is compared like the halts."""
SHOWN = 15
"""Most pairs shown, closest first."""
SHOWN_SENTENCES = 5
"""Most sentences shown for a reply."""


def add(parser: argparse.ArgumentParser) -> None:
    """Declare the arguments."""
    parser.add_argument("language", nargs="?", default="en", help="a voice pack (default: en)")
    parser.add_argument("--against", metavar="W1,W2", default="", help="other words to compare with halts and ready")


def run(args: argparse.Namespace) -> int:
    """Print the closest pairs, and for the halts and for ready the closest stretches of the coach's sentences."""
    pack = load_pack(args.language)
    labels = Labels(pack.screens)
    console = Console(markup=False)
    replies = [reply.word for reply in pack.replies.values()]
    others = [word.strip() for word in args.against.split(",") if word.strip()]
    said = sentences(pack)
    known = phonemes(pack.speech.voice, [*replies, *others, *said])
    pairs = [(away, f"{one} / {other}") for away, one, other in closest_pairs(known, replies)[:SHOWN]]
    console.print(_table(labels("words_closest"), pairs, TOO_CLOSE, labels))
    for word in careful(pack):
        without = [text for text in said if word not in text.casefold()]  # "say ready" must hold it
        near = closest_stretches(word, known, without)[:SHOWN_SENTENCES]
        console.print(_table(labels("words_stretches", word=word), near, STRETCH_TOO_CLOSE, labels))
        if others:
            away = sorted((distance(known[word], known[other]), other) for other in others)
            console.print(_table(labels("words_against", word=word), away, TOO_CLOSE, labels))
    console.print(labels("words_limit", pair=TOO_CLOSE, stretch=STRETCH_TOO_CLOSE), highlight=False)
    return 0


def sentences(pack: VoicePack) -> list[str]:
    """Return the coach's own sentences, with a pause for each {name}, since its value varies."""
    return list(dict.fromkeys(_without_names(text) for text in pack.phrases.values() if _without_names(text)))


def careful(pack: VoicePack) -> list[str]:
    """Return the taught wordings of the replies that halt, and of the one that makes work begin."""
    return [pack.replies[reply].word for reply in (*sorted(pack.halts), CAREFUL)]


def _without_names(text: str) -> str:
    plain = re.sub(r"\{\w+\}", ",", text)
    return plain if re.search(r"\w", plain) else ""


def _table(title: str, rows: Sequence[tuple[float, str]], limit: float, labels: Labels) -> Table:
    table = Table(title=title, title_justify="left", show_header=True)
    for head in (labels("words_distance"), "", ""):
        table.add_column(head)
    for away, text in rows:
        table.add_row(f"{away:.2f}", "!" if away < limit else "", text)
    return table
