"""What the documents show of the code is what the code is. Run as a command, it draws the diagram anew."""

from __future__ import annotations

import re
from pathlib import Path

from coach.session.diagram import mermaid

DEVELOPERS = Path(__file__).resolve().parent.parent / "DEVELOPERS.md"
MARKED = re.compile(r"(<!-- diagram -->\n)(.*?)(<!-- /diagram -->)", re.DOTALL)


def drawn() -> str:
    """Return the diagram as it stands in the developers' file."""
    return f"```mermaid\n{mermaid()}\n```\n"


def test_the_diagram_in_the_developers_file_is_the_table() -> None:
    found = MARKED.search(DEVELOPERS.read_text("utf-8"))

    assert found is not None, "DEVELOPERS.md has lost the markers of its diagram"
    assert found[2] == drawn(), "draw it anew: python tests/test_documents.py"


if __name__ == "__main__":
    text = DEVELOPERS.read_text("utf-8")
    DEVELOPERS.write_text(MARKED.sub(lambda found: found[1] + drawn() + found[3], text), "utf-8")
