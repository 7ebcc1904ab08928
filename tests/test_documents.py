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


def test_every_test_that_the_developers_file_names_is_there() -> None:
    defined = {
        name
        for path in DEVELOPERS.parent.glob("tests/**/test_*.py")
        for name in re.findall(r"def (test_\w+)\(", path.read_text("utf-8"))
    }
    section = DEVELOPERS.read_text("utf-8").partition("## What people will do wrong")[2].partition("\n## ")[0]
    rows = [line.strip("| ").split(" | ") for line in section.splitlines() if line.startswith("| ")][1:]
    named = {name for row in rows for name in re.findall(r"`(test_\w+)`", row[-1])}

    assert len(rows) >= 20
    assert all(len(row) == 3 and ("`test_" in row[2] or row[2].startswith("none")) for row in rows)
    assert named - defined == set()


if __name__ == "__main__":
    text = DEVELOPERS.read_text("utf-8")
    DEVELOPERS.write_text(MARKED.sub(lambda found: found[1] + drawn() + found[3], text), "utf-8")
