from __future__ import annotations

import shutil
from pathlib import Path

import pytest

from coach import resources
from coach.ports import Block
from coach.voice.render import Renderer

PHRASES = """\
ready: Say ready when you are.
rep: "{count}"
rest: Rest now, for {seconds} seconds.
"""

SENTENCES = (
    "Lower slowly, and keep your heel over your toes.",
    "Four",
    "Hold.",
    "She sells",
    "Say ready when you are.",
    "Is your pain more than three, out of ten?",
)


@pytest.fixture
def voices(tmp_path: Path) -> Path:
    """A voices/ folder of our own: the shipped English with three phrases."""
    folder = tmp_path / "voices"
    shutil.copytree(resources.folder("voices") / "en", folder / "en")
    (folder / "en" / "phrases.yaml").write_text(PHRASES, encoding="utf-8")
    return folder


@pytest.fixture(scope="session")
def rendered() -> dict[str, Block]:
    """Real speech, rendered once."""
    return Renderer("en-us", 160).render(SENTENCES)
