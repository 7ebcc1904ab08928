"""What the documents show of the code is what the code is. Run as a command, it draws the diagrams anew."""

from __future__ import annotations

import re
from collections import defaultdict
from pathlib import Path

import pytest

from coach.session.diagram import diagrams

ROOT = Path(__file__).resolve().parent.parent
DEVELOPERS = ROOT / "DEVELOPERS.md"
DIAGRAMS = ROOT / "coach" / "session" / "DIAGRAMS.md"


def drawn() -> str:
    """Return the file of the diagrams as it is to stand."""
    parts = (f"## {title}\n\n```mermaid\n{drawing}\n```\n" for title, drawing in diagrams().items())
    return "\n".join(
        (
            "# The states of a session\n",
            "Drawn from the table in `table.py` by `python tests/test_documents.py`. A test compares the two.\n",
            *parts,
        )
    )


def test_the_diagrams_are_the_table() -> None:
    assert DIAGRAMS.read_text("utf-8") == drawn(), "draw them anew: python tests/test_documents.py"


def test_the_map_names_every_module_of_the_package_and_nothing_that_is_not_there() -> None:
    part = DEVELOPERS.read_text("utf-8").partition("## The map\n")[2].partition("\n## ")[0]
    named: dict[str, list[str]] = defaultdict(list)
    for folder, text in re.findall(r"(?ms)^- \*\*`(coach/[\w/]*)`\*\*(.*?)(?=^- |\Z)", part):
        named[folder] += re.findall(r"`(\w+\.py)`", text)
    there: dict[str, list[str]] = defaultdict(list)
    for path in (ROOT / "coach").rglob("*.py"):
        if path.name not in {"__init__.py", "__main__.py"}:
            there[f"{path.parent.relative_to(ROOT).as_posix()}/"].append(path.name)

    assert {folder: sorted(names) for folder, names in named.items()} == {
        folder: sorted(names) for folder, names in there.items()
    }


@pytest.mark.parametrize("document", ["README.md", "DEVELOPERS.md", "tests/RISKS.md", "coach/PROVENANCE.md"])
def test_a_file_that_a_document_names_is_there(document: str) -> None:
    named = set(re.findall(r"`([\w*-][\w./*-]*/[\w.*-]+\.[a-z]+)`", (ROOT / document).read_text("utf-8")))
    missing = [
        name
        for name in named
        if not any(any(folder.glob(name.replace("LANGUAGE", "*"))) for folder in (ROOT, ROOT / "coach", ROOT / "tests"))
    ]

    assert named
    assert missing == []


RISKS = ROOT / "tests" / "RISKS.md"


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


def test_the_top_of_the_results_names_every_command_that_measures_and_no_section_that_is_not_there() -> None:
    bench = ROOT / "tests" / "bench"
    top, _, rest = (bench / "RESULTS.md").read_text("utf-8").partition("\n## ")
    listed = {
        title for line in re.findall(r"(?m)^- \*\*.*?\*\*: ((?:.|\n  )+)", top) for title in re.split(r"\s+·\s+", line)
    }
    commands = {path.name for path in bench.glob("*.py") if "__main__" in path.read_text("utf-8")}

    assert {" ".join(title.split()) for title in listed} <= set(re.findall(r"(?m)^## (.+)", f"## {rest}"))
    assert len(listed) >= 20
    assert len(commands) >= 20
    assert set(re.findall(r"`(\w+\.py)", top)) == commands


if __name__ == "__main__":
    DIAGRAMS.write_text(drawn(), "utf-8")
