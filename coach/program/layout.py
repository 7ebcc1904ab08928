"""Say what is wrong with the layout of a file: its indentation, a missing space, a space that only looks like one."""

from __future__ import annotations

import re
import unicodedata

MisplacedLine = tuple[int, int, str]
"""Line and column, both from 1, and the sentence."""

_ODD = "\u00a0\u00ad\u034f\u1680\u180e\u2000-\u200b\u202f\u205f\u2060\u3000\ufeff"
"""Characters that look like a space or are invisible, but that YAML takes for letters."""

_ANY_ODD = re.compile(f"[{_ODD}]")
_AT_FIELD = re.compile(rf"^[ \t-]*(?:[A-Za-z_]\w*:)?([{_ODD}])")
_BREAK = re.compile("\r\n|[\r\n\x85\u2028\u2029]")
"""What ends a line in YAML 1.1."""
_FIELD = re.compile(r"^(?P<indent> *(?:- +)*)(?P<name>[A-Za-z_]\w*) *:(?P<value>.*)$")
_NO_SPACE_AFTER_DASH = re.compile(r"^( *)-[A-Za-z_]\w*:")
_NO_SPACE_AFTER_COLON = re.compile(r"^( *(?:- +)*[a-z_]+:)[^\s:/]")


def odd_space(text: str) -> str:
    """Return what is wrong with a text that holds a character that only looks like a space; empty: nothing."""
    odd = _ANY_ODD.search(text)
    if odd is None:
        return ""
    name = unicodedata.name(odd[0], "a character without a name").lower()
    return f"holds an invisible character (U+{ord(odd[0]):04X}, {name}); delete it and type an ordinary space."


def odd_spaces(text: str) -> list[MisplacedLine]:
    """Return each line with such a character in its indentation or right after the name of its field."""
    found = []
    for number, line in enumerate(_BREAK.split(text.removeprefix("\ufeff")), start=1):
        if odd := _AT_FIELD.match(line):
            found.append((number, odd.start(1) + 1, f"this line {odd_space(odd[1])}"))
    return found


def explained(text: str, problem: str, line: int, column: int, block: tuple[int, int] | None) -> MisplacedLine | None:
    """Return which line is laid out wrong, and how, if that is why YAML cannot be read; else None.

    `problem` is the library's, at `line` and `column`; `block` is where the block began that it was reading. All count
    from 1.
    """
    lines = _BREAK.split(text)
    here = lines[line - 1] if line <= len(lines) else ""
    above = next((number for number in range(line - 1, 0, -1) if lines[number - 1].strip()), 0)
    for number in (above, line):
        if number and (missing := _missing_space(lines[number - 1])):
            return (number, *missing)
    begins = _column(here)
    upper = _FIELD.match(lines[above - 1]) if above else None
    if problem.startswith("mapping values") and _FIELD.match(here) and upper is not None:
        fits = len(upper["indent"]) + 1
        if begins > fits and upper["value"].strip():
            deeper = f'is indented deeper than "{upper["name"]}" above it, so that it was read as part of its text'
            return line, begins, f"this line {deeper}; begin it in column {fits}."
    if "expected <block end>" in problem and block is not None and column == begins:
        return line, begins, _out_of_line(lines, line, begins, *block)
    return None


def _missing_space(line: str) -> tuple[int, str] | None:
    if dash := _NO_SPACE_AFTER_DASH.match(line):
        return len(dash[1]) + 1, 'a space is missing after the "-"; write "- " before the first field.'
    if colon := _NO_SPACE_AFTER_COLON.match(line):
        return len(colon[1]), 'a space is missing after the ":"; write "field: value".'
    return None


def _out_of_line(lines: list[str], line: int, begins: int, block_line: int, block_column: int) -> str:
    entries = [each for each in lines[block_line - 1 : line - 1] if re.match(rf" {{{block_column - 1}}}- ", each)]
    if entries and not lines[line - 1].lstrip().startswith("-"):
        fits = len(entries[-1]) - len(entries[-1].lstrip(" -")) + 1
        return (
            f"this line begins in column {begins}, but the fields of its entry begin in column {fits}; move it there."
        )
    return (
        f"this line begins in column {begins}, but the block from line {block_line} begins in column {block_column}; "
        "begin both in the same column."
    )


def _column(line: str) -> int:
    return len(line) - len(line.lstrip(" ")) + 1
