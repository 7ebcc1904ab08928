"""A clinic's review, for `coach review --clinic`: on the terminal, as a page, and as columns."""

from __future__ import annotations

from datetime import date
from pathlib import Path

from rich.console import Console
from rich.padding import Padding
from rich.table import Table
from rich.text import Text

from coach.cli.labels import Labels, shown
from coach.outputs import write
from coach.review.clinic import ClinicReview, look
from coach.review.clinic_page import page
from coach.review.clinic_words import Said, said, summary
from coach.review.columns import open_clinic, write_columns
from coach.voice.pack import load_pack

LANGUAGE = "en"
"""Language of a clinic's screens, which belong to no one program."""


def show_clinic(folder: Path, today: date, html: Path | None = None, columns: Path | None = None) -> int:
    """Print who needs a look, most urgent first; write the page and the columns if asked. Return 0."""
    labels = Labels(load_pack(LANGUAGE).screens)
    clinic = open_clinic(folder)
    review = look(clinic, today)
    if columns:
        write_columns(clinic, columns)
    if html:
        write(html, page(review, labels, LANGUAGE, proven=clinic.proven).encode("utf-8"))
    console = Console(highlight=False, markup=False)
    console.print(Text(labels("clinic_title", day=today.isoformat()), style="bold"))
    console.print(Text(summary(review, labels)))
    console.print(_table([said(one, review, labels) for one in review.people if one.needs], labels))
    others = [one for one in review.people if not one.needs]
    console.print(Text(labels("clinic_others", n=len(others)), style="bold"))
    console.print(
        Padding(Text(shown(", ".join(one.person for one in others) or labels("clinic_nobody"))), (0, 0, 0, 2))
    )
    _print_left_out(review, labels, console)
    for written in (html, columns):
        if written:
            console.print(Text(str(written)), soft_wrap=True)
    return 0


def _table(rows: list[Said], labels: Labels) -> Table:
    table = Table(box=None, pad_edge=False, padding=(0, 2, 0, 0), header_style="bold")
    for name in ("person", "why", "last", "done_of_due", "pain"):
        table.add_column(labels(f"clinic_{name}"), overflow="fold")
    for row in rows:
        why = "\n".join(f"{need}: {because}" for need, because in row.needs)
        table.add_row(*(Text(shown_lines(text)) for text in (row.person, why, row.last, row.done, row.pain)))
    return table


def shown_lines(text: str) -> str:
    """Return `text` without control characters, but with its line ends."""
    return "\n".join(map(shown, text.split("\n")))


def _print_left_out(review: ClinicReview, labels: Labels, console: Console) -> None:
    if not review.left_out:
        return
    console.print(Text(labels("clinic_left_out", n=len(review.left_out)), style="bold"))
    for one in review.left_out:
        console.print(Padding(Text(shown(str(one)), style="yellow"), (0, 0, 0, 2), expand=False))
