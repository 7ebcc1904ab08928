"""`coach handout`: a program on a sheet for the wall and the family."""

from __future__ import annotations

import argparse
from pathlib import Path

from rich.console import Console
from rich.padding import Padding
from rich.text import Text

from coach.cli.labels import Labels, shown
from coach.cli.reading import home_of
from coach.cli.session_setup import prepare
from coach.outputs import write
from coach.review.handout import handout
from coach.review.handout_page import page, plain


def add(parser: argparse.ArgumentParser) -> None:
    """Declare the arguments."""
    parser.add_argument("file", metavar="FILE", help="program file, or a shipped one's id")
    parser.add_argument("--html", type=Path, metavar="OUT.html", help="write it as a page that prints in large letters")
    parser.add_argument("--person", metavar="ID", help="with the levels that this person is on, not those to start at")


def run(args: argparse.Namespace) -> int:
    """Print the handout, or write it as HTML."""
    home = home_of(args.home)
    if args.person:
        home.person(args.person)
    prepared = prepare(args.file, home, args.person or "")
    today = prepared.today.exercises if args.person else ()
    levels = {planned.exercise.id: planned.level for planned in today}
    labels = Labels(prepared.pack.screens)
    absent = prepared.today.left_out if args.person else ()
    left_out = {one.exercise.id: labels.plain_clause(one.because) for one in absent}
    sheet = handout(prepared.program, levels, prepared.pack, labels, left_out)
    if args.html:
        write(args.html, page(sheet).encode("utf-8"))
        print(args.html)
        return 0
    console = Console(highlight=False, markup=False)
    for title, lines in plain(sheet):
        console.print(Text(shown(title), style="bold"))
        for line in (*lines, ""):
            console.print(Padding(Text(shown(line)), (0, 0, 0, 2), expand=False))
    return 0
