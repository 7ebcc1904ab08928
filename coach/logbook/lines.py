"""One line of a session's file: how it is written, and how it is read back without ever failing.

A line is a JSON object: "v" (version of the format), "n" (number of the line, from 1), "t" (UTC, ISO 8601), "at"
(sample of the session), "line" (its kind), the fields of that kind (see `kinds`), and last "chain": the SHA-256, in
hex, of the chain before it and of the line without its chain. The chain before the first line is the session's id. So a
line that was changed, moved or taken out shows, and so does a tail that was torn off in mid-line; a file that lost its
last lines whole shows by lacking "session_ended".
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
"""Version of the format that this program writes; it reads this and all before it. In 1 a line named fields that
nothing wrote, and held those with their defaults too."""

LONGEST = 256 * 1024
"""Signs of a line at most: the longest that is written, a session's first, has some 10,000."""
MOST_STRANGE = 1000
"""Lines that are none after which the rest of a file is not read: so much is no damage, and each takes memory."""

FRAME = ("v", "n", "t", "at", "line", "chain")
"""The keys that every line has; no kind may have a field of such a name."""


@dataclass(frozen=True, slots=True)
class Line:
    """One line of a session's file."""

    n: int
    """Number of the line, from 1."""
    t: str
    """When it was given to be written: UTC, ISO 8601."""
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
    """Something in a file that should not be so."""

    line: int
    """Number of the line in the file, from 1."""
    text: str
    """What is wrong, as the end of a sentence."""


@dataclass(frozen=True, slots=True)
class Reading:
    """What could be read of a session's file."""

    lines: tuple[Line, ...]
    """Every complete line that is readable, in the file's order, those with a problem too."""
    problems: tuple[Problem, ...]
    torn: str
    """What stands after the last complete line; empty in a whole file."""
    chain: str
    """The chain to go on from."""
    suspect: frozenset[int] = frozenset()
    """Which of `lines`, by index, have a problem."""


def line_of(n: int, t: str, at: int, it: Fact) -> Line:
    """Return what is to be written as a line: `n` its number, `t` when, `at` in samples of the session."""
    return Line(n, t, at, KIND_OF[type(it)], fields_of(it))


def encode(line: Line, previous: str) -> tuple[str, str]:
    """Return the text of `line`, without a newline, and its chain; `previous` is the chain before it."""
    body = _json({"v": line.v, "n": line.n, "t": line.t, "at": line.at, "line": line.kind, **plain(line.fields)})
    return seal(body, previous)


def seal(body: str, previous: str) -> tuple[str, str]:
    """Return the text of a line with its chain, and the chain; `body` is its JSON without one."""
    chain = _chained(previous, body)
    return body[:-1] + _tail(chain), chain


def read_lines(text: str, session: str = "") -> Reading:
    """Read the text of a session's file, whatever it holds; `session` is the id that it should have, if known."""
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
            Problem(number + 1, "is not read, nor what follows: too much before it is no line of a logbook")
        )
    return Reading(tuple(lines), tuple(problems), torn, previous, frozenset(suspect))


def _complaints(line: Line, written: str, previous: str, expected: int) -> list[str]:
    found = []
    if line.v > VERSION:
        found.append(f"was written by a newer version (format {line.v}, this one reads {VERSION})")
    if line.n > expected:
        found.append(f"is number {line.n}, where {expected} was due: lines are missing before it")
    elif line.n < expected:
        found.append(f"is number {line.n}, where {expected} was due: it stands in the wrong place")
    elif not _sealed(line, written, previous):
        found.append("does not match its checksum: it, or a line before it, was changed")
    try:
        fact(line.kind, line.fields)
    except UnfitField as unfit:
        if line.v <= VERSION:
            found.append(f"cannot be used as it stands: {unfit}")
    return found


def _sealed(line: Line, written: str, previous: str) -> bool:
    """Tell whether a line is, to the letter, what was written after `previous`."""
    tail = _tail(line.chain)
    return written.endswith(tail) and line.chain == _chained(previous, written.removesuffix(tail) + "}")


def _parsed(written: str) -> Line | None:
    try:
        held = _JSON.decode(written)
        if "\\u" in written or not _is_utf8(written):
            held = plain(held)  # text that no terminal could show becomes "?" and breaks the seal
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
    """Refuse NaN and Infinity, which are no JSON, though the library takes them."""
    raise ValueError(word)


_JSON = json.JSONDecoder(parse_constant=_no_number)


def _is_utf8(text: str) -> bool:
    try:
        text.encode("utf-8")
    except UnicodeEncodeError:
        return False
    return True


def _tail(chain: str) -> str:
    """Return how a line ends, whose chain is in hex."""
    return f',"chain":"{chain}"}}'


def _chained(previous: str, body: str) -> str:
    return sha256((previous + body).encode("utf-8", "surrogatepass")).hexdigest()


def _json(held: Mapping[str, Any]) -> str:
    return json.dumps(held, ensure_ascii=False, allow_nan=False, separators=(",", ":"))
