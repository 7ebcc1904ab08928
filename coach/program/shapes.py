"""Composite values: named times, lists and blocks of fields; how each is read, and its JSON Schema."""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from functools import lru_cache
from typing import Any

from yaml.nodes import MappingNode, Node, ScalarNode, SequenceNode

from coach.errors import did_you_mean
from coach.program.layout import odd_space
from coach.program.nodes import Problems, found, is_empty, place, read_as
from coach.program.values import Text, Unfit, Value

REQUIRED = object()
"""Default of a field that must be written."""

WITHOUT = object()
"""Default of a field that may be absent: no value replaces it, because absence has its own meaning."""


@dataclass(frozen=True, slots=True)
class Times:
    """Names in order, each with a time: the phases of a rep, the points of a route."""

    each: Value
    most: int
    example: str
    name: Text = field(default_factory=lambda: Text(longest=30))


@dataclass(frozen=True, slots=True)
class Items:
    """A list whose entries are of one kind."""

    of: Text | Section
    most: int
    least: int = 0


@dataclass(frozen=True, slots=True)
class Field:
    """One field of a block: its name, kind, default and meaning."""

    name: str
    kind: Value | Times | Items | Section
    about: str
    """Its meaning for the author of a program: the schema's description, and a hint in messages."""
    default: Any = REQUIRED
    """The default as an author would write it, or REQUIRED or WITHOUT."""


@dataclass(frozen=True, slots=True)
class Section:
    """A block of named fields."""

    fields: tuple[Field, ...]
    apart: tuple[tuple[str, ...], ...] = ()
    """Groups of fields of which only one group may be written."""
    exactly_one: tuple[str, ...] = ()
    """Fields of which exactly one must be written."""
    partial: bool = False
    """True: no field is required and no default filled in, because another block completes this one."""


@dataclass(slots=True)
class Got:
    """A block as it was read."""

    node: Node | None
    """Its node; None if it was not written and holds defaults."""
    values: dict[str, Any] = field(default_factory=dict)
    """Field to value, with defaults; an unreadable field is missing."""
    nodes: dict[str, Node] = field(default_factory=dict)
    """Field to the node of its value, for every field in the file."""

    def __getitem__(self, name: str) -> Any:  # noqa: ANN401 - each field has a type of its own
        return self.values[name]

    def get(self, name: str) -> Any:  # noqa: ANN401 - as above
        """Return the value, or None if there is none."""
        return self.values.get(name)

    def wrote(self, name: str) -> bool:
        """Tell whether the field is in the file."""
        return name in self.nodes


@dataclass(slots=True)
class ReadingContext:
    """Context for reading one file."""

    problems: Problems
    halt_words: Mapping[str, str]
    """Every wording that would stop the session, with what to write instead."""
    around: list[tuple[str, Section]] = field(default_factory=list)
    """The blocks around the one that is being read, outermost first, with their names."""


@lru_cache(maxsize=8)
def _halt_pattern(words: tuple[str, ...]) -> re.Pattern[str] | None:
    """Return a pattern that finds any of the wordings as whole words; None if there is no wording."""
    known = sorted({" ".join(word.split()).casefold() for word in words} - {""}, key=len, reverse=True)
    return re.compile(rf"(?<!\w)({'|'.join(map(re.escape, known))})(?!\w)") if known else None


def read(kind: Value | Times | Items | Section, node: Node, name: str, reading: ReadingContext) -> Any:  # noqa: ANN401 - by kind
    """Return the node's value, or None after its problems were noted; `name` is the field in messages."""
    if isinstance(kind, Section):
        return _read_block(kind, node, name, reading)
    if isinstance(kind, Items):
        return _read_items(kind, node, name, reading)
    if isinstance(kind, Times):
        return _read_times(kind, node, name, reading)
    return _read_value(kind, node, name, reading)


def _read_value(kind: Value, node: Node, name: str, reading: ReadingContext) -> Any:  # noqa: ANN401 - by kind
    if not isinstance(node, ScalarNode):
        hint = "; put text with brackets or braces in quotes" if isinstance(kind, Text) else ""
        reading.problems.add(node, f"{name} must be a single value, found {found(node)}{hint}.")
        return None
    try:
        value = kind.take(node)
    except Unfit as unfit:
        reading.problems.add(node, f"{name} {odd_space(str(node.value)) or unfit}")
        return None
    if isinstance(kind, Text) and kind.spoken and not _may_be_said(value, node, name, reading):
        return None
    return value


def _may_be_said(text: str, node: Node, name: str, reading: ReadingContext) -> bool:
    halt = halt_word_in(text, reading.halt_words)
    if halt:
        other = f'write "{instead}"' if (instead := reading.halt_words.get(halt, "")) else "use another word"
        sentence = f'{name} holds "{halt}", which would stop the session when the coach says it; {other} instead.'
        reading.problems.add(node, sentence)
    return not halt


def halt_word_in(text: str, halt_words: Iterable[str]) -> str:
    """Return the first of `halt_words` that is said when `text` is read aloud; empty: none."""
    said = "".join(sign for sign in text if unicodedata.category(sign) != "Cf")  # what the voice leaves out
    match = halts.search(said.casefold()) if (halts := _halt_pattern(tuple(halt_words))) else None
    return match[1] if match else ""


def _read_items(kind: Items, node: Node, name: str, reading: ReadingContext) -> tuple[Any, ...] | None:
    if not isinstance(node, SequenceNode):
        reading.problems.add(
            node, f"{name} must be a list, found {found(node)}; write [a, b] or lines that begin with -."
        )
        return None
    if not kind.least <= len(node.value) <= kind.most:
        reading.problems.add(node, f"{name} must hold {kind.least} to {kind.most} entries, found {len(node.value)}.")
        return None
    one = f"{name} entry" if isinstance(kind.of, Text) else name.removesuffix("s")
    values = tuple(read(kind.of, item, one, reading) for item in node.value)
    return tuple(value for value in values if value is not None)


def _read_times(kind: Times, node: Node, name: str, reading: ReadingContext) -> tuple[tuple[str, Any], ...] | None:
    if not isinstance(node, MappingNode) or not node.value:
        what = "nothing" if isinstance(node, MappingNode) else found(node)
        reading.problems.add(node, f"{name} must be names with times, found {what}; write {kind.example}.")
        return None
    pairs = _pairs(node, name, reading)
    if len(pairs) > kind.most:
        reading.problems.add(node, f"{name} must hold {kind.most} names or fewer, found {len(pairs)}.")
        return None
    values = []
    for key, value in pairs:
        said = _read_value(kind.name, key, f"a name in {name}", reading)
        seconds = _read_value(kind.each, value, f"{name}: {key.value}", reading)
        if said is not None and seconds is not None:
            values.append((said, seconds))
    return tuple(values) if len(values) == len(node.value) else None


def _pairs(node: MappingNode, name: str, reading: ReadingContext) -> list[tuple[ScalarNode, Node]]:
    """Return keys and values, without duplicate keys and keys that are not simple names."""
    seen: dict[str, Node] = {}
    pairs = []
    for key, value in node.value:
        if not isinstance(key, ScalarNode):
            reading.problems.add(key, f"{name} must have simple names before the colon, found {found(key)}.")
        elif key.value in seen:
            line = place(seen[key.value])[0]
            reading.problems.add(key, f'{name} has "{key.value}" twice (first in line {line}); keep one.')
        else:
            seen[key.value] = key
            pairs.append((key, value))
    return pairs


def _read_block(kind: Section, node: Node, name: str, reading: ReadingContext) -> Got | None:
    if not isinstance(node, MappingNode):
        example = ", ".join(f"{known.name}: ..." for known in kind.fields[:2])
        reading.problems.add(node, f"{name} must be a block of fields ({example}), found {found(node)}.")
        return None
    known = {each.name: each for each in kind.fields}
    got = Got(node)
    reading.around.append((name, kind))
    for key, value in _pairs(node, name, reading):
        if key.value not in known:
            hint = _elsewhere(key.value, kind, reading) or did_you_mean(key.value, list(known))
            odd = odd_space(key.value)
            reading.problems.add(
                key, f"a field of {name} {odd}" if odd else f'{name} has no field "{_short(key)}"; {hint}'
            )
            continue
        got.nodes[key.value] = value
        if is_empty(value):
            reading.problems.add(value, f"{key.value} is empty; write a value or take the line out.")
            continue
        taken = read(known[key.value].kind, value, key.value, reading)
        if taken is not None:
            got.values[key.value] = taken
    reading.around.pop()
    _check_groups(kind, got, name, reading)
    if not kind.partial:
        for each in kind.fields:
            complete(got, each, node, name, reading)
    return got


def _elsewhere(name: str, kind: Section, reading: ReadingContext) -> str:
    """Return where a field with the wrong indentation belongs; empty if nowhere near."""
    for each in kind.fields:
        inner = each.kind.of if isinstance(each.kind, Items) else each.kind
        if isinstance(inner, Section) and name in [field.name for field in inner.fields]:
            return f'it belongs to "{each.name}": indent it deeper than that.'
    for outer, block in reversed(reading.around[:-1]):
        if name in [field.name for field in block.fields]:
            return f"it belongs to the {outer} around it: indent it less."
    return ""


def complete(got: Got, missing: Field, where: Node, name: str, reading: ReadingContext) -> None:
    """Fill in the default of a missing field, or note that the field is required."""
    if got.wrote(missing.name) or missing.default is WITHOUT:
        return
    if missing.default is REQUIRED:
        reading.problems.add(where, f'{name} lacks "{missing.name}" ({missing.about}); add it.')
    else:
        got.values[missing.name] = _default(missing)


def _default(missing: Field) -> Any:  # noqa: ANN401 - by kind
    if isinstance(missing.kind, Section):
        return Got(None, {each.name: _default(each) for each in missing.kind.fields if each.default is not WITHOUT})
    if isinstance(missing.kind, Items | Times):
        return tuple(missing.default)
    tag = "int" if isinstance(missing.default, int) else "str"
    return missing.kind.take(ScalarNode(f"tag:yaml.org,2002:{tag}", str(missing.default)))


def _check_groups(kind: Section, got: Got, name: str, reading: ReadingContext) -> None:
    written = [[each for each in group if got.wrote(each)] for group in kind.apart]
    written = [group for group in written if group]
    if len(written) > 1:
        first, second = written[0][0], written[1][0]
        sentence = f'{name} has both "{first}" and "{second}", which are two kinds of work; keep one kind.'
        reading.problems.add(got.nodes[second], sentence)
    if kind.exactly_one and sum(got.wrote(each) for each in kind.exactly_one) != 1 and got.node is not None:
        words = " or ".join(f'"{each}"' for each in kind.exactly_one)
        reading.problems.add(got.node, f"{name} needs exactly one of {words}; write one and not both.")


def _short(key: ScalarNode) -> str:
    return found(key).strip('"') if not read_as(key) else str(key.value)[:40]


def schema_of(kind: Value | Times | Items | Section) -> dict[str, Any]:
    """Return the JSON Schema of a kind, from the same table that the reader uses."""
    if isinstance(kind, Section):
        return _block_schema(kind)
    if isinstance(kind, Items):
        return {"type": "array", "items": schema_of(kind.of), "minItems": kind.least, "maxItems": kind.most}
    if isinstance(kind, Times):
        names = {"maxLength": kind.name.longest, "minLength": 1}
        times = {"propertyNames": names, "additionalProperties": kind.each.schema()}
        return {"type": "object", "minProperties": 1, "maxProperties": kind.most, **times}
    return kind.schema()


def _block_schema(kind: Section) -> dict[str, Any]:
    properties: dict[str, Any] = {}
    for each in kind.fields:
        about = each.about[:1].upper() + each.about[1:] + "."
        properties[each.name] = {"description": about, **schema_of(each.kind)}
        if each.default not in (REQUIRED, WITHOUT):
            plain = list(each.default) if isinstance(each.default, tuple) else each.default
            properties[each.name]["default"] = plain
    schema: dict[str, Any] = {"type": "object", "additionalProperties": False, "properties": properties}
    required = [each.name for each in kind.fields if each.default is REQUIRED]
    if required and not kind.partial:
        schema["required"] = required
    mixed = [
        {"not": {"required": [one, other]}}
        for index, group in enumerate(kind.apart)
        for later in kind.apart[index + 1 :]
        for one in group
        for other in later
    ]
    if mixed:
        schema["allOf"] = mixed
    if kind.exactly_one:
        schema["oneOf"] = [{"required": [each]} for each in kind.exactly_one]
    return schema
