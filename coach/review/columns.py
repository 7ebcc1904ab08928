"""Make a clinic's tables in an embedded analytical engine, from logbooks or from columns, and write columns."""

from __future__ import annotations

import json
import os
import re
import weakref
from collections.abc import Iterable, Iterator, Sequence
from contextlib import ExitStack, suppress
from dataclasses import replace
from itertools import islice
from pathlib import Path
from secrets import token_hex
from tempfile import TemporaryDirectory
from typing import TYPE_CHECKING, Any, NamedTuple

from coach.errors import CoachError
from coach.logbook.decisions import DecisionLines
from coach.logbook.files import UnreadableError, make_folder
from coach.loglines.kinds import KINDS
from coach.outputs import output
from coach.review.logbooks import EPOCH, Logbook, Member, NotCounted, logbooks, members, recheck
from coach.session.past import PastSession

if TYPE_CHECKING:
    from duckdb import DuckDBPyConnection

SQL = Path(__file__).parent / "sql"
TABLES = ("people", "sessions", "sets", "answers", "halts", "eased", "planned", "signs", "left_out")

MARK = "written_together"
"""Metadata key of the Parquet files; files written together have the same value."""

HEAP = 2_000
"""Files read at once; it limits the memory."""

MEMORY = "600MB"
"""Memory the engine may use before it writes to a temporary folder, which is deleted with it."""

FIELDS = {
    "n": "INTEGER", "line": "VARCHAR", "person": "VARCHAR", "program": "VARCHAR", "title": "VARCHAR",
    "digest": "VARCHAR", "language": "VARCHAR",
    "continues": "VARCHAR",
    "plan": [{"exercise": "VARCHAR", "name": "VARCHAR", "level": "VARCHAR", "sets": "INTEGER", "target": "INTEGER"}],
    "set_id": "INTEGER", "exercise": "VARCHAR", "level": "VARCHAR", "set": "INTEGER", "side": "VARCHAR",
    "kind": "VARCHAR", "planned_low": "INTEGER", "planned_high": "INTEGER", "tension_planned_s": "DOUBLE",
    "counted": "INTEGER", "tension_s": "DOUBLE", "why": "VARCHAR", "next_in_days": "INTEGER", "question": "VARCHAR",
    "value": "JSON", "pain": "JSON", "what": "VARCHAR", "from": "JSON", "to": "JSON", "because": "VARCHAR",
    "attempts": "INTEGER", "prompts": "INTEGER", "times": "INTEGER", "days": "INTEGER", "effect": "VARCHAR",
    "asked": "VARCHAR", "answer": "BOOLEAN", "call": "VARCHAR",
}  # fmt: skip
"""Fields read from a line, with their types: the union over all kinds of line that a table needs."""

NEEDED = ("session_begun", "session_ended", "set_begun", "set_ended", "answered", "unanswered", "halted", "halt_why",
          "ready", "resumed", "eased", "safety_sign")  # fmt: skip
PASSED_OVER = tuple(kind for kind in KINDS if kind not in NEEDED)
"""Kinds of line that no table needs. An unknown kind is not among them: its file is checked in full."""

MUST_HAVE = {
    "session_begun": ("program", "digest", "plan"),
    "set_begun": ("set_id", "exercise", "level", "set", "side", "kind", "planned_low", "planned_high"),
    "set_ended": ("set_id", "exercise", "level", "set", "side", "kind", "planned_low", "planned_high", "why"),
    "session_ended": ("why",),
    "answered": ("question",),
    "unanswered": ("question",),
    "halt_why": ("why",),
    "eased": ("exercise", "what", "because"),
    "safety_sign": ("why",),
}
"""Fields a line of each kind must have; the file of a line without them is checked in full."""


class Clinic(NamedTuple):
    """A clinic's tables in the engine."""

    engine: DuckDBPyConnection
    members: dict[str, Member]
    """Id to person, with their home; empty if the clinic was opened from columns."""
    proven: bool
    """True: the logbooks were read and their checksums checked; False: columns made from them were read."""
    unread: dict[str, list[PastSession]]
    """Person to the sessions that may be in their unreadable files."""
    decided: dict[str, DecisionLines]
    """Person to what was decided; without those whose file cannot be read. Empty if opened from columns."""


def open_clinic(folder: Path) -> Clinic:
    """Return the tables of a home, of a folder of homes, or of columns from `write_columns`.

    Raises CoachError, which says what to do, if the folder is none of them or the engine is missing.
    """
    engine = _engine()
    if (folder / "sessions.parquet").is_file():
        _open_columns(engine, folder)
        return Clinic(engine, {}, proven=False, unread={}, decided={})
    left_out: list[NotCounted] = []
    everybody = members(folder, left_out)
    for statement in statements("tables"):
        engine.execute(statement)
    engine.execute("INSERT INTO people SELECT unnest(?::VARCHAR[])", [[one.person for one in everybody]])
    unread: dict[str, list[PastSession]] = {}
    _load(engine, folder, everybody, left_out, unread)
    decided: dict[str, DecisionLines] = {}
    for one in everybody:
        with suppress(UnreadableError):
            decided[one.person] = one.home.decisions(one.at_home.id)
    _load_holds(engine, decided)
    return Clinic(engine, {one.person: one for one in everybody}, proven=True, unread=unread, decided=decided)


def write_columns(clinic: Clinic, folder: Path) -> None:
    """Write every table as a Parquet file into `folder`, readable by its owner only.

    Each file is replaced whole or left alone. All have the same mark, by which `open_clinic` knows that they belong
    together. Raises CoachError, which says what to do.
    """
    import duckdb

    before = os.umask(0o077)  # the engine creates its own files
    how = f"FORMAT parquet, COMPRESSION zstd, USE_TMP_FILE false, KV_METADATA {{{MARK}: '{token_hex(8)}'}}"
    try:
        make_folder(folder)
        with ExitStack() as written:  # all are written before the first is moved into place
            for table in TABLES:
                beside = written.enter_context(output(folder / f"{table}.parquet"))
                clinic.engine.execute(f"COPY (FROM {table} ORDER BY ALL) TO {_text(beside)} ({how})")
    except (OSError, duckdb.Error) as error:
        reason = getattr(error, "strerror", "") or "the engine could not write there"
        raise CoachError(
            f"Cannot write columns into {folder} ({reason}): name a folder where you may write."
        ) from error
    finally:
        os.umask(before)


def statements(name: str) -> list[str]:
    """Return the statements of a file in sql/, without their comments."""
    text = re.sub(r"--.*", "", (SQL / f"{name}.sql").read_text("utf-8"))
    return [statement.strip() for statement in text.split(";") if statement.strip()]


def ask(engine: DuckDBPyConnection, query: str) -> list[dict[str, Any]]:
    """Return the rows of a query in sql/, each by the names of its columns."""
    (statement,) = statements(query)
    result = engine.execute(statement)
    names = [column[0] for column in result.description]
    return [dict(zip(names, row, strict=True)) for row in result.fetchall()]


def _engine() -> DuckDBPyConnection:
    try:
        import duckdb
    except ImportError as error:
        raise CoachError("The clinic's engine is missing; install it with: pip install duckdb") from error
    # The engine fetches nothing: all it needs is in its package.
    # Its default temporary folder is the current one, readable by everybody.
    aside = TemporaryDirectory(prefix="coach-clinic-", ignore_cleanup_errors=True)
    config: dict[str, str | bool | int | float | list[str]] = {
        "autoinstall_known_extensions": "false",
        "autoload_known_extensions": "false",
        "memory_limit": MEMORY,
        "temp_directory": aside.name,
    }
    engine = duckdb.connect(":memory:", config=config)
    weakref.finalize(engine, aside.cleanup)
    return engine


def _open_columns(engine: DuckDBPyConnection, folder: Path) -> None:
    import duckdb

    anew = "write the columns anew: coach review --clinic HOME --parquet DIR"
    marks = set()
    for table in TABLES:
        path = _text(folder / f"{table}.parquet")
        try:
            engine.execute(f"CREATE VIEW {table} AS FROM read_parquet({path})")
            held = dict(engine.execute(f"SELECT key, value FROM parquet_kv_metadata({path})").fetchall())  # noqa: S608
            marks.add(held.get(MARK.encode()))
        except duckdb.Error as error:
            raise CoachError(f"{folder}/{table}.parquet cannot be read; {anew}") from error
    if len(marks) > 1:
        raise CoachError(f"The files in {folder} do not belong together: writing them was interrupted; {anew}")


def _load(
    engine: DuckDBPyConnection,
    folder: Path,
    everybody: tuple[Member, ...],
    left_out: list[NotCounted],
    unread: dict[str, list[PastSession]],
) -> None:
    found = logbooks(folder, everybody, left_out, unread)
    while heap := list(islice(found, HEAP)):
        heap = _readable(engine, heap, folder, left_out)
        suspects = set(_suspects(engine))
        if suspects:
            for book in heap:
                if book.path.as_posix() in suspects:
                    recheck(book, folder, left_out)
            heap = [book for book in heap if book.sound or book.path.as_posix() not in suspects]
            heap = _readable(engine, heap, folder, left_out)
        heap = list(_own(engine, heap, folder, everybody, left_out))
        for statement in statements("load"):
            engine.execute(statement)
    if engine.execute("SELECT 1 FROM sessions WHERE continues IS NOT NULL LIMIT 1").fetchone():
        for statement in statements("joined"):
            engine.execute(statement)
    engine.execute(
        "INSERT INTO left_out SELECT unnest(?::VARCHAR[]), unnest(?::INTEGER[]), unnest(?::VARCHAR[])",
        [[one.file for one in left_out], [one.line for one in left_out], [one.text for one in left_out]],
    )


def _load_holds(engine: DuckDBPyConnection, decided: dict[str, DecisionLines]) -> None:
    """Put the holds that stand beside the decisions among the signs, and mark what was cleared."""
    for person, one in decided.items():
        for hold in one.holds:
            sign, day = hold.sign, None if hold.day is None else hold.day.toordinal() - EPOCH
            engine.execute(
                "INSERT INTO signs VALUES (?, ?, ?, ?, ?, ?, true, false, ?, ?, ?, ?, ?, ?, ?, ?)",
                [person, hold.session, hold.session, hold.began, day, hold.program, sign.why, sign.times, sign.days,
                 sign.effect, sign.question, sign.asked, sign.answer, sign.call],
            )  # fmt: skip
        if one.cleared:
            engine.execute(
                "UPDATE signs SET cleared = true WHERE person = ? AND list_contains(?::VARCHAR[], session)",
                [person, sorted(one.cleared)],
            )


def _readable(
    engine: DuckDBPyConnection, heap: Sequence[Logbook], folder: Path, left_out: list[NotCounted]
) -> list[Logbook]:
    """Put the lines of a heap of files into `lines`; leave out the files whose JSON the engine cannot read."""
    import duckdb

    def taken(*books: Logbook) -> bool:
        try:
            _read(engine, books)
        except duckdb.Error:
            return False
        return True

    if taken(*heap):
        return list(heap)
    kept: list[Logbook] = []
    for book in heap:
        if not taken(book):
            if not book.sound:
                recheck(book, folder, left_out)
            lines = [line for line in book.sound if taken(replace(book, sound=[line]))]
            if len(lines) < len(book.sound):
                shown = book.path.relative_to(folder).as_posix()
                left_out.append(
                    NotCounted(shown, 0, "holds a line that the engine of the clinic's review cannot read as JSON")
                )
            book.sound = lines
            if not lines:
                continue
        kept.append(book)
    _read(engine, kept)
    return kept


def _read(engine: DuckDBPyConnection, heap: Sequence[Logbook]) -> None:
    """Put the lines of a heap of files into `lines`; of a damaged file only the sound lines."""
    columns = ("file", "person", "book", "began")
    lists = ", ".join(f"unnest(?::VARCHAR[]) AS {name}" for name in columns)
    engine.execute(
        f"CREATE OR REPLACE TEMPORARY TABLE books AS SELECT {lists}, unnest(?::INTEGER[]) AS day_number,"
        " unnest(?::BOOLEAN[]) AS doubtful",
        [
            [book.path.as_posix() for book in heap],
            [book.person for book in heap],
            [book.session for book in heap],
            [book.began for book in heap],
            [book.day for book in heap],
            [bool(book.sound) for book in heap],
        ],
    )
    parts = [(book.path.as_posix(), line) for book in heap for line in book.sound]
    sources = ["SELECT unnest(?::VARCHAR[]) AS file, unnest(?::JSON[]) AS held"]
    given: list[list[str]] = [[file for file, _ in parts], [line for _, line in parts]]
    whole = [book.path.as_posix() for book in heap if not book.sound]
    if whole:
        sources.append("SELECT filename AS file, json AS held FROM read_ndjson_objects(?, filename = true)")
        given.append(whole)
    needed = f"(held ->> '$.line') NOT IN ({_quoted(PASSED_OVER)})"
    fields = f"unnest(from_json(held, '{json.dumps(FIELDS)}'), max_depth := 1)"
    engine.execute(
        "CREATE OR REPLACE TEMPORARY TABLE lines AS"  # noqa: S608 - our own words
        " SELECT b.file, b.person, b.book, told.* EXCLUDE (person, file), told.person AS told_of"
        f" FROM (SELECT file, {fields} FROM ({' UNION ALL '.join(sources)}) WHERE {needed}) told"
        " JOIN books b ON b.file = told.file",
        given,
    )


def _text(path: Path) -> str:
    """Return a path as an SQL string."""
    return "'" + str(path).replace("'", "''") + "'"


def _quoted(words: Iterable[str]) -> str:
    return ", ".join(f"'{word}'" for word in words)


def _suspects(engine: DuckDBPyConnection) -> list[str]:
    """Return the files that have a line of an unknown kind or a line that lacks a required field."""
    lacking = " OR ".join(
        f"(line = '{kind}' AND ({' OR '.join(f'{json.dumps(name)} IS NULL' for name in names)}))"
        for kind, names in MUST_HAVE.items()
    )
    query = f"SELECT DISTINCT file FROM lines WHERE line IS NULL OR line NOT IN ({_quoted(NEEDED)}) OR {lacking}"  # noqa: S608
    rows = engine.execute(query).fetchall()
    return [str(file) for (file,) in rows]


def _own(
    engine: DuckDBPyConnection,
    heap: Sequence[Logbook],
    folder: Path,
    everybody: Iterable[Member],
    left_out: list[NotCounted],
) -> Iterator[Logbook]:
    """Leave out the files about a person other than the owner of their folder."""
    ids = {one.person: one.at_home.id for one in everybody}
    told = dict(engine.execute("SELECT file, told_of FROM lines WHERE line = 'session_begun'").fetchall())
    foreign = []
    for book in heap:
        of = told.get(book.path.as_posix())
        if of is not None and of != ids[book.person]:
            foreign.append(book.path.as_posix())
            shown = book.path.relative_to(folder).as_posix()
            left_out.append(NotCounted(shown, 0, "is about another person than the owner of its folder"))
        else:
            yield book
    if foreign:
        engine.execute("DELETE FROM lines WHERE list_contains(?::VARCHAR[], file)", [foreign])
        engine.execute("DELETE FROM books WHERE list_contains(?::VARCHAR[], file)", [foreign])
