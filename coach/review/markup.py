"""Write self-contained HTML: text is always escaped, the style is in the file, nothing is fetched."""

from __future__ import annotations

from html import escape
from pathlib import Path

STYLES = Path(__file__).parent / "styles"


_UNSHOWN = dict.fromkeys(
    [*range(9), 11, 12, *range(14, 32), *range(127, 160), *range(0x202A, 0x202F), *range(0x2066, 0x206A),
     *range(0xD800, 0xE000)],
    "\N{REPLACEMENT CHARACTER}",
)  # fmt: skip
"""Characters that HTML forbids, and those that change the order in which text is displayed."""


class Markup(str):
    """Text that is already HTML and is not escaped again."""

    __slots__ = ()


def tag(name: str, *children: str, **attributes: str) -> Markup:
    """Return an element with its text and attributes escaped; `class_` and `aria_label` become class and aria-label."""
    given = "".join(
        f' {key.rstrip("_").replace("_", "-")}="{escape(value.translate(_UNSHOWN))}"'
        for key, value in attributes.items()
        if value
    )
    return Markup(f"<{name}{given}>{''.join(map(_inside, children))}</{name}>")


def document(title: str, language: str, style: str, *body: str) -> str:
    """Return a whole page; `style` names files in styles/, separated by spaces."""
    css = "\n".join((STYLES / f"{name}.css").read_text("utf-8").strip() for name in style.split())
    head = tag(
        "head",
        Markup('<meta charset="utf-8"><meta name="viewport" content="width=device-width, initial-scale=1">'),
        tag("title", title),
        Markup(f"<style>\n{css}\n</style>"),
    )
    return "<!doctype html>\n" + tag("html", head, tag("body", tag("main", *body)), lang=language) + "\n"


def _inside(child: str) -> str:
    return child if isinstance(child, Markup) else escape(child.translate(_UNSHOWN))
