"""What the page draws in a real Chromium from given screens: no coach, no sound, no waiting."""

from __future__ import annotations

import json
import re
import shutil
from collections.abc import Iterator
from copy import deepcopy
from typing import TYPE_CHECKING, Any

import pytest
from fake_screens import FakeScreens, serving
from gallery import HALT, SCREENS, Screen, choice, key, line

from coach.page.server import STATIC

if TYPE_CHECKING:
    from playwright.sync_api import Browser, Page

pytest.importorskip("playwright", reason="playwright drives the browser: pip install '.[dev]'")
CHROMIUM = shutil.which("chromium") or shutil.which("chromium-browser") or shutil.which("google-chrome")
pytestmark = pytest.mark.skipif(CHROMIUM is None, reason="no Chromium on this machine: the page was not looked at")

SESSIONS = sorted(name for name, screen in SCREENS.items() if screen["kind"] == "session")
WIDE, NARROW, REFLOW = (1366, 768), (390, 844), (320, 256)
ZOOMED = (683, 384)
"""WIDE at 200 % zoom; REFLOW is 1280 by 1024 at 400 %."""
RULES = {"runOnly": {"type": "tag", "values": ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa"]}}
HOSTILE = "<img src=x onerror='window.ran=1'><b>\u202eevil\u202c אבג 😀" + "W" * 400


@pytest.fixture(scope="module")  # not longer: its event loop would stand in the way of other tests of the same worker
def browser() -> Iterator[Browser]:
    from playwright.sync_api import sync_playwright

    quiet = ["--no-sandbox", "--disable-background-networking", "--disable-component-update", "--disable-quic"]
    with sync_playwright() as started:
        opened = started.chromium.launch(executable_path=CHROMIUM, args=quiet)
        yield opened
        opened.close()


@pytest.fixture
def coach() -> Iterator[FakeScreens]:
    with serving() as screens:
        yield screens


@pytest.fixture
def page(browser: Browser, coach: FakeScreens) -> Iterator[Page]:
    """Give a page that is not open yet; any error that it logs fails the test."""
    context = browser.new_context(viewport={"width": WIDE[0], "height": WIDE[1]})
    opened = context.new_page()
    complaints: list[str] = []

    def outside(address: str) -> bool:
        return not address.startswith((coach.address, "data:"))

    opened.on("pageerror", lambda error: complaints.append(str(error)))
    opened.on("request", lambda ask: complaints.append(ask.url) if outside(ask.url) else None)
    opened.on("console", lambda told: complaints.append(told.text) if "Security Policy" in told.text else None)
    yield opened
    context.close()
    assert complaints == []


class Shown:
    """Shows screens one after another, each under a serial of its own, and waits until each is drawn."""

    def __init__(self, page: Page, coach: FakeScreens) -> None:
        self.page, self.coach = page, coach
        self.serial = 100

    def __call__(self, screen: Screen, *, again: bool = False, **parts: Any) -> Screen:
        """Show `screen` with `parts` changed; `again`: as an update of the one before."""
        self.serial += not again
        sent = deepcopy(screen) | parts | {"serial": self.serial, "drawn": self.coach.number}
        self.coach.show(sent)
        if self.page.url == "about:blank":
            self.page.goto(self.coach.address)
        self.page.wait_for_function("drawn => screen !== null && screen.drawn === drawn", arg=sent["drawn"])
        return sent


@pytest.fixture
def shown(page: Page, coach: FakeScreens) -> Shown:
    return Shown(page, coach)


def resize(page: Page, size: tuple[int, int]) -> None:
    page.set_viewport_size({"width": size[0], "height": size[1]})


def presses(*keys: str) -> list[dict[str, str]]:
    return [{"do": "press", "key": pressed} for pressed in keys]


@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_every_screen_passes_the_automatic_rules(page: Page, shown: Shown, scheme: str) -> None:
    from axe_playwright_python.base import AXE_SCRIPT

    page.emulate_media(color_scheme="dark" if scheme == "dark" else "light", reduced_motion="reduce")
    found = {}
    for name, screen in [*SCREENS.items(), *((f"{name}, lost", SCREENS[name]) for name in ("who", "working"))]:
        shown(screen)
        if name == "who":
            page.evaluate(AXE_SCRIPT)
        if name.endswith("lost"):
            page.evaluate("() => { connected = false; alarm(); }")
        violations = page.evaluate("rules => axe.run(rules).then((found) => found.violations)", RULES)
        found[name] = [(one["id"], [node["html"] for node in one["nodes"]]) for one in violations]

    assert {name: faults for name, faults in found.items() if faults} == {}


def test_the_automatic_rules_see_a_fault(page: Page, shown: Shown) -> None:
    from axe_playwright_python.base import AXE_SCRIPT

    shown(SCREENS["who"])
    page.evaluate(AXE_SCRIPT)
    page.evaluate("document.getElementById('head').style.color = '#e8e4da'")
    violations = page.evaluate("rules => axe.run(rules).then((found) => found.violations)", RULES)

    assert [one["id"] for one in violations] == ["color-contrast"]


@pytest.mark.parametrize("size", [WIDE, NARROW, ZOOMED, REFLOW], ids=["wide", "narrow", "zoomed", "reflow"])
def test_the_halt_is_whole_on_the_screen_and_always_in_one_place(
    page: Page, shown: Shown, size: tuple[int, int]
) -> None:
    resize(page, size)
    boxes: dict[str, tuple[float, ...]] = {}
    for name in SESSIONS:
        shown(SCREENS[name])
        box = page.locator("#halt").bounding_box()
        assert box is not None
        middle = [box["x"] + box["width"] / 2, box["y"] + box["height"] / 2]
        assert page.evaluate("p => document.elementFromPoint(...p).closest('button').id", middle) == "halt", name
        boxes[name] = (box["x"], box["y"], box["width"], box["height"])

    assert len({box for name, box in boxes.items() if not name.startswith("ko-")}) == 1
    assert len({box for name, box in boxes.items() if name.startswith("ko-")}) == 1
    x, y, width, height = boxes["working"]
    assert y + height == pytest.approx(size[1] - 8, abs=1)
    assert width > size[0] * 0.9
    assert height >= 48
    assert x == pytest.approx((size[0] - width) / 2, abs=1)


@pytest.mark.parametrize("size", [WIDE, NARROW, ZOOMED, REFLOW], ids=["wide", "narrow", "zoomed", "reflow"])
def test_nothing_overflows_sideways_and_every_button_is_large_enough(
    page: Page, shown: Shown, size: tuple[int, int]
) -> None:
    resize(page, size)
    small = """[...document.querySelectorAll("button, input, textarea")].filter((one) => one.checkVisibility())
        .map((one) => one.getBoundingClientRect()).filter((box) => box.width < 44 || box.height < 44).length"""
    for name, screen in SCREENS.items():
        shown(screen)

        assert page.evaluate("document.documentElement.scrollWidth") <= size[0], name
        assert page.evaluate(small) == 0, name


def test_letters_that_a_reader_sets_wider_are_not_cut_off(page: Page, shown: Shown) -> None:
    wider = """const style = new CSSStyleSheet();
        style.replaceSync(`* { line-height: 1.5 !important; letter-spacing: 0.12em !important;
            word-spacing: 0.16em !important } p { margin-bottom: 2em !important }`);
        document.adoptedStyleSheets = [style];"""
    cut = """[...document.querySelectorAll("h1, p, b, button, label, li")].filter((one) => one.checkVisibility()
        && one.clientHeight && (one.scrollHeight > one.clientHeight + 4 || one.scrollWidth > one.clientWidth + 4)
        && getComputedStyle(one).overflow === "hidden").map((one) => one.id || one.textContent)"""
    resize(page, (640, 512))
    for name, screen in SCREENS.items():
        shown(screen)
        page.evaluate(f"() => {{ {wider} }}")

        assert page.evaluate("document.documentElement.scrollWidth") <= 640, name
        assert page.evaluate(cut) == [], name


def test_the_screen_is_kept_lit_in_a_session_and_not_after_it(page: Page, shown: Shown) -> None:
    page.add_init_script("""window.lit = [];
        Object.defineProperty(navigator, "wakeLock", {value: {request: async () => {
        lit.push("asked");
        return {release: () => lit.push("let go"), addEventListener: () => {}};
    }}})""")

    for name in ("who", "working", "resting", "after"):
        shown(SCREENS[name])

    assert page.evaluate("lit") == ["asked", "let go"]


@pytest.mark.parametrize("name", ["working", "ko-working"])
def test_caption_and_count_can_be_read_across_the_room(page: Page, shown: Shown, name: str) -> None:
    shown(SCREENS[name])
    size = "id => parseFloat(getComputedStyle(document.getElementById(id)).fontSize) / innerHeight"

    assert page.evaluate(size, "said") >= 0.07
    assert page.evaluate(size, "count-n") >= 0.25
    assert page.evaluate(size, "phase-name") >= 0.05
    assert page.evaluate("document.documentElement.scrollHeight <= innerHeight")


def test_another_caption_or_a_first_reply_moves_nothing(page: Page, shown: Shown) -> None:
    tops = """["stage", "talk", "keys", "halt"].map((id) => document.getElementById(id).getBoundingClientRect().top)"""
    seen = []
    for said in ("Up.", "Lower, slowly.", "Three more, and keep the heel over the middle of the foot all the way."):
        for heard in (None, SCREENS["working"]["heard"]):
            shown(SCREENS["working"], again=True, said=said, heard=heard)
            seen.append(page.evaluate(tops))

    assert seen == [seen[0]] * len(seen)


def test_a_key_that_is_named_twice_leaves_nothing_behind(page: Page, shown: Shown) -> None:
    shown(SCREENS["working"], keys=[HALT, key("p", "hang on"), key("p", "hang on")])
    shown(SCREENS["working"], again=True, keys=[HALT, key("p", "hang on"), key("p", "hang on")])
    assert page.locator("#keys button").count() == 2

    shown(SCREENS["working"], again=True, keys=[HALT, key("t", "tired")])
    assert page.locator("#keys button").all_inner_texts() == ["tired\nt"]


def test_a_key_shown_on_a_button_is_not_listed_again(page: Page, shown: Shown) -> None:
    shown(SCREENS["working"], may_say=["stop", "zero to ten", "slower", "slower"])

    assert page.locator("#say-words li").all_inner_texts() == ["stop", "zero to ten"]
    assert page.get_by_role("group", name="You may say · Or press").get_by_role("button").count() == 10
    assert page.locator("#say-label").inner_text() == "You may say · Or press"


def test_a_long_caption_stays_large(page: Page, shown: Shown) -> None:
    shown(SCREENS["working"], said="I heard you, but I did not understand. Say ready to go on, or rest a while.")

    share = page.evaluate("parseFloat(getComputedStyle(document.getElementById('said')).fontSize) / innerHeight")
    assert share >= 0.05


def test_space_halts_wherever_the_focus_is_and_presses_no_button(page: Page, coach: FakeScreens, shown: Shown) -> None:
    shown(SCREENS["waiting"])
    places = ["#exercise", "#halt", *[f"#keys button:nth-of-type({n + 1})" for n in range(13)]]

    for place in places:
        page.locator(place).focus()
        page.keyboard.press("Space")
    page.evaluate("document.activeElement.blur()")
    page.keyboard.press("Shift+Space")

    assert coach.presses(len(places) + 1) == presses(*" " * (len(places) + 1))


def test_the_halt_acts_when_it_is_touched_and_not_when_it_is_let_go(
    page: Page, coach: FakeScreens, shown: Shown
) -> None:
    sent = shown(SCREENS["working"])
    page.locator("#halt").hover()
    page.mouse.down()
    assert coach.presses(1) == presses(" ")

    page.mouse.up()
    page.locator("#keys button", has_text="hang on").click()
    assert coach.presses(2) == presses(" ", "p")
    assert coach.meant == [None, sent["serial"]], "a halt is meant whatever the screen shows"

    page.locator("#halt").focus()
    page.evaluate("down = -Infinity")  # long ago
    page.keyboard.press("Enter")
    assert coach.presses(3) == presses(" ", "p", " ")


def test_a_key_that_is_held_down_presses_once(page: Page, coach: FakeScreens, shown: Shown) -> None:
    shown(SCREENS["waiting"])
    page.locator("#keys button", has_text="hang on").focus()

    for held in ("Space", "r", "Enter"):
        page.keyboard.down(held)
        page.keyboard.down(held)
        page.keyboard.down(held)
        page.keyboard.up(held)
    page.keyboard.press("f")

    assert sorted(press["key"] for press in coach.presses(4)) == [" ", "f", "p", "r"]


def test_only_the_sessions_keys_work(page: Page, coach: FakeScreens, shown: Shown) -> None:
    shown(SCREENS["working"])
    page.keyboard.press("y")  # means nothing now
    page.keyboard.press("Control+p")
    page.keyboard.press("Alt+p")
    page.keyboard.press("Meta+Space")
    page.keyboard.press("Enter")  # on the heading
    page.keyboard.press("P")
    hangul = "new KeyboardEvent('keydown', {key: 'ㄴ', code: 'KeyS', bubbles: true, cancelable: true})"
    page.evaluate(f"document.body.dispatchEvent({hangul})")
    page.locator("#keys button", has_text="easier").click()
    assert coach.presses(3) == presses("p", "s", "e")
    page.locator("#halt").click()
    assert coach.presses(4)[3:] == presses(" ")


def test_a_halt_cancels_earlier_presses_that_are_still_under_way(page: Page, coach: FakeScreens, shown: Shown) -> None:
    shown(SCREENS["waiting"])
    page.evaluate("""() => {
        press({key: "r"});
        press({key: "a"});
        halt();
    }""")
    assert presses(" ")[0] in coach.presses(1)
    page.keyboard.press("p")  # what is pressed afterwards goes its way

    assert presses("p")[0] in coach.presses(2)
    assert presses("a")[0] not in coach.pressed
    assert page.locator("body").get_attribute("data-alarm") == ""


def test_a_button_that_goes_away_leaves_the_focus_where_enter_halts(page: Page, shown: Shown) -> None:
    shown(SCREENS["waiting"])
    page.locator("#keys button", has_text="ready").focus()

    shown(SCREENS["resting"], again=True)

    assert page.evaluate("document.activeElement.id") == "halt"


def test_the_halt_works_in_a_state_that_names_no_halting_key(page: Page, coach: FakeScreens, shown: Shown) -> None:
    shown(SCREENS["halted"], keys=[key("h", "pain")])

    page.locator("#halt").click()
    page.keyboard.press("Space")

    assert coach.presses(2) == presses(" ", " ")


def test_the_space_bar_halts_before_a_screen_has_come(page: Page, coach: FakeScreens) -> None:
    page.goto(coach.address)
    page.keyboard.press(" ")

    assert coach.presses(1) == presses(" ")


def test_a_step_takes_space_for_a_button_as_any_page_does(page: Page, coach: FakeScreens, shown: Shown) -> None:
    sent = shown(SCREENS["who"])
    page.locator("#choices button", has_text="Joon").focus()
    page.keyboard.press("Space")

    assert coach.presses(1) == [{"do": "choose", "serial": sent["serial"], "id": "joon", "fields": {}}]


def test_the_second_click_of_a_double_click_chooses_nothing_even_on_the_next_step(
    page: Page, coach: FakeScreens, shown: Shown
) -> None:
    for meanwhile in ("who", "named"):
        shown(SCREENS["who"])
        page.locator("#choices button", has_text="Joon").hover()
        page.mouse.down(click_count=1)
        page.mouse.up(click_count=1)
        many = len(coach.presses(len(coach.pressed) + 1))
        shown(SCREENS[meanwhile], again=meanwhile == "who")
        page.mouse.down(click_count=2)
        page.mouse.up(click_count=2)
        page.locator("#choices button").last.click()

        assert coach.presses(many + 1)[many]["id"] in {"new", "back"}


def test_enter_in_a_line_presses_the_main_choice_with_what_was_typed(
    page: Page, coach: FakeScreens, shown: Shown
) -> None:
    sent = shown(SCREENS["named"])
    page.get_by_label("Your name").fill("Mira")
    page.keyboard.press("Enter")

    choose = {"do": "choose", "serial": sent["serial"], "id": "go", "fields": {"name": "Mira"}}
    assert coach.presses(1) == [choose]


def test_an_update_in_place_keeps_what_was_typed_and_where(page: Page, shown: Shown) -> None:
    after = SCREENS["after"]
    shown(after)
    page.get_by_label("Your note").fill("a cushion")
    page.evaluate("document.activeElement.setSelectionRange(2, 5)")

    shown(after, again=True, lines=[line("good", "Something else."), *after["lines"]],
          meter={"label": "Microphone", "level": 0.9})  # fmt: skip

    place = "[document.activeElement.value, document.activeElement.selectionStart, document.activeElement.selectionEnd]"
    assert page.evaluate(place) == ["a cushion", 2, 5]
    assert page.get_by_role("meter").get_attribute("aria-valuenow") == "90"


def test_an_update_in_place_keeps_the_focus_on_a_choice(page: Page, shown: Shown) -> None:
    who = SCREENS["who"]
    shown(who)
    page.locator("#choices button", has_text="Joon").focus()

    shown(who, again=True, choices=[choice("new", "Somebody new"), *who["choices"][1:3]])

    assert page.evaluate("document.activeElement.firstChild.textContent") == "Joon"


def test_a_new_step_is_read_from_its_heading_with_empty_fields(page: Page, shown: Shown) -> None:
    shown(SCREENS["after"])
    page.get_by_label("Your note").fill("a cushion")

    shown(SCREENS["after"])

    assert page.evaluate("document.activeElement.id") == "head"
    assert page.get_by_label("Your note").input_value() == ""


def test_hostile_names_and_notes_are_shown_as_they_are_and_run_nothing(page: Page, shown: Shown) -> None:
    def poisoned(value: Any, at: str = "") -> Any:
        if isinstance(value, dict):
            return {name: poisoned(inner, name) for name, inner in value.items()}
        if isinstance(value, list):
            return [poisoned(inner, at) for inner in value]
        kept = {"kind", "lang", "mark", "weight", "key", "name", "id", "state"}
        return HOSTILE if isinstance(value, str) and at not in kept else value

    foot = "document.getElementById('halt').getBoundingClientRect().bottom"
    for size in (REFLOW, WIDE):
        resize(page, size)
        for name in ("who", "check", "after", "working", "resting", "unanswered"):
            screen = shown(poisoned(SCREENS[name]) | {"words": SCREENS[name]["words"]})

            visible = page.locator("#head" if screen["kind"] == "step" else "#said")
            assert visible.text_content() == HOSTILE
            assert page.locator("img, #step script, #step b b").count() == 0
            assert page.evaluate("window.ran") is None
            assert screen["kind"] == "step" or page.evaluate(foot) == size[1] - 8
            assert page.evaluate("document.documentElement.scrollWidth") <= size[0]


def test_the_title_of_the_window_names_nobody(page: Page, shown: Shown) -> None:
    for screen in SCREENS.values():
        sent = shown(screen)
        title = page.title()

        assert "Coach" in title
        assert [name for name in ("Mira", "Joon", "미라", "ankle", "발목") if name in title] == []
        assert page.evaluate("document.documentElement.lang") == sent["lang"]
        assert page.locator("h1:visible").count() == 1
        assert page.locator("main:visible").count() == 1


def test_an_alarm_has_sign_heading_and_words_and_hides_the_count_if_the_work_stands_still(
    page: Page, shown: Shown
) -> None:
    for name in ("halted", "paused", "unanswered", "deaf", "mute", "unclear", "no_echo"):
        sent = shown(SCREENS[name], count={"n": 6, "beside": "of 12 reps"})
        alarm = page.get_by_role("alert").locator("visible=true").first

        assert sent["alarm"]["head"] in alarm.inner_text()
        assert sent["alarm"]["text"] in alarm.inner_text()
        assert page.locator("#alarm use").get_attribute("href") == f"#sign-{sent['alarm']['kind']}"
        assert page.locator("#alarm svg").is_visible()
        assert page.locator("#count-n").is_visible() == (name in {"unclear", "no_echo"})
        assert page.locator("#said").is_visible()


def test_an_alarm_is_in_sight_however_far_the_page_was_scrolled(page: Page, shown: Shown) -> None:
    resize(page, REFLOW)
    for name in ("deaf", "unanswered"):
        shown(SCREENS["waiting"])
        page.evaluate("scrollTo(0, 1e6)")

        shown(SCREENS[name], again=True)

        assert page.evaluate("document.getElementById('alarm-head').getBoundingClientRect().top") > 0
        assert page.evaluate("scrollY") == 0


def test_the_caption_is_announced_when_it_changes_and_the_count_never(page: Page, shown: Shown) -> None:
    working = SCREENS["working"]
    shown(working)
    page.evaluate("""window.changes = 0; new MutationObserver((all) => { window.changes += all.length; })
        .observe(document.getElementById("said"), {childList: true, characterData: true, subtree: true})""")

    for n in range(6, 10):
        shown(working, again=True, count={"n": n, "beside": "of 12 reps"})
    assert page.evaluate("window.changes") == 0

    shown(working, again=True, said="And up.")
    assert page.evaluate("window.changes") > 0
    assert page.locator("#said").get_attribute("aria-live") == "polite"
    assert page.evaluate("document.getElementById('stage').closest('[aria-live], [role=alert]')") is None


def stone(page: Page) -> float:
    """Return how high the stone lies in its panel, 0 at the foot, 1 at the top."""
    place = """const at = document.querySelector("#ground .stone").getBoundingClientRect();
        const all = document.getElementById("ground").getBoundingClientRect();"""
    return float(page.evaluate(f"() => {{ {place} return (all.bottom - at.bottom) / all.height; }}"))


def of_phase(left: float, start: float = 1.0, end: float = 0.0) -> dict[str, Any]:
    return {"name": "lower", "left": left, "length": 4.0, "done": 1 - left / 4, "from": start, "to": end}


def test_with_reduced_motion_the_stone_steps_by_whole_seconds(page: Page, shown: Shown) -> None:
    page.emulate_media(reduced_motion="reduce")
    heights = []
    for left in (4.0, 2.9, 2.4, 1.9, 0.0):
        shown(SCREENS["working"], again=True, phase=of_phase(left))
        page.evaluate("new Promise(requestAnimationFrame)")
        heights.append(stone(page))

    top, early, same, later, foot = heights
    assert early == same
    assert top > early > later > foot
    assert page.locator("#phase-left").text_content() == "0s"


def test_the_stone_stands_still_without_news(page: Page, shown: Shown) -> None:
    page.clock.install(time=0)
    page.clock.pause_at(1)
    shown(SCREENS["working"], phase=of_phase(2.0))
    page.clock.run_for(300)  # it moves on by a quarter of a second at most
    soon = page.locator("#ground .gone").get_attribute("d")
    page.clock.run_for(1500)
    late = page.locator("#ground .gone").get_attribute("d")

    ends = [float(re.findall(r"H([\d.]+)", path or "")[0]) for path in (soon, late)]
    width = page.evaluate("document.getElementById('ground').getBoundingClientRect().width")
    assert ends[1] / width == pytest.approx(0.5 + 0.25 / 4, abs=0.005)
    assert ends[0] <= ends[1]


def test_after_three_seconds_without_screens_the_page_says_that_the_session_is_lost_until_it_is_back(
    page: Page, shown: Shown
) -> None:
    page.clock.install(time=0)
    page.clock.pause_at(1)
    sent = shown(SCREENS["working"])
    page.clock.run_for(2900)
    assert page.locator("body").get_attribute("data-alarm") == ""

    page.clock.run_for(200)
    assert sent["words"]["lost_head"] in page.locator("#alarm").inner_text()
    assert sent["words"]["lost_text"] in page.locator("#alarm").inner_text()
    assert not page.locator("#said").is_visible()
    assert page.locator("#halt").is_visible()

    shown(SCREENS["working"], again=True)
    assert not page.locator("#alarm").is_visible()
    assert page.locator("#said").is_visible()


@pytest.mark.parametrize("name", ["working", "after"])
def test_the_page_says_that_the_connection_is_lost_and_reconnects_by_itself(
    page: Page, coach: FakeScreens, shown: Shown, name: str
) -> None:
    page.clock.install(time=0)
    page.clock.pause_at(1)
    sent = shown(SCREENS[name])
    if name == "after":
        page.get_by_label("Your note").fill("a cushion")

    coach.leave()
    page.locator("#alarm", has_text=sent["words"]["lost_head"]).wait_for()
    page.clock.run_for(3500)  # it tries, in vain
    assert page.locator("#alarm").is_visible()
    coach.return_()
    page.clock.resume()

    page.locator("#alarm").wait_for(state="hidden")
    if name == "after":
        assert page.get_by_label("Your note").input_value() == "a cushion"


def test_a_page_that_never_met_its_coach_says_so_in_both_languages(page: Page, coach: FakeScreens) -> None:
    page.clock.install(time=0)
    page.clock.pause_at(1)
    page.goto(coach.address)
    page.clock.run_for(3100)

    page.get_by_text("This page does not reach the coach").wait_for()
    assert page.locator("#never [lang=ko]").is_visible()


def test_the_page_says_that_a_halt_did_not_arrive_and_sends_it_again_but_no_other_key(
    page: Page, coach: FakeScreens, shown: Shown
) -> None:
    page.clock.install(time=0)
    page.clock.pause_at(1)
    shown(SCREENS["working"])
    coach.deaf = True
    page.keyboard.press("p")
    page.wait_for_selector("body[data-alarm=lost]")
    page.keyboard.press("Space")
    page.wait_for_function("() => unsent > 0")
    assert page.locator("#halt").is_visible()

    coach.deaf = False
    with page.expect_response("**/do"):
        page.clock.run_for(600)

    assert coach.presses(1) == presses(" ")
    page.wait_for_selector("body[data-alarm='']")


def test_a_reloaded_page_shows_the_same_and_presses_nothing(page: Page, coach: FakeScreens, shown: Shown) -> None:
    shown(SCREENS["working"])
    page.reload()
    page.get_by_text(SCREENS["working"]["said"]).wait_for()

    assert page.locator("#count-n").text_content() == "6"
    assert coach.pressed == []


def test_the_page_says_that_a_second_window_is_open(page: Page, shown: Shown) -> None:
    words = SCREENS["working"]["words"] | {"windows": "This page is open in 2 windows."}
    shown(SCREENS["working"], words=words)

    assert page.get_by_role("status").inner_text() == "This page is open in 2 windows."


def test_colours_that_the_system_sets_keep_shape_and_sign(page: Page, shown: Shown) -> None:
    page.emulate_media(forced_colors="active")
    shown(SCREENS["working"])
    painted = "getComputedStyle(document.querySelector('#ground .stone'))"

    assert page.evaluate(f"{painted}.fill") != page.evaluate(f"{painted}.stroke")
    assert page.evaluate("parseFloat(getComputedStyle(document.getElementById('halt')).borderTopWidth)") >= 2


def test_the_page_is_small_and_asks_for_nothing_outside() -> None:
    files = sorted(STATIC.iterdir())

    assert [file.name for file in files] == [
        "elements.js",
        "index.html",
        "page.css",
        "page.js",
        "stone.js",
        "stream.js",
    ]
    assert sum(file.stat().st_size for file in files) < 60_000
    for file in files:
        text = file.read_text("utf-8").replace("http://www.w3.org/2000/svg", "")
        assert re.findall(r"https?:|//[a-z]+\.|@import|innerHTML|\sstyle=", text) == [], file.name


def test_the_script_contains_no_wording() -> None:
    script = re.sub(r"//.*|/\*.*?\*/", "", "".join(file.read_text("utf-8") for file in STATIC.glob("*.js")))
    sentences = re.findall(r"\"[A-Z][a-z]+ [a-z ]+\"", script)

    assert sentences == []
    assert set(json.loads(json.dumps(HALT))) == {"key", "name", "does", "halts"}


def test_a_choice_that_did_not_arrive_is_forgotten_at_the_next_step(
    page: Page, coach: FakeScreens, shown: Shown
) -> None:
    shown(SCREENS["who"])
    coach.deaf = True
    page.locator("#choices button").first.click()
    page.wait_for_selector("body[data-alarm=lost]")
    coach.deaf = False
    shown(SCREENS["who"], again=True)  # as a server sends it that took the place of one that died

    page.wait_for_selector("body[data-alarm='']")
