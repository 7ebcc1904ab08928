"""Slow reading of many sessions shows its progress."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest
from in_the_room import SMALL

from coach.cli import main
from coach.cli.reading import AT_ONCE, when_slow
from coach.cli.visit.desk import Desk
from coach.logbook import reading
from coach.logbook.lines import Reading, read_lines
from coach.logbook.store import Home
from coach.page.server_link import Message
from coach.program.load import load
from coach.testing import SimulatedCourse, write_history
from coach.voice.pack import load_pack


def told(seconds_each: float, files: int) -> list[int]:
    """Return the numbers of files after which progress is shown, if each takes `seconds`."""
    clock: Iterator[float] = iter(n * seconds_each for n in range(files))
    shown: list[int] = []
    tell = when_slow(lambda done, _: shown.append(done), lambda: next(clock))
    for done in range(1, files + 1):
        tell(done, files)
    return shown


def test_a_quick_reading_shows_no_progress() -> None:
    assert told(AT_ONCE / 2000, 2000) == []


def test_a_slow_reading_shows_its_progress_until_it_is_done() -> None:
    shown = told(0.01, 2000)

    assert shown[0] == 101
    assert shown[-1] == 2000
    assert len(shown) < 220


class _Page:
    windows = 1

    def __init__(self) -> None:
        self.sent: list[Message] = []

    def send(self, screen: Message) -> None:
        self.sent.append(screen)

    def presses(self) -> list[Message]:
        return []

    def wait(self, seconds: float) -> None:
        raise AssertionError(seconds)


@pytest.mark.parametrize("language", ["en", "ko"])
def test_the_page_shows_how_far_the_reading_is(language: str) -> None:
    page = _Page()
    desk = Desk(page, load_pack(language))
    for done in (1, 2):
        desk.reading(done, 2)

    assert [screen["progress"]["done"] for screen in page.sent] == [1, 2]
    assert page.sent[0]["serial"] == page.sent[1]["serial"]
    assert desk.labels("reading_records") in str(page.sent[0])


@pytest.mark.parametrize(
    "words", [["today", "mira"], ["log", "mira"], ["review", "mira"], ["start", "--person", "mira"]]
)
def test_a_command_assembles_no_session_twice(
    words: list[str], tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    program = tmp_path / "small.yaml"
    program.write_text(SMALL, "utf-8")
    home = Home(tmp_path / "home")
    made = load(SMALL, "small.yaml")
    write_history(home, "mira", made, SimulatedCourse(days=6, adherence=1.0), seed=2, source=SMALL.encode())
    counted: list[str] = []

    def counting(text: str, session: str = "") -> Reading:
        counted.append(session)
        return read_lines(text, session)

    monkeypatch.setattr(reading, "read_lines", counting)
    if words[0] == "start":
        words = [*words, "--take-up"]  # it is refused once everything is read

    main([*words, "--home", str(home.root)])

    capsys.readouterr()
    assert len(counted) == len(set(counted)) == len(list(home.person("mira").sessions.iterdir()))
