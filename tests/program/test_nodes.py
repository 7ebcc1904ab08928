"""YAML nodes: a voice pack reads the same, within the same bounds, with the C library and without it."""

from __future__ import annotations

from pathlib import Path
from random import Random

import pytest
import yaml
from yaml.nodes import Node

from coach.program import nodes
from coach.program.nodes import DEEPEST, Bounded, root_of

FILES = sorted((Path(__file__).resolve().parents[2] / "voices").glob("*/*.yaml"))
SIGNS = (
    *":-{}[],\"'\\\t\n #&*!|>%@`?~.\r\x85\u2028\ufeff\x00\x07é한",
    ": ",
    "- ",
    "\n  ",
    "---\n",
    "? ",
    "!!int ",
    "<<: ",
)

pytestmark = pytest.mark.skipif(not yaml.__with_libyaml__, reason="PyYAML is here without its C library")


def told(node: Node | None) -> object:
    """Return a node's content without its position."""
    if node is None or isinstance(node, yaml.ScalarNode):
        return node and (node.tag, node.value, node.style)
    if isinstance(node, yaml.MappingNode):
        return node.tag, [(told(key), told(value)) for key, value in node.value]
    return node.tag, [told(one) for one in node.value]


def places(node: Node) -> list[tuple[int, int]]:
    inner = [one for pair in node.value for one in (pair if isinstance(pair, tuple) else (pair,))]
    mine = [nodes.place(node)]
    return mine if isinstance(node, yaml.ScalarNode) else mine + [place for one in inner for place in places(one)]


@pytest.mark.parametrize("file", FILES, ids=lambda file: f"{file.parent.name}/{file.name}")
def test_the_c_library_reads_a_shipped_pack_to_the_letter_and_the_line(
    file: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    text = file.read_text("utf-8")
    slow = Bounded(text).get_single_node()
    assert slow is not None
    monkeypatch.setattr(nodes, "Bounded", None)

    fast = root_of(text)
    assert fast is not None
    assert told(fast) == told(slow)
    assert places(fast) == places(slow)


def test_both_readers_read_a_changed_pack_alike() -> None:
    chance = Random(3)
    texts = [file.read_text("utf-8") for file in FILES]
    same = 0
    for _ in range(300):
        text = chance.choice(texts)
        at = chance.randrange(len(text))
        text = text[at : at + chance.randrange(20, 300)]
        for _ in range(chance.choice((1, 1, 3))):
            at = chance.randrange(len(text) + 1)
            text = text[:at] + chance.choice(SIGNS) + text[at + chance.choice((0, 0, 1)) :]
        try:
            slow = told(Bounded(text).get_single_node())
        except (yaml.YAMLError, ValueError, OverflowError):
            continue
        assert told(root_of(text)) == slow, text
        same += 1

    assert same > 50


@pytest.mark.parametrize(
    "text",
    [
        "a: &one 1\nb: *one",
        "a: &one 1",
        "a: !!int 1",
        "a: b: c",
        "[" * (DEEPEST + 1) + "]" * (DEEPEST + 1),
        "[" * 100_000,
        "- a\n" * 50,
        "a: \x07",
        'a: "\\xZZ"',
        "a: 1\n---\nb: 1",
    ],
)
def test_both_readers_refuse_a_file_in_the_same_words(text: str, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(nodes, "MOST_NODES", 50)
    with pytest.raises((yaml.YAMLError, ValueError)) as slow:
        Bounded(text).get_single_node()

    with pytest.raises(type(slow.value)) as found:
        root_of(text)
    assert str(found.value) == str(slow.value)


def test_a_pack_is_read_without_the_c_library_too(monkeypatch: pytest.MonkeyPatch) -> None:
    text = FILES[0].read_text("utf-8")
    with_it = told(root_of(text))
    monkeypatch.setattr(yaml, "__with_libyaml__", False)

    assert told(root_of(text)) == with_it
