"""No file of a person that cannot be read hangs a command, locks anybody out or is taken for one that is not there."""

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
"""Every command past a session that nobody may read, every way in place of one, a quarter of the ways in every place,
and past a file in place of a folder what goes through everybody's; all there is walks tests/bench/broken_files.py."""


@pytest.fixture(scope="module")
def made(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return template(tmp_path_factory.mktemp("made"))


@pytest.mark.parametrize(("command", "place", "how"), WALKED)
def test_a_command_goes_on_beside_what_cannot_be_read_or_says_what_it_is(
    command: str, place: str, how: str, made: Path, tmp_path: Path
) -> None:
    found = walk(command, place, how, made, tmp_path)

    assert not found.wrong, found.said
