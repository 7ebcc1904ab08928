"""`coach manual`: the manual, topic by topic, from voices/<language>/manual.md."""

from __future__ import annotations

import argparse
import re
from pathlib import Path

from coach import resources
from coach.cli.labels import Labels
from coach.errors import ManualError, VoicePackError, did_you_mean
from coach.voice.pack import REFERENCE, load_pack

_HEADING = re.compile(r"^## (\w+): (.+)$", re.MULTILINE)


def add(parser: argparse.ArgumentParser) -> None:
    """Declare the arguments."""
    parser.add_argument("topic", nargs="?", metavar="TOPIC", help="what to read about (default: a list of the topics)")
    parser.add_argument("--language", default=REFERENCE, help=f"language of the manual (default: {REFERENCE})")


def run(args: argparse.Namespace) -> int:
    """Print all topics, one per line, or the text of one; Markdown is rendered on a terminal only.

    Raises ManualError for an unknown topic, VoicePackError for a language without a pack.
    """
    from rich.console import Console
    from rich.markdown import Markdown

    labels = Labels(load_pack(args.language).screens)
    own, english = manual_of(args.language), manual_of(REFERENCE)
    there = topics(own if own.is_file() else english)
    if args.topic is not None and args.topic not in there:
        raise ManualError(f'The manual has no topic "{args.topic}"; {did_you_mean(args.topic, list(there))}')
    console = Console(markup=False, highlight=False)
    if not own.is_file():
        console.print(labels("manual_only_english"), end="\n\n")
    if args.topic is None:
        width = max(map(len, there))
        for topic, (purpose, _) in there.items():
            console.print(f"{topic:<{width}}  {purpose}")
        console.print(f"\n{labels('manual_how')}")
        return 0
    purpose, text = there[args.topic]
    whole = f"# {purpose[:1].upper()}{purpose[1:]}\n\n{text}"
    if console.is_terminal:
        console.print(Markdown(whole))
    else:
        print(whole)
    return 0


def manual_of(language: str) -> Path:
    """Return the path of a language's manual; the file may not exist."""
    return resources.folder("voices") / language / "manual.md"


def topics(file: Path) -> dict[str, tuple[str, str]]:
    """Return the topics of a manual in order: the purpose of each, and its text as Markdown."""
    try:
        _, *parts = _HEADING.split(file.read_text("utf-8"))
    except (OSError, UnicodeDecodeError) as unreadable:
        raise VoicePackError(f"{file} cannot be read ({unreadable}); install the coach again.") from unreadable
    return {
        topic: (purpose, text.strip())
        for topic, purpose, text in zip(parts[::3], parts[1::3], parts[2::3], strict=True)
    }
