"""What the documents show of the code is what the code is."""

from __future__ import annotations

import re
from pathlib import Path

from coach.session.diagram import mermaid

ROOT = Path(__file__).resolve().parent.parent


def test_the_diagram_in_the_developers_file_is_the_table() -> None:
    text = (ROOT / "DEVELOPERS.md").read_text("utf-8")
    found = re.search(r"<!-- diagram -->\s*```mermaid\n(.*?)\n```\s*<!-- /diagram -->", text, re.DOTALL)

    assert found is not None, "DEVELOPERS.md has no diagram between its markers"
    assert found[1] == mermaid(), "print it anew: python -m coach.session.diagram"
