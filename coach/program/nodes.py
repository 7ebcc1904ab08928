"""Turn the text of a program file into YAML nodes that know their line and column; no Python object is built."""

from __future__ import annotations

from contextlib import suppress
from dataclasses import dataclass, field

import yaml
from yaml.composer import Composer
from yaml.nodes import MappingNode, Node, ScalarNode, SequenceNode

from coach.errors import ProgramError
from coach.program.layout import explained, odd_spaces

LONGEST_FILE = 1024 * 1024
"""Bytes or characters of a file at most: a hundred times the longest shipped program."""

DEEPEST = 20
"""Levels of nesting at most; a program needs nine."""

MOST_NODES = 10_000
"""Values in one file at most; the longest shipped program has about 300."""

MOST_PROBLEMS = 20
"""Problems shown at once: nobody reads more."""


@dataclass(slots=True)
class Problems:
    """The problems found in one file."""

    name: str
    """Name of the file in messages."""
    found: dict[tuple[int, int, str], None] = field(default_factory=dict)
    """Line and column, both from 1, and the sentence; a dict, so that a problem is reported once."""

    def add(self, where: Node | tuple[int, int], sentence: str) -> None:
        """Note a problem at a node, or at a line and column counted from 1."""
        line, column = where if isinstance(where, tuple) else place(where)
        plain = "".join(sign if sign.isprintable() else f"U+{ord(sign):04X}" for sign in sentence)  # one line
        self.found[line, column, plain] = None

    def error(self) -> ProgramError:
        """Return one error with a line for each problem, in the order of the file."""
        lines = [f"{self.name}:{line}:{column}: {sentence}" for line, column, sentence in sorted(self.found)]
        if len(lines) > MOST_PROBLEMS:
            hidden = len(lines) - MOST_PROBLEMS + 1
            lines[MOST_PROBLEMS - 1 :] = [f"{self.name}: and {hidden} more problems; mend these first."]
        return ProgramError("\n".join(lines))


def place(node: Node) -> tuple[int, int]:
    """Return the line and column of a node, both from 1."""
    return node.start_mark.line + 1, node.start_mark.column + 1


def compose(text: str, problems: Problems) -> MappingNode | None:
    """Return the file's fields; None if the file is not YAML or not a mapping, after the problem was noted."""
    if len(text) > LONGEST_FILE:
        problems.add((1, 1), f"the file is longer than {LONGEST_FILE // 1024**2} MiB; a program is a few pages.")
        return None
    for line, column, sentence in odd_spaces(text):
        problems.add((line, column), sentence)
    if problems.found:
        return None
    try:
        loader = Bounded(text)
    except yaml.reader.ReaderError as error:
        problems.add(_line_and_column(text, error.position), _unprintable(text, error.position))
        return None
    try:
        node = loader.get_single_node()
    except yaml.reader.ReaderError as error:
        problems.add(_line_and_column(text, error.position), _unprintable(text, error.position))
        return None
    except yaml.MarkedYAMLError as error:
        problems.add(*_told(text, error))
        return None
    except (yaml.YAMLError, ValueError, OverflowError):  # an escape or a directive with an impossible number
        problems.add((loader.line + 1, loader.column + 1), "this is not YAML; mend it or put the text in quotes.")
        return None
    if node is None:
        problems.add((1, 1), 'the file holds no fields; begin with "format: 1".')
        return None
    if not isinstance(node, MappingNode):
        problems.add(node, f'a program is a list of fields such as "format: 1" and "title: ...", found {found(node)}.')
        return None
    return node


def found(node: Node) -> str:
    """Describe in a few words what the node holds."""
    if isinstance(node, MappingNode):
        return "a block of fields"
    if isinstance(node, SequenceNode):
        return "a list"
    if is_empty(node):
        return "nothing"
    text = " ".join(str(node.value).split())
    short = text if len(text) <= 40 else text[:37] + "..."
    short = "".join(c if c.isprintable() else "?" for c in short)
    return short if is_plain(node) else f'"{short}"'


def is_plain(node: Node) -> bool:
    """Tell whether a scalar is written without quotes."""
    return isinstance(node, ScalarNode) and node.style is None


def is_empty(node: Node) -> bool:
    """Tell whether the field has no value."""
    return is_plain(node) and _tag(node) == "null"


def read_as(node: ScalarNode) -> str:
    """Return in words the type that another YAML reader gives an unquoted scalar; empty if all read it as text."""
    return _OTHER_TYPES.get(_tag(node), "") if is_plain(node) else ""


def is_whole(node: ScalarNode) -> bool:
    """Tell whether every YAML reader takes the scalar for a whole number."""
    return is_plain(node) and _tag(node) == "int"


_OTHER_TYPES = {
    "bool": "yes or no",
    "int": "a number",
    "float": "a number",
    "null": "nothing",
    "timestamp": "a date",
}


def _tag(node: Node) -> str:
    return str(node.tag).rpartition(":")[2]


class _Composer(Composer):
    """Composes nodes within bounds, and refuses aliases, anchors and tags: they hide where a value comes from."""

    _depth = 0
    _nodes = 0

    def compose_node(self, parent: Node | None, index: int) -> Node | None:
        """Return the next node. Raises MarkedYAMLError at an alias, anchor or tag, or beyond a bound."""
        event = self.peek_event()  # type: ignore[attr-defined]  # of the parser beside it
        mark = event.start_mark
        if isinstance(event, yaml.AliasEvent):
            raise yaml.MarkedYAMLError(problem="*alias", problem_mark=mark)
        if getattr(event, "anchor", None):
            raise yaml.MarkedYAMLError(problem="&anchor", problem_mark=mark)
        if getattr(event, "tag", None):
            raise yaml.MarkedYAMLError(problem="!tag", problem_mark=mark)
        self._nodes += 1
        if self._nodes > MOST_NODES:
            raise yaml.MarkedYAMLError(problem="#nodes", problem_mark=mark)
        self._depth += 1
        if self._depth > DEEPEST:
            raise yaml.MarkedYAMLError(problem="#depth", problem_mark=mark)
        node: Node | None = super().compose_node(parent, index)
        self._depth -= 1
        return node


class Bounded(_Composer, yaml.SafeLoader):
    """Composes the nodes of a program file by PyYAML's own code, whose errors can be explained."""

    def fetch_flow_collection_start(self, TokenClass: type[yaml.Token]) -> None:  # noqa: N803 - the library's name
        """Read an opening bracket unless too many are open: the library would look ahead over them for minutes."""
        if self.flow_level >= DEEPEST - 1:  # the file itself is the first level
            raise yaml.MarkedYAMLError(problem="#depth", problem_mark=self.get_mark())
        super().fetch_flow_collection_start(TokenClass)


if yaml.__with_libyaml__:

    class _Fast(_Composer, yaml.CSafeLoader):
        """The same by the C library: ten times as fast, but its errors are worded differently."""

        def __init__(self, text: str) -> None:
            yaml.CSafeLoader.__init__(self, text)
            Composer.__init__(self)

        def compose_scalar_node(self, anchor: dict[str, Node]) -> ScalarNode:
            """Return a scalar; as in the Python reader, one without quotes has no style."""
            node: ScalarNode = super().compose_scalar_node(anchor)
            node.style = node.style or None
            return node


def root_of(text: str) -> Node | None:
    """Return the root node of a voice pack's file; None if it is empty. Raises what `Bounded` raises.

    The C library reads it if it is installed. A text that it refuses, or
    that holds a tab (which the two read differently), goes to `Bounded`, whose answer counts.
    """
    if yaml.__with_libyaml__ and "\t" not in text:
        with suppress(yaml.YAMLError, ValueError, OverflowError):
            fast: Node | None = _Fast(text).get_single_node()
            return fast
    node: Node | None = Bounded(text).get_single_node()
    return node


_PLAIN_WORDS = (
    ("*alias", 'found a YAML alias (*name); write the value out here, or put text that begins with "*" in quotes.'),
    ("&anchor", 'found a YAML anchor (&name); write each value out, or put text that begins with "&" in quotes.'),
    ("!tag", 'found a YAML tag (!name); leave it out, or put text that begins with "!" in quotes.'),
    ("#nodes", "the file holds more values than any program needs; split it."),
    ("#depth", f"nested deeper than {DEEPEST} levels; a program needs no more than nine, so a bracket may be open."),
    ("'\\t'", "found a tab; indent with spaces."),
    ("mapping values are not allowed", 'a ":" is in the way here; put text that holds ": " in quotes.'),
    ("cannot start any token", "text cannot begin with this character; put the text in quotes."),
    ("could not find expected ':'", 'this line is not "field: value"; add the colon, or mend the indentation.'),
    ("expected <block end>", "this does not fit the lines above; align it with them, or put the text in quotes."),
    ("expected the node content", "a value was expected here; mend the bracket or comma, or put the text in quotes."),
    ("unexpected end of stream", "a quote is open at the end of the file; close it."),
    ("unexpected document separator", "a quote is open before this line; close it."),
    (
        "expected ',' or",
        "a bracket is open or a comma is missing; close it, or put text that holds a comma or ? in quotes.",
    ),
    ("unknown escape", "a backslash in double quotes begins an escape; use single quotes, or write it twice."),
    ("hexadecimal", "a backslash in double quotes begins an escape; use single quotes, or write it twice."),
    ("another document", 'a second document begins here; write one program per file and take out the line "---".'),
    ("expected '<document start>'", "the program ends above this line; mend the indentation, or take the rest out."),
)


def plain_words(problem: str) -> str:
    """Return a YAML error as a sentence that says what to do."""
    for sign, words in _PLAIN_WORDS:
        if sign in problem:
            return words
    found = f" ({problem})" if problem else ""
    return f"this is not YAML{found}; mend it or put the text in quotes."


def _told(text: str, error: yaml.MarkedYAMLError) -> tuple[tuple[int, int], str]:
    """Return where the file is not YAML, and what to do."""
    problem = str(error.problem or error.context or "")
    mark, begun = error.problem_mark or error.context_mark, error.context_mark
    where = (mark.line + 1, mark.column + 1) if mark else (1, 1)
    block = (begun.line + 1, begun.column + 1) if begun else None
    if layout := explained(text, problem, *where, block):
        line, column, sentence = layout
        return (line, column), sentence
    return where, plain_words(problem)


def _unprintable(text: str, position: int) -> str:
    return f"found the control character U+{ord(text[position]):04X}; take it out."


def _line_and_column(text: str, position: int) -> tuple[int, int]:
    before = text[:position]
    return before.count("\n") + 1, position - before.rfind("\n")
