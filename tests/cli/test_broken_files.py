"""An unreadable file of a person hangs no command, locks nobody out and is not mistaken for a missing one."""

from __future__ import annotations

from pathlib import Path

import pytest
from broken import BROKEN
from broken_walk import COMMANDS, PLACES, fits, template, walk

WAYS = [(place, how) for place in PLACES for how in BROKEN if fits(place, how)]
WALKED = [
    (tuple(COMMANDS)[number % len(COMMANDS)], place, how)
    for number, (place, how) in enumerate(WAYS)
    if place == "session" or number % 4 == 1
] + [
    *((command, "session", "shut") for command in COMMANDS),
    *((command, "folder", "huge") for command in ("log", "page", "review --clinic")),
]
"""What the suite walks: every command with a session without permissions, every way in place of a session, a quarter of
the ways in every place, and a file in place of a folder for commands that read everybody's. tests/bench/broken_files.py
walks everything."""


@pytest.fixture(scope="module")
def made(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return template(tmp_path_factory.mktemp("made"))


@pytest.mark.parametrize(("command", "place", "how"), WALKED)
def test_a_command_works_around_an_unreadable_file_or_names_it(
    command: str, place: str, how: str, made: Path, tmp_path: Path
) -> None:
    found = walk(command, place, how, made, tmp_path)

    assert not found.wrong, found.said
