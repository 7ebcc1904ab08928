"""`coach review`: what the clinician reads before a decision."""

from __future__ import annotations

import argparse
from collections.abc import Iterable, Mapping
from dataclasses import replace
from datetime import date, datetime
from hashlib import sha256
from pathlib import Path

from rich.console import Console, ConsoleOptions, RenderableType, RenderResult
from rich.padding import Padding
from rich.segment import Segment
from rich.table import Column, Table
from rich.text import Text

from coach.cli.labels import Labels, shown
from coach.cli.reading import day_of, home_of
from coach.errors import CoachError, ProgramError
from coach.history import holds_of
from coach.logbook.files import UnreadableError
from coach.logbook.logged import Brief
from coach.logbook.reading import uncollected, unreadable
from coach.logbook.store import Decisions, Home, wall_clock
from coach.logbook.writing import ENDING
from coach.outputs import check, write
from coach.program.model import Program
from coach.program_files import read, shipped
from coach.review.blocks import Content, Drawing, Sentences
from coach.review.content import content
from coach.review.figures import LeftOut, Review
from coach.review.measures import review
from coach.review.table import dictionary, rows
from coach.review.urgency import Need


def add(parser: argparse.ArgumentParser) -> None:
    """Declare the arguments."""
    parser.add_argument("person", nargs="?", metavar="PERSON", help="whose sessions")
    parser.add_argument("--since", metavar="DATE", help="only sessions from this day on, as 2027-01-31")
    parser.add_argument("--html", type=Path, metavar="FILE", help="write a page with plots, in one file, that prints")
    parser.add_argument("--csv", type=Path, metavar="FILE", help="a row a set; what the columns mean is written beside")
    parser.add_argument("--fhir", type=Path, metavar="FILE", help="write a FHIR bundle: a summary, as R4")
    parser.add_argument("--fhir-version", choices=("R4", "R5"), help="with --fhir: which version of FHIR (default: R4)")
    parser.add_argument(
        "--fhir-details", action="store_true", help="with --fhir: every set and question, not a summary"
    )
    parser.add_argument("--clinic", type=Path, metavar="DIR", help="all people of the homes in a folder, by need")
    parser.add_argument("--parquet", type=Path, metavar="DIR", help="with --clinic: write the records as columns")


def run(args: argparse.Namespace) -> int:
    """Print the review, or write what was asked for and say where it is."""
    if args.fhir is None and (args.fhir_version or args.fhir_details):
        raise CoachError("--fhir-version and --fhir-details go with --fhir FILE; name the file to write.")
    if args.clinic is not None:
        return _clinic(args)
    if args.person is None:
        raise CoachError("Say whose review: coach review PERSON, or of everybody: coach review --clinic DIR")
    if args.parquet is not None:
        raise CoachError("--parquet goes with --clinic DIR; for one person there is --csv FILE.")
    for path in filter(None, (args.html, args.csv, args.fhir)):
        check(path)
    home = home_of(args.home)
    found = reviewed(home, args.person, day_of(args.since))
    from coach.voice.pack import languages, load_pack

    language = next((visit.tally.language for visit in reversed(found.visits)), "")
    language = language if language in languages() else "en"
    labels = Labels(load_pack(language).screens)
    said = content(found, home.person(args.person), labels, language)
    if not (args.html or args.csv or args.fhir):
        Console(highlight=False, markup=False).print(*_terminal(said), sep="\n")
        return 0
    if args.html:
        from coach.review.page import page

        _write(args.html, page(said, labels("review_contents"), labels("review_figures")))
    if args.csv:
        _write(args.csv, rows(found))
        _write(args.csv.with_name(f"{args.csv.stem}-columns{args.csv.suffix}"), dictionary(labels))
    if args.fhir:
        _write_fhir(args, found, labels)
    if found.left_out:
        print(f"! {labels('review_left_out_short', n=len(found.left_out))}")
    return 0


def _clinic(args: argparse.Namespace) -> int:
    for name, given in (("PERSON", args.person), ("--since", args.since), ("--csv", args.csv), ("--fhir", args.fhir)):
        if given is not None:
            raise CoachError(f"{name} does not go with --clinic; for one person: coach review PERSON")
    from coach.cli.clinic_view import show_clinic

    return show_clinic(args.clinic, wall_clock().astimezone().date(), args.html, args.parquet)


def _write_fhir(args: argparse.Namespace, found: Review, labels: Labels) -> None:
    from coach.review.fhir import VERSIONS, bundle, write_bundle

    flaws: dict[str, tuple[str, ...]] = {}
    for one in found.left_out:
        session = one.file.removesuffix(ENDING)
        text = labels(one.key, text=one.text) if one.key else one.text
        flaws[session] = (*flaws.get(session, ()), f"{one.file}:{one.line} {text}")
    version, made = args.fhir_version or VERSIONS[0], wall_clock()
    told = bundle(found, made=made, version=version, full=args.fhir_details, flaws=flaws, holds=found.holds)
    write_bundle(args.fhir, told)
    print(args.fhir)


def reviewed(home: Home, person: str, since: date | None = None, now: datetime | None = None) -> Review:
    """Return a person's review over the sessions since a day, as of `now`."""
    history = home.history(person, sound=True)
    try:
        decided, known = home.decisions(person), True
    except UnreadableError as error:  # without decisions the level is unknown
        decided, known = Decisions(problems=(unreadable(error.path, error),)), False
    programs, lost = kept_programs(home, person, history.briefs)
    problems = [LeftOut(one.path.name, one.line, "", one.text) for one in (*history.problems, *decided.problems)]
    files = tuple((path.name, one) for path, one in zip(history.paths, history.sessions, strict=True))
    now = (now or wall_clock()).astimezone()
    whole = home.history(person) if history.problems else history  # a sign in a damaged line holds too
    with uncollected():
        found = review(
            person,
            files,
            programs=programs,
            now=now,
            since=since,
            problems=(*problems, *lost),
            decisions=decided.decisions,
            clears=decided.clears,
            goals=decided.goals,
            unread=history.unread,
            holds=holds_of(whole.briefs, decided, now.date()),
        )
    if known:
        return found
    sure = tuple(one for one in found.reasons if one.need not in (Need.STEP_UP, Need.LASTING))
    return replace(found, proposals=(), lasting=(), reasons=sure)


def kept_programs(home: Home, person: str, sessions: Iterable[Brief]) -> tuple[Mapping[str, Program], list[LeftOut]]:
    """Return the very program versions that the sessions ran, by digest, and what is wrong with the kept files.

    For a version that was not kept, the shipped program is used if it has the same digest.
    """
    programs: dict[str, Program] = {}
    lost: list[LeftOut] = []
    for name, digest in sorted({(one.program, one.digest) for one in sessions if one.digest}):
        try:
            path = home.kept(person, name, digest)
        except UnreadableError as error:
            path = None
            lost.append(LeftOut(error.path.name, 0, "", unreadable(error.path, error).text))
        path = path or shipped().get(name)
        if path is None or sha256(path.read_bytes()).hexdigest() != digest:
            continue
        try:
            programs[digest] = replace(read(path), id=name)
        except ProgramError as error:
            lost.append(LeftOut(path.name, 0, "left_program", str(error)))
    return programs, lost


def _write(path: Path, text: str) -> None:
    write(path, text.encode("utf-8"))
    print(path)


def _terminal(said: Content) -> list[RenderableType]:
    """Return the review for the terminal, with words in place of the plots."""
    out: list[RenderableType] = [Text(shown(said.title), style="bold")]
    out += [Text(shown(fact)) for fact in said.facts]
    for part in said.parts:
        out += [Text(), Text(shown(part.title), style="bold underline")]
        for block in part.blocks:
            if isinstance(block, Sentences):
                out += [_indented(Text(f"- {shown(line)}")) for line in block.lines]
            elif isinstance(block, Drawing):
                out.append(_indented(Text(f"{shown(block.title)}: {shown(block.description)}")))
            else:
                columns = [Column(shown(name), overflow="fold") for name in block.header]
                table = Table(*columns, title=Text(shown(block.caption)), title_justify="left",
                              box=None, pad_edge=False, padding=(0, 2, 0, 0), title_style="bold")  # fmt: skip
                for row in block.rows:
                    table.add_row(*(Text(shown(cell)) for cell in row))
                out.append(_IndentedTable(table))
    return out


def _indented(body: RenderableType) -> RenderableType:
    return Padding(body, (0, 0, 0, 2), expand=False)


class _IndentedTable:
    """A table two columns in; a `Padding` would measure every cell once more, as long as the table takes to lay out."""

    def __init__(self, table: Table) -> None:
        self._table = table

    def __rich_console__(self, console: Console, options: ConsoleOptions) -> RenderResult:
        for line in console.render_lines(self._table, options.update_width(options.max_width - 2), pad=False):
            yield Segment("  ")
            yield from line
            yield Segment.line()
