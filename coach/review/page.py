"""Draw a review as one self-contained HTML file: no network, no script, no colour."""

from __future__ import annotations

from coach.review.blocks import Content, Drawing, Grid, Part, ReviewBlock, Sentences
from coach.review.markup import Markup, document, tag
from coach.review.plots import legend_mark, svg

SHORT = 12
"""Characters of a cell that is never wrapped, such as a date."""


def page(content: Content, contents_label: str, figures_label: str) -> str:
    """Return the review as HTML; the labels name the list of parts and the button that opens a plot's figures."""
    links = (tag("li", tag("a", part.title, href=f"#{part.id}")) for part in content.parts)
    return document(
        content.title,
        content.language,
        "review",
        tag("header", tag("h1", content.title), *(tag("p", fact) for fact in content.facts)),
        tag("nav", tag("ol", *links), aria_label=contents_label),
        *(_part(part, figures_label) for part in content.parts),
    )


def _part(part: Part, figures_label: str) -> Markup:
    title = tag("h2", part.title, id=f"{part.id}-title")
    blocks = (_block(block, figures_label) for block in part.blocks)
    return tag("section", title, *blocks, id=part.id, aria_labelledby=f"{part.id}-title")


def _block(block: ReviewBlock, figures_label: str) -> Markup:
    if isinstance(block, Sentences):
        return tag("ul", *(tag("li", line) for line in block.lines))
    return _drawing(block, figures_label) if isinstance(block, Drawing) else _grid(block)


def _grid(grid: Grid) -> Markup:
    head = tag("tr", *(tag("th", name, scope="col") for name in grid.header))
    rows = (tag("tr", tag("th", row[0], scope="row"), *map(_cell, row[1:])) for row in grid.rows)
    table = tag("table", tag("caption", grid.caption), tag("thead", head), tag("tbody", *rows))
    return tag("div", table, class_="scroll", tabindex="0", role="region", aria_label=grid.caption)


def _cell(text: str) -> Markup:
    return tag("td", text, class_="short" if len(text) <= SHORT else "")


def _drawing(drawing: Drawing, figures_label: str) -> Markup:
    marks = [mark for plot in drawing.plots for mark in plot.marks if mark.name]
    legend = tag("ul", *(tag("li", legend_mark(mark.form), " ", mark.name) for mark in marks), class_="legend")
    return tag(
        "figure",
        tag("h3", drawing.title),
        tag("p", drawing.description),
        tag("div", svg(drawing), class_="scroll plot", tabindex="0", role="region", aria_label=drawing.title),
        legend,
        tag("details", tag("summary", f"{figures_label}: {drawing.title}"), _grid(drawing.figures)),
    )
