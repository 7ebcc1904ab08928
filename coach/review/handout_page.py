"""Draw a handout: as HTML for paper and screen, and as plain lines for the terminal."""

from __future__ import annotations

from coach.review.handout import Sheet, SheetBlock
from coach.review.markup import Markup, document, tag


def page(sheet: Sheet) -> str:
    """Return the sheet as one HTML file; a program of four exercises prints on two A4 pages at 14 pt."""
    return document(
        sheet.title,
        sheet.language,
        "handout",
        tag("h1", sheet.title),
        tag("p", " ".join(sheet.facts), class_="facts"),
        tag("section", tag("h2", sheet.stop.title), *_lines(sheet.stop), class_="stop"),
        tag(
            "section",
            tag("h2", sheet.says.title),
            tag("dl", *(tag("div", tag("dt", word), " ", tag("dd", does)) for word, does in sheet.says.rows)),
            class_="says",
        ),
        tag(
            "ol",
            *(tag("li", tag("h2", exercise.title), *_lines(exercise)) for exercise in sheet.exercises),
            class_="exercises",
        ),
        tag("p", sheet.foot, class_="foot"),
    )


def plain(sheet: Sheet) -> list[tuple[str, tuple[str, ...]]]:
    """Return the sheet as titles with their lines, for the terminal, which wraps them."""
    blocks = (
        SheetBlock(sheet.title, tuple(("", fact) for fact in sheet.facts)),
        sheet.stop,
        sheet.says,
        *sheet.exercises,
    )
    titled = [
        (block.title, tuple(f"{about}: {text}" if about else text for about, text in block.rows)) for block in blocks
    ]
    return [*titled, (sheet.foot, ())]


def _lines(block: SheetBlock) -> list[Markup]:
    return [tag("p", *((tag("b", f"{about}:"), " ") if about else ()), text) for about, text in block.rows]
