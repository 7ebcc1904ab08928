"""`coach log`: show the logbook: everybody, one person's sessions, or one session."""

from __future__ import annotations

import argparse
import json
from collections.abc import Callable, Sequence
from contextlib import suppress
from dataclasses import asdict
from datetime import tzinfo
from typing import Any

from rich.console import Console, RenderableType
from rich.table import Table
from rich.text import Text

from coach.cli.labels import Labels, shown
from coach.cli.on_hold import holds_now
from coach.cli.printed_session import PrintedSession, when
from coach.cli.reading import home_of
from coach.errors import RecordError, did_you_mean
from coach.logbook import SessionRecord
from coach.logbook.files import UnreadableError
from coach.logbook.logged import Brief
from coach.logbook.reading import FileProblem, History, unreadable
from coach.logbook.store import Home
from coach.review.hold_words import hold_words

MOST_SHOWN = 200
"""Sessions listed without --all: a longer list is slow (tests/bench/RESULTS.md, "A person with 2,000 sessions")."""
JSON_VERSION = 1
"""Version of what `--json` prints."""


def add(parser: argparse.ArgumentParser) -> None:
    """Declare the arguments."""
    parser.add_argument("person", nargs="?", metavar="PERSON", help="whose sessions; without it, everybody is listed")
    parser.add_argument("--session", metavar="ID", help='one session by its id, or "last"')
    parser.add_argument("--all", action="store_true", help=f"every session, not only the {MOST_SHOWN} newest")
    parser.add_argument("--json", action="store_true", help="print a JSON document")


def run(args: argparse.Namespace) -> int:
    """Print people, sessions or one session; return 0."""
    home = home_of(args.home)
    if args.session and not args.person:
        raise RecordError(f"Say whose session it is: coach log PERSON --session {args.session}")
    if args.person is None:
        everybody = {person: _as_far_as_read(home, person) for person in home.people()}
        _show(args, lambda: people_json(everybody), lambda labels: people(everybody, home, labels))
        return 0
    history = home.history(args.person)
    if not args.session:
        _show(
            args,
            lambda: person_json(args.person, history),
            lambda labels: sessions(args.person, history, labels, whole=args.all),
            above=lambda labels: _on_hold(home, args.person, labels, history),
        )
        return 0
    record = find(history, args.session, args.person)
    problems = _of(history.problems, record)
    _show(
        args,
        lambda: session_json(record, problems),
        lambda labels: PrintedSession(record, labels, [str(one) for one in problems]),
        record.language,
    )
    return 0


def find(history: History, session: str, person: str) -> SessionRecord:
    """Return the session with this id, or the last one for "last". Raises RecordError that lists the candidates."""
    known = [one.session for one in history.briefs]
    lost = [
        one for one in history.problems if not one.line and one.path.stem in {each.session for each in history.unread}
    ]
    for one in lost:
        if session == one.path.stem or not known:
            raise RecordError(str(one))
    if not known:
        raise RecordError(f'"{person}" has no session yet; begin one with: coach start --person {person}')
    if session == "last":
        return history.sessions[-1].record
    if session in known:
        return history.sessions[known.index(session)].record
    raise RecordError(f'"{person}" has no session "{session}"; {did_you_mean(session, known)}')


def _as_far_as_read(home: Home, person: str) -> History:
    """Return a person's sessions; if their folder cannot be read, only that problem."""
    try:
        return home.history(person)
    except UnreadableError as error:
        return History((), (unreadable(error.path, error),))


def people(everybody: dict[str, History], home: Home, labels: Labels) -> RenderableType:
    """Return a table of everybody with their last session."""
    if not everybody:
        return Text(labels("log_nobody"))
    table = _table(labels, "person", "sessions", "last", "ended")
    for person, history in everybody.items():
        last = history.sessions[-1].brief if history.sessions else None
        name = _name(home, person)
        table.add_row(
            f"{person} ({shown(name)})" if name else person,
            str(len(history.sessions)),
            when(last.began) if last else "-",
            _end(last, labels) if last else "-",
        )
    whole = [(person, one) for person, history in everybody.items() for one in history.problems if not one.line]
    return _with_problems(table, [f"{person}: {one}" for person, one in whole])


def _name(home: Home, person: str) -> str:
    with suppress(UnreadableError):
        return home.person(person).name
    return ""


def _with_problems(table: Table, problems: Sequence[object], above: str = "") -> RenderableType:
    """Return a table with the line `above` it, if any, and the problems below it."""
    grid = Table.grid()
    if above:
        grid.add_row(Text(above))
    grid.add_row(table)
    for problem in problems:
        grid.add_row(Text(f"! {shown(str(problem))}", style="yellow"))
    return grid


def sessions(
    person: str, history: History, labels: Labels, zone: tzinfo | None = None, *, whole: bool = False
) -> RenderableType:
    """Return a person's newest sessions, or with `whole` all, oldest first, and the problems of their files."""
    if not history.sessions and not history.problems:
        return Text(labels("log_no_sessions", person=person))
    table = _table(labels, "session", "when", "program", "sets", "pain", "halts", "ended")
    shown_here = history.sessions if whole else history.sessions[-MOST_SHOWN:]
    for record in (one.record for one in shown_here):
        pain = record.highest_pain
        table.add_row(
            shown(record.session),
            when(record.began, zone),
            shown(record.program),
            f"{record.sets_in_full}/{record.sets_planned}",
            "-" if pain is None else shown(str(pain)),
            str(len(record.halts)),
            _end(record, labels),
        )
    earlier = len(history.sessions) - len(shown_here)
    above = labels("log_earlier", n=earlier, command=f"coach log {person} --all") if earlier else ""
    return _with_problems(table, history.problems, above)


def people_json(everybody: dict[str, History]) -> dict[str, Any]:
    """Return everybody as a JSON document."""
    listed = [
        {
            "person": person,
            "sessions": len(history.sessions),
            "last": _brief(history.briefs[-1:]),
            "problems": [_problem(one) for one in history.problems if not one.line],
        }
        for person, history in everybody.items()
    ]
    return {"v": JSON_VERSION, "people": listed}


def person_json(person: str, history: History) -> dict[str, Any]:
    """Return a person's sessions as a JSON document."""
    found: dict[str, list[FileProblem]] = {}
    for one in history.problems:
        found.setdefault(one.path.stem, []).append(one)
    return {
        "v": JSON_VERSION,
        "person": person,
        "sessions": [session_json(record, found.get(record.session, [])) for record in history.records],
        "problems": [_problem(one) for one in history.problems],
    }


def session_json(record: SessionRecord, problems: Sequence[FileProblem]) -> dict[str, Any]:
    """Return a session as a JSON document: the fields of `SessionRecord` and what follows from them."""
    derived = {
        "sets_planned": record.sets_planned,
        "sets_in_full": record.sets_in_full,
        "highest_pain": record.highest_pain,
    }
    return {"v": JSON_VERSION, **asdict(record), **derived, "problems": [_problem(one) for one in problems]}


def _show(
    args: argparse.Namespace,
    document: Callable[[], dict[str, Any]],
    page: Callable[[Labels], RenderableType],
    language: str = "",
    above: Callable[[Labels], Sequence[str]] = lambda _: (),
) -> None:
    """Print the document or the page; the lines `above` it are never wrapped, since people copy commands from them."""
    if args.json:
        print(json.dumps(document(), ensure_ascii=False, indent=2))
        return
    from coach.voice.pack import languages, load_pack

    pack = load_pack(language if language in languages() else "en")
    console, labels = Console(highlight=False, markup=False), Labels(pack.screens)
    for line in above(labels):
        console.print(line, soft_wrap=True)
    console.print(page(labels))


def _on_hold(home: Home, person: str, labels: Labels, history: History) -> list[str]:
    """Return why nothing may begin for a person, or why that cannot be told."""
    try:
        return [shown(line) for line in hold_words(holds_now(home, person, history), labels, person)]
    except UnreadableError as error:
        return [f"! {shown(str(error))}"]


def _table(labels: Labels, *columns: str) -> Table:
    """Return an empty table; ids and times are never wrapped, since people type and compare them."""
    table = Table(box=None, pad_edge=False, padding=(0, 1, 0, 0), header_style="bold")
    for column in columns:
        table.add_column(
            labels(f"column_{column}"),
            justify="right" if column in ("sessions", "halts") else "left",
            no_wrap=column in ("session", "when", "last"),
            min_width=14 if column == "ended" else None,
            overflow="fold",
        )
    return table


def _end(session: Brief | SessionRecord, labels: Labels) -> str:
    return labels.word("end", session.why or "missing")


def _of(problems: Sequence[FileProblem], record: SessionRecord) -> list[FileProblem]:
    return [one for one in problems if one.path.stem == record.session]


def _problem(one: FileProblem) -> dict[str, Any]:
    return {"file": str(one.path), "line": one.line, "text": one.text}


def _brief(sessions: Sequence[Brief]) -> dict[str, Any] | None:
    return next(({"session": one.session, "began": one.began, "why": one.why} for one in sessions), None)
