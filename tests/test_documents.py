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


RISKS = DEVELOPERS.parent / "tests" / "RISKS.md"


def risks() -> dict[str, list[list[str]]]:
    """Return the rows of what can go wrong, by the heading above them."""
    parts = re.split(r"(?m)^## ", RISKS.read_text("utf-8"))[1:]
    cut = {part.partition("\n")[0]: [line for line in part.splitlines() if line.startswith("| ")] for part in parts}
    return {title: [line.strip("| ").split(" | ") for line in lines[1:]] for title, lines in cut.items()}


def test_every_row_of_what_can_go_wrong_names_tests_that_are_there_or_says_why_none_is() -> None:
    defined = {
        name
        for path in RISKS.parent.rglob("test_*.py")
        for name in re.findall(r"def (test_\w+)\(", path.read_text("utf-8"))
    }
    shown_by = [row[-1] for rows in risks().values() for row in rows]
    named = {name for cell in shown_by for name in re.findall(r"`(test_\w+)`", cell)}

    assert all(len(rows) >= 10 for rows in risks().values())
    assert len(risks()) == 4
    assert [cell for cell in shown_by if "`test_" not in cell and not cell.startswith("none: ")] == []
    assert named - defined == set()


def test_every_command_that_measures_stands_in_the_table_of_the_results() -> None:
    bench = DEVELOPERS.parent / "tests" / "bench"
    table = (bench / "RESULTS.md").read_text("utf-8").partition("\n## ")[0]
    commands = {path.name for path in bench.glob("*.py") if "__main__" in path.read_text("utf-8")}

    assert len(commands) >= 20
    assert set(re.findall(r"`(\w+\.py)", table)) == commands


if __name__ == "__main__":
    text = DEVELOPERS.read_text("utf-8")
    DEVELOPERS.write_text(MARKED.sub(lambda found: found[1] + drawn() + found[3], text), "utf-8")
