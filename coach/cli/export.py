"""`coach export`: everything that is kept about a person, in one file for them to take away."""

from __future__ import annotations

import argparse
from collections.abc import Sequence
from contextlib import suppress
from pathlib import Path
from textwrap import fill

from coach.cli.labels import Labels, shown
from coach.cli.reading import home_of
from coach.errors import CoachError
from coach.logbook.files import UnreadableError
from coach.logbook.handover import pack_up
from coach.logbook.logged import LoggedSession
from coach.logbook.reading import History
from coach.logbook.store import Home
from coach.outputs import check, write
from coach.voice.pack import languages, load_pack
from coach.words.phrases import VoicePack

_EXPLAINED = (
    ("person.json", "export_person"),
    ("sessions/*.jsonl", "export_sessions"),
    ("sessions/*.torn", "export_torn"),
    ("decisions.jsonl", "export_decisions"),
    ("decisions.jsonl.torn", "export_torn"),
    ("programs/*.yaml", "export_programs"),
    ("takes/enrolment.npz", "export_takes"),
)
"""Patterns of a person's files, each with the key of the label that explains them."""


def add(parser: argparse.ArgumentParser) -> None:
    """Declare the arguments."""
    parser.add_argument("person", metavar="PERSON", help="whose data")
    parser.add_argument("out", metavar="OUT.zip", type=Path, help="where to write it, outside the coach's own folder")


def run(args: argparse.Namespace) -> int:
    """Write the archive and say what is in it."""
    check(args.out)
    home = home_of(args.home)
    person = home.person(args.person)
    if args.out.resolve().is_relative_to(home.root.resolve()):
        raise CoachError(f"{args.out} lies in the coach's own folder; name a file outside {home.root}.")
    labels = labels_for(home, person.id)

    def readme(names: Sequence[str], left_out: Sequence[str]) -> str:
        parts = [fill(labels("export_about", person=person.id), 76)]
        rest = list(names)
        for pattern, key in _EXPLAINED:
            fitting = [name for name in rest if Path(name).match(pattern) and name.count("/") == pattern.count("/")]
            rest = [name for name in rest if name not in fitting]
            if fitting:
                parts.append(_entry(pattern, labels(key)))
        parts += [_entry(name, labels("export_other")) for name in rest]
        parts += [_entry(name, labels("export_left_out")) for name in left_out]
        return "\n\n".join(parts) + "\n"

    archive = pack_up(person, readme)
    write(args.out, archive.data)
    print(labels("export_written", n=len(archive.names), path=args.out))
    for name in archive.left_out:
        print(f"! {shown(name)}: {labels('export_left_out')}")
    return 0


def labels_for(home: Home, person: str = "", history: History | None = None) -> Labels:
    """Return the labels of the language in which a person trains; without one, English."""
    return Labels(pack_of(home, person, history).screens)


def pack_of(home: Home, person: str = "", history: History | None = None) -> VoicePack:
    """Return the wording of the language in which a person trains; without one, English."""
    sessions: tuple[LoggedSession, ...] = ()
    with suppress(UnreadableError):  # the command itself reports unreadable files
        sessions = (history or home.history(person)).sessions if person else ()
    language = sessions[-1].record.language if sessions else ""
    return load_pack(language if language in languages() else "en")


def _entry(name: str, text: str) -> str:
    return f"{shown(name)}\n" + fill(text, 76, initial_indent="    ", subsequent_indent="    ")
