"""A whole visit in a real browser: started, answered by key, halted in mid-rep, taken up, finished, noted."""

from __future__ import annotations

import os
import re
import shutil
import signal
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path
from typing import TYPE_CHECKING

import pytest
from in_the_room import PERSON, SMALL

from coach.logbook.store import Home

if TYPE_CHECKING:
    from playwright.sync_api import Page as Window

pytest.importorskip("playwright.sync_api", reason="playwright is not installed")
CHROMIUM = shutil.which("chromium") or shutil.which("chromium-browser") or shutil.which("google-chrome")
pytestmark = pytest.mark.skipif(CHROMIUM is None, reason="no Chromium on this machine")

PACE = 4
"""Times as fast as a real room: quick enough for a test, slow enough to press in mid-rep on a busy machine."""
LONGEST = 90_000
"""Milliseconds that a change may take to show."""


@pytest.fixture
def window() -> Iterator[Window]:
    from playwright.sync_api import sync_playwright

    assert CHROMIUM is not None
    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(
            executable_path=CHROMIUM, args=["--no-sandbox", "--disable-background-networking"]
        )
        page = browser.new_page(viewport={"width": 1366, "height": 768})
        page.set_default_timeout(LONGEST)
        yield page
        browser.close()


class Served:
    """`coach page` as a user starts it, in a simulated room whose patient says nothing."""

    def __init__(self, home: Path, folder: Path) -> None:
        (folder / "silent.yaml").write_text("format: 1\nanswers: {}\n", "utf-8")
        (folder / "short.yaml").write_text(SMALL.replace("sets: 2, reps: 3", "sets: 1, reps: 3"), "utf-8")
        command = [sys.executable, "-m", "coach", "page", str(folder / "short.yaml"), "--no-browser",
                   "--home", str(home), "--room", str(folder / "silent.yaml"), "--pace", str(PACE)]  # fmt: skip
        self.process = subprocess.Popen(command, stdout=subprocess.PIPE, stderr=subprocess.STDOUT, text=True,
                                        env={**os.environ, "PYTHONUNBUFFERED": "1", "COLUMNS": "400"})  # fmt: skip
        assert self.process.stdout is not None
        found = next(filter(None, (re.search(r"http://\S+/", line) for line in self.process.stdout)), None)
        assert found is not None
        self.address = found[0]

    def server(self) -> int:
        """Return the id of the server's process."""
        listed = subprocess.run(["ps", "-o", "pid=", "--ppid", str(self.process.pid)], capture_output=True, text=True,
                                check=True)  # fmt: skip
        return int(listed.stdout.split()[-1])

    def end(self) -> str:
        """Wait for the end of the command; return what it printed."""
        out, _ = self.process.communicate(timeout=LONGEST / 1000)
        return out


@pytest.fixture
def served(room_home: Path, tmp_path: Path) -> Iterator[Served]:
    made = Served(room_home, tmp_path)
    yield made
    made.process.kill()
    made.process.wait()


def choose(window: Window, words: str) -> None:
    window.get_by_role("button", name=re.compile(words)).first.click()


def until(window: Window, state: str) -> None:
    """Wait until a session is in that state."""
    window.locator(f'[data-state="{state}"]').first.wait_for()


def answer(window: Window, state: str, key: str) -> None:
    """Press a key as soon as the session is in that state, again until it has left it."""
    until(window, state)
    for _ in range(20):
        window.keyboard.press(key)
        try:
            window.locator(f'[data-state="{state}"]').wait_for(state="detached", timeout=3000)
        except Exception:  # noqa: BLE001  pressed too early to count
            continue
        return
    pytest.fail(f"{key} did not lead on from {state}")


def to_the_session(window: Window, served: Served) -> None:
    window.goto(served.address)
    choose(window, PERSON)
    for words in ("^Go on", "I have read", "Later, use", "Skip this test", "^Yes, start"):
        choose(window, words)


def to_the_work(window: Window) -> None:
    for state, key in (("checking", "r"), ("screening", "n"), ("screen_check", "y"), ("waiting", "r")):
        answer(window, state, key)
    until(window, "working")


def test_a_visit_from_who_to_the_note_with_a_halt_in_mid_rep(window: Window, served: Served, room_home: Path) -> None:
    to_the_session(window, served)
    to_the_work(window)
    window.get_by_text("lower", exact=True).first.wait_for()
    window.keyboard.press(" ")
    until(window, "halted")
    window.reload()  # a page that is loaded anew changes nothing
    until(window, "halted")
    answer(window, "halted", "b")
    answer(window, "recovering", "r")
    until(window, "working")
    until(window, "asking")
    for _ in range(60):
        if window.locator("textarea").count():
            break
        state = window.locator("[data-state]").first.get_attribute("data-state")
        said = window.locator("body").inner_text()
        window.keyboard.press("y" if state == "confirming" or "every rep" in said else "2")
        window.wait_for_timeout(200)
    window.locator("textarea").fill("She did <b>well</b>.")
    choose(window, "Keep the note")
    window.get_by_text("Kept in the record as the caregiver's: She did <b>well</b>.").wait_for()
    choose(window, "^Done")
    choose(window, "Close the page")
    out = served.end()
    (record,) = Home(room_home).history(PERSON).records

    assert "The page is closed." in out
    assert record.why == "done"
    assert [(halt.ear, halt.phase, halt.why) for halt in record.halts] == [("page", "lower", "break")]
    assert record.notes == (("She did <b>well</b>.", "caregiver"),)


def test_a_server_that_is_killed_in_mid_set_does_not_end_the_set_and_the_page_comes_back(
    window: Window, served: Served, room_home: Path
) -> None:
    to_the_session(window, served)
    to_the_work(window)
    os.kill(served.server(), signal.SIGKILL)
    until(window, "asking")  # the set ran to its end meanwhile, and the same window shows it
    served.process.send_signal(signal.SIGTERM)  # as when the computer shuts down: nobody is asked for anything more
    served.end()
    (record,) = Home(room_home).history(PERSON).records

    assert record.why == "told_to_end"
    assert [(one.counted, one.why) for one in record.sets] == [(3, "done")]
    assert record.halts == ()
