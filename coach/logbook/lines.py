"""The lines of a session's file: write one, and read them back without ever failing.

A line is a JSON object: "v" (version of the format), "n" (number of the line, from 1), "t" (UTC, ISO 8601), "at"
(sample of the session), "line" (its kind), the fields of that kind (see `kinds`), and last "chain". The chain is the
SHA-256, in hex, of the previous chain and of the line without its own; before the first line it is the session's id. It
reveals a line that was changed, moved or removed. A torn line is no JSON, and a file without its last lines lacks
"session_ended".
"""

from __future__ import annotations

import json
from collections.abc import Mapping
from dataclasses import dataclass
from hashlib import sha256
from typing import Any

from coach.logbook.fields import UnfitField, fact, fields_of, plain
from coach.loglines.kinds import KIND_OF, Fact

VERSION = 2
"""Version of the format that this program writes; it reads all versions up to this one. Version 1 had some unused
fields, and wrote fields that hold their default."""

LONGEST = 256 * 1024
"""Most characters of a line: the longest, a session's first, has some 10,000."""
MOST_STRANGE = 1000
"""Most lines that are not of a logbook before reading stops: such a file is no logbook, and each line takes memory."""

FRAME = ("v", "n", "t", "at", "line", "chain")
"""The keys of every line; no kind may have a field of that name."""


@dataclass(frozen=True, slots=True)
class Line:
    """One line of a session's file."""

    n: int
    """Number of the line, from 1."""
    t: str
    """When it was written: UTC, ISO 8601."""
    at: int
    """When it happened, in samples from the start of the session."""
    kind: str
    """One of `KINDS`; "line" in the file."""
    fields: Mapping[str, Any]
    """The fields of its kind, as JSON gives them."""
    v: int = VERSION
    chain: str = ""


@dataclass(frozen=True, slots=True)
class Problem:
    """Something wrong in a file."""

    line: int
    """Number of the line in the file, from 1."""
    text: str
    """What is wrong, as a sentence whose subject is the line."""


@dataclass(frozen=True, slots=True)
class Reading:
    """What a session's file holds."""

    lines: tuple[Line, ...]
    """Every complete and readable line, in the file's order, including those with a problem."""
    problems: tuple[Problem, ...]
    torn: str
    """What follows the last complete line; empty in a whole file."""
    chain: str
    """The chain of the last line."""
    suspect: frozenset[int] = frozenset()
    """Indexes of the `lines` with a problem."""


def line_of(n: int, t: str, at: int, it: Fact) -> Line:
    """Return a fact as line number `n`, written at time `t`, that happened at sample `at`."""
    return Line(n, t, at, KIND_OF[type(it)], fields_of(it))


def encode(line: Line, previous: str) -> tuple[str, str]:
    """Return the text of `line`, without a newline, and its chain; `previous` is the previous chain."""
    body = _json({"v": line.v, "n": line.n, "t": line.t, "at": line.at, "line": line.kind, **plain(line.fields)})
    return seal(body, previous)


def seal(body: str, previous: str) -> tuple[str, str]:
    """Return the text of a line with its chain, and the chain; `body` is its JSON without the chain."""
    chain = _chained(previous, body)
    return body[:-1] + _tail(chain), chain


def read_lines(text: str, session: str = "") -> Reading:
    """Read the text of a session's file, whatever it holds; `session` is the expected id, if known."""
    lines: list[Line] = []
    problems: list[Problem] = []
    suspect: set[int] = set()
    previous = session
    strange = 0
    begin = number = 0
    while (end := text.find("\n", begin)) >= 0 and strange < MOST_STRANGE:
        written, begin, number = text[begin:end], end + 1, number + 1
        line = _parsed(written) if len(written) <= LONGEST else None
        if line is None:
            strange += 1
            problems.append(Problem(number, "is not a line of a logbook"))
            continue
        if not lines and not previous and isinstance(line.fields.get("session"), str):
            previous = line.fields["session"]
        expected = lines[-1].n + 1 if lines else 1
        found = [Problem(number, text) for text in _complaints(line, written, previous, expected)]
        if found:
            suspect.add(len(lines))
            problems += found
        lines.append(line)
        previous = line.chain
    torn = text[begin:] if end < 0 else ""
    if torn:
        problems.append(Problem(number + 1, "is torn off before its end"))
    elif end >= 0:
        problems.append(
            Problem(number + 1, "and all after it were not read: too many lines before it are not of a logbook")
        )
    return Reading(tuple(lines), tuple(problems), torn, previous, frozenset(suspect))


def _complaints(line: Line, written: str, previous: str, expected: int) -> list[str]:
    found = []
    if line.v > VERSION:
        found.append(f"was written by a newer version (format {line.v}, this one reads {VERSION})")
    if line.n > expected:
        found.append(f"has number {line.n} instead of {expected}: lines are missing before it")
    elif line.n < expected:
        found.append(f"has number {line.n} instead of {expected}: it is in the wrong place")
    elif not _sealed(line, written, previous):
        found.append("does not match its checksum: it, or a line before it, was changed")
    try:
        fact(line.kind, line.fields)
    except UnfitField as unfit:
        if line.v <= VERSION:
            found.append(f"cannot be used: {unfit}")
    return found


def _sealed(line: Line, written: str, previous: str) -> bool:
    """Tell whether a line is exactly what was written after `previous`."""
    tail = _tail(line.chain)
    return written.endswith(tail) and line.chain == _chained(previous, written.removesuffix(tail) + "}")


def _parsed(written: str) -> Line | None:
    try:
        held = _JSON.decode(written)
        if "\\u" in written or not _is_utf8(written):
            held = plain(held)  # text that is not UTF-8 becomes "?" and breaks the chain
    except (ValueError, RecursionError):
        return None
    if not isinstance(held, dict):
        return None
    v, n, t, at, kind, chain = (held.pop(name, None) for name in FRAME)
    numbers = all(isinstance(number, int) and not isinstance(number, bool) for number in (v, n, at))
    if not (numbers and isinstance(t, str) and isinstance(kind, str) and isinstance(chain, str)):
        return None
    return Line(n=n, t=t, at=at, kind=kind, fields=held, v=v, chain=chain)


def _no_number(word: str) -> None:
    """Refuse NaN and Infinity, which are not JSON, although the library accepts them."""
    raise ValueError(word)


_JSON = json.JSONDecoder(parse_constant=_no_number)


def _is_utf8(text: str) -> bool:
    try:
        text.encode("utf-8")
    except UnicodeEncodeError:
        return False
    return True


def _tail(chain: str) -> str:
    """Return the end of a line, from its chain in hex."""
    return f',"chain":"{chain}"}}'


def _chained(previous: str, body: str) -> str:
    return sha256((previous + body).encode("utf-8", "surrogatepass")).hexdigest()


def _json(held: Mapping[str, Any]) -> str:
    return json.dumps(held, ensure_ascii=False, allow_nan=False, separators=(",", ":"))
