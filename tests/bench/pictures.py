"""Make the pictures of the README in .pictures/: the page in two moments of a session, and a review.

    python tests/bench/pictures.py [DIR]

The page is drawn by its own files, from screens of the tests' gallery. The review is that of sixty made-up days, drawn
by what `coach review --html` draws with. All people are made up. Needs Chromium and the extra `dev`.
"""

from __future__ import annotations

import shutil
import sys
from pathlib import Path

TESTS = Path(__file__).resolve().parents[1]
sys.path[:0] = [str(TESTS / "page"), str(TESTS / "review")]

from fake_screens import serving  # noqa: E402  the tests' folders are not a package
from gallery import SCREENS  # noqa: E402
from lived import lived  # noqa: E402
from playwright.sync_api import Page, ViewportSize, sync_playwright  # noqa: E402

from coach.cli.labels import Labels  # noqa: E402
from coach.logbook.store import Person  # noqa: E402
from coach.review.content import content  # noqa: E402
from coach.review.page import page as drawn  # noqa: E402
from coach.testing.histories import SimulatedCourse  # noqa: E402
from coach.voice.pack import load_pack  # noqa: E402

QUIET = ["--no-sandbox", "--disable-background-networking", "--disable-component-update", "--disable-quic"]
WIDE: ViewportSize = {"width": 1366, "height": 768}
"""Pixels of the window, as of a small laptop."""
NARROW: ViewportSize = {"width": 1000, "height": 760}
MOMENTS = {"page-today": "today", "page-working": "working"}
"""Name of the picture, and the screen of the gallery on it."""
COURSE = SimulatedCourse(days=60, adherence=0.75, pain=(4, 1), flare=(20, 8, 2), halts=0.3, trouble=0.3)


def main() -> None:
    out = Path(sys.argv[1]) if len(sys.argv) > 1 else TESTS.parent / ".pictures"
    out.mkdir(exist_ok=True)
    chromium = shutil.which("chromium") or shutil.which("chromium-browser") or shutil.which("google-chrome")
    with sync_playwright() as started:
        browser = started.chromium.launch(executable_path=chromium, args=QUIET)
        page = browser.new_page(viewport=WIDE, reduced_motion="reduce")
        of_the_page(page, out)
        of_the_review(browser.new_page(viewport=NARROW), out)
        browser.close()
    for picture in sorted(out.glob("*.png")):
        print(f"{picture}: {picture.stat().st_size / 1000:.0f} kB")


def of_the_page(page: Page, out: Path) -> None:
    """Show each screen as the coach would, and take its picture."""
    with serving() as screens:
        for name, moment in MOMENTS.items():
            screens.show(SCREENS[moment] | {"drawn": name})
            if page.url == "about:blank":
                page.goto(screens.address)
            page.wait_for_function("drawn => screen !== null && screen.drawn === drawn", arg=name)
            page.screenshot(path=out / f"{name}.png")


def of_the_review(page: Page, out: Path) -> None:
    """Take the picture of the beginning of a review of sixty days."""
    labels = Labels(load_pack("en").screens)
    said = content(
        lived("ankle_steady", COURSE, seed=4, person="mira").review(), Person("mira", "Mira", TESTS), labels, "en"
    )
    page.set_content(drawn(said, labels("review_contents"), labels("review_figures")))
    page.screenshot(path=out / "review-decision.png")
    page.locator("figure").first.evaluate("figure => figure.scrollIntoView()")
    page.screenshot(path=out / "review-plots.png")


if __name__ == "__main__":
    main()
