"""Many windows of one browser: each shows, each halts, and all of them take one stream."""

from __future__ import annotations

import shutil
from collections.abc import Iterator
from typing import TYPE_CHECKING

import pytest
from gallery import SCREENS
from window import PATIENCE, until

from coach.page.host import Page

if TYPE_CHECKING:
    from playwright.sync_api import BrowserContext
    from playwright.sync_api import Page as Window

pytest.importorskip("playwright.sync_api", reason="playwright is not installed")
CHROMIUM = shutil.which("chromium") or shutil.which("chromium-browser") or shutil.which("google-chrome")
pytestmark = pytest.mark.skipif(CHROMIUM is None, reason="no Chromium on this machine")


@pytest.fixture(scope="module")
def browser() -> Iterator[BrowserContext]:
    from playwright.sync_api import sync_playwright

    with sync_playwright() as started:
        opened = started.chromium.launch(
            executable_path=CHROMIUM, args=["--no-sandbox", "--disable-background-networking"]
        )
        context = opened.new_context()
        context.set_default_timeout(1000 * PATIENCE)
        yield context
        opened.close()


@pytest.fixture
def page() -> Iterator[Page]:
    with Page({}) as opened:
        opened.open()
        opened.send(SCREENS["working"] | {"said": "first"})
        yield opened


def open_windows(browser: BrowserContext, page: Page, many: int) -> list[Window]:
    opened = []
    for _ in range(many):
        opened.append(browser.new_page())
        opened[-1].goto(page.address)
        opened[-1].get_by_text("first", exact=True).wait_for()
    until(page, lambda: page.presses() or page.windows == many)
    return opened


def test_the_sixth_window_and_the_eighth_show_and_halt_like_the_first(browser: BrowserContext, page: Page) -> None:
    opened = open_windows(browser, page, 8)
    page.send(SCREENS["working"] | {"said": "second"})
    for window in opened:
        window.get_by_text("second", exact=True).wait_for()
    for at in (0, 5, 7):
        opened[at].keyboard.press(" ")
        assert until(page, page.presses) == [{"do": "press", "key": " "}]
    opened[0].close()  # the one that was first
    until(page, lambda: page.presses() or page.windows == 7)
    page.send(SCREENS["working"] | {"said": "third"})
    for window in opened[1:]:
        window.get_by_text("third", exact=True).wait_for()
        window.close()
    until(page, lambda: page.presses() or page.windows == 0)


def test_a_halt_in_one_window_cancels_what_is_under_way_in_another(browser: BrowserContext, page: Page) -> None:
    first, second = open_windows(browser, page, 2)
    first.evaluate(
        "() => { window.fetch = (_, { signal }) => { window.sent = signal; return new Promise(() => {}); } }"
    )
    first.keyboard.press("s")
    first.wait_for_function("() => window.sent")
    second.keyboard.press(" ")

    first.wait_for_function("() => window.sent.reason && window.sent.reason.name === 'AbortError'")
    first.close()
    second.close()


def test_a_browser_that_is_started_with_the_file_shows_the_page(browser: BrowserContext, page: Page) -> None:
    window = browser.new_page()
    window.goto(page.opener().as_uri())
    window.get_by_text("first", exact=True).wait_for()

    assert window.url == page.address
    until(page, lambda: page.presses() or page.windows == 1)
    window.close()
