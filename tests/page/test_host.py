"""The page's server as it runs: who gets in, what passes, and what happens when it dies."""

from __future__ import annotations

import http.client
import json
import os
import signal
import socket
import subprocess
import sys
import time
from collections.abc import Callable, Iterator
from pathlib import Path
from urllib.parse import urlsplit

import pytest
from hypothesis import given
from hypothesis import strategies as st
from window import PATIENCE, until

from coach.errors import PageError
from coach.page import server
from coach.page.host import Page
from coach.page.server import FILES, HEADERS, LONGEST_BODY, understood

WORDS = {"page_wrong_address": "not this address", "page_wrong_origin": "not from there", "page_too_many": "too many"}


@pytest.fixture
def page() -> Iterator[Page]:
    with Page(WORDS) as opened:
        opened.open()
        yield opened


@pytest.fixture(scope="module")
def standing() -> Iterator[Page]:
    """Give a page that tests share: none may kill it, use up its ticket or leave presses on it."""
    with Page(WORDS) as opened:
        opened.open()
        yield opened


class Visitor:
    """Somebody who knows an address."""

    def __init__(self, address: str) -> None:
        parts = urlsplit(address)
        self.host, self.port, self.path = parts.hostname or "", parts.port or 0, parts.path
        self.own = f"http://{parts.netloc}"

    def ask(
        self, path: str = "", method: str = "GET", body: bytes = b"", headers: dict[str, str] | None = None
    ) -> http.client.HTTPResponse:
        connection = http.client.HTTPConnection(self.host, self.port, timeout=PATIENCE)
        connection.request(method, path if path.startswith("/") else self.path + path, body or None, headers or {})
        return connection.getresponse()

    def press(self, key: str = " ", headers: dict[str, str] | None = None) -> int:
        body = json.dumps({"do": "press", "key": key}).encode()
        return self.ask("do", "POST", body, {"Origin": self.own} | (headers or {})).status

    def screen(self) -> object:
        return json.loads(self.ask("screens").readline().removeprefix(b"data: "))


def windows(page: Page, n: int) -> Callable[[], bool]:
    """Tell whether this many windows are open."""

    def look() -> bool:
        page.presses()
        return page.windows == n

    return look


def test_the_page_and_its_files_are_shown_and_load_nothing_from_elsewhere(standing: Page) -> None:
    visitor = Visitor(standing.address)
    whole = [visitor.ask(name) for name in FILES]

    assert [answer.status for answer in whole] == [200] * len(FILES)
    assert all(answer.headers[name] == value for answer in whole for name, value in HEADERS.items())
    assert not any(b"http://" in text.replace(b"http://www.w3.org", b"") or b"https://" in text
                   for text in (answer.read() for answer in whole))  # fmt: skip


@pytest.mark.parametrize("path", ["/", "/wrong/", "/wrong/do", "/%2e%2e/", "//", "/%E2%98%83/", "/%ff/"])
def test_without_the_secret_nothing_is_shown(standing: Page, path: str) -> None:
    answer = Visitor(standing.address).ask(path)

    assert (answer.status, answer.read()) == (404, b"not this address")


@pytest.mark.parametrize("name", ["..%2fserver.py", "../server.py", "index.html.bak", "static/page.js", "%00"])
def test_no_other_file_is_shown(standing: Page, name: str) -> None:
    assert Visitor(standing.address).ask(name).status == 404


@pytest.mark.parametrize(
    "headers",
    [
        {"Host": "example.org"},
        {"Host": "example.org:80"},
        {"Origin": "http://example.org"},
        {"Origin": "null"},
        {"Origin": "https://127.0.0.1"},
        {"Origin": "http://["},
    ],
)
def test_another_origin_is_refused_even_with_the_secret(standing: Page, headers: dict[str, str]) -> None:
    visitor = Visitor(standing.address)

    assert visitor.ask("", headers=headers).status == 403
    assert visitor.press(headers=headers) == 403
    assert standing.presses() == []


def test_a_press_without_an_origin_is_refused(standing: Page) -> None:
    assert Visitor(standing.address).ask("do", "POST", b'{"do":"press","key":" "}').status == 403


def test_a_press_arrives(page: Page) -> None:
    assert Visitor(page.address).press("r") == 204

    assert until(page, page.presses) == [{"do": "press", "key": "r"}]


@pytest.mark.parametrize(
    ("body", "status"),
    [(b"", 400), (b"{", 400), (b"[" * 9000, 400), (b'{"do":"press"}', 400), (b"x" * (LONGEST_BODY + 1), 413)],
)
def test_a_press_that_makes_no_sense_is_refused(standing: Page, body: bytes, status: int) -> None:
    visitor = Visitor(standing.address)

    assert visitor.ask("do", "POST", body, {"Origin": visitor.own}).status == status
    assert visitor.press() == 204


def test_a_window_is_shown_the_newest_screen_at_once(page: Page) -> None:
    page.send({"n": 1})
    page.send({"n": 2})

    assert Visitor(page.address).screen() == {"n": 2}


def test_the_number_of_open_windows_is_reported(page: Page) -> None:
    page.send({"n": 1})
    visitor = Visitor(page.address)
    one, two = visitor.ask("screens"), visitor.ask("screens")
    until(page, windows(page, 2))
    number = [two.readline() for _ in range(2)][1].removeprefix(b"id: ")
    told = [visitor.ask("windows", "POST", b'{"stream":%b,"n":%d}' % (number, n), {"Origin": visitor.own}).status
            for n in (0, 100, 5)]  # fmt: skip

    assert told == [400, 400, 204]
    until(page, windows(page, 6))
    two.close()
    until(page, windows(page, 1))
    one.close()
    until(page, windows(page, 0))


def test_the_address_that_a_browser_is_started_with_opens_the_page_once(page: Page) -> None:
    visitor = Visitor(page.address_once)
    first, second = visitor.ask(), visitor.ask()

    assert (first.status, first.headers["location"]) == (303, urlsplit(page.address).path)
    assert second.status == 404
    assert urlsplit(page.address).path.strip("/") not in page.address_once


def test_the_list_of_processes_shows_neither_secret_nor_wording(standing: Page) -> None:
    line = subprocess.run(["ps", "-o", "args=", "-p", str(standing.server)], capture_output=True, text=True, check=True)

    assert "coach.page.server" in line.stdout
    assert urlsplit(standing.address).path.strip("/") not in line.stdout


def test_a_server_that_is_killed_comes_back_at_the_same_address_with_the_same_screen(page: Page) -> None:
    page.send({"n": 7})
    address, first = page.address, page.server
    Visitor(address).screen()
    os.kill(first, signal.SIGKILL)

    def is_back() -> bool:
        page.presses()
        return page.server not in (0, first) and page.serving

    until(page, is_back)

    assert page.address == address
    assert Visitor(address).screen() == {"n": 7}


def test_a_hanging_server_delays_nobody(page: Page) -> None:
    os.kill(page.server, signal.SIGSTOP)
    began = time.monotonic()
    for number in range(3000):
        page.send({"n": number, "said": "x" * 2000})
        page.presses()
    took = time.monotonic() - began
    os.kill(page.server, signal.SIGCONT)

    assert took < PATIENCE
    assert Visitor(page.address).screen() is not None


def test_a_server_ends_with_the_coach_that_started_it() -> None:
    code = (
        "import os; from coach.page.host import Page; p = Page({}); p.open(); p.send({}); print(p.address, flush=True)"
    )
    coach = subprocess.Popen([sys.executable, "-c", code + "; input(); os._exit(1)"], stdin=subprocess.PIPE,
                             stdout=subprocess.PIPE, text=True)  # fmt: skip
    assert coach.stdout is not None
    window = Visitor(coach.stdout.readline().strip()).ask("screens")
    coach.communicate("\n", timeout=PATIENCE)

    assert window.read().startswith(b"data: {}")  # to its end: the server let go


def test_a_port_in_use_is_an_error_that_says_what_to_do() -> None:
    taken = socket.create_server(("127.0.0.1", 0))
    with taken, Page({}, taken.getsockname()[1]) as page, pytest.raises(PageError, match=r"Choose another with --port"):
        page.open()


@pytest.mark.skipif(sys.platform != "linux", reason="what a process listens on is read from /proc")
def test_coach_and_server_listen_for_nobody_but_the_windows(page: Page, standing: Page) -> None:
    handles = [str(path.readlink()) for one in (os.getpid(), page.server) for path in Path(f"/proc/{one}/fd").iterdir()
               if path.is_symlink()]  # fmt: skip
    rows = [
        line.split() for name in ("tcp", "tcp6") for line in Path(f"/proc/self/net/{name}").read_text().splitlines()
    ]
    listening = {row[1] for row in rows if row[3] == "0A" and f"socket:[{row[9]}]" in handles}

    assert listening == {f"0100007F:{Visitor(one.address).port:04X}" for one in (page, standing)}


def test_while_a_server_is_replaced_nobody_else_gets_its_port(page: Page) -> None:
    os.kill(page.server, signal.SIGKILL)
    until(page, lambda: not page.server)
    with socket.socket() as stranger:
        stranger.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)

        with pytest.raises(OSError, match="in use"):
            stranger.bind(("127.0.0.1", Visitor(page.address).port))


@given(st.binary(max_size=400) | st.recursive(
    st.none() | st.booleans() | st.integers() | st.floats() | st.text(max_size=20),
    lambda inner: st.lists(inner, max_size=3) | st.dictionaries(
        st.sampled_from(["do", "key", "serial", "id", "fields", "x"]), inner | st.sampled_from(["press", "choose"]),
        max_size=5), max_leaves=8).map(lambda value: json.dumps(value).encode()))  # fmt: skip
def test_only_presses_and_choices_are_passed_on(body: bytes) -> None:
    match understood(body):
        case None:
            pass
        case {"do": "press", "key": str(key)} as passed:
            assert len(key) == 1
            assert {name: type(passed[name]) for name in set(passed) - {"do", "key"}} in ({}, {"serial": int})
        case {"do": "choose", "serial": int(), "id": str(), "fields": dict(texts)} as passed:
            assert all(isinstance(text, str) for text in texts.values())
            assert len(passed) == 4
        case other:
            pytest.fail(f"passed on: {other}")


def test_the_page_as_it_is_loaded_stays_small() -> None:
    assert sum((server.STATIC / name).stat().st_size for name in server.FILES.values()) < 100_000


def test_a_used_address_does_not_open_the_server_that_replaces_a_dead_one(page: Page) -> None:
    page.send({"n": 1})
    seen_by_others = page.address_once
    Visitor(seen_by_others).ask()
    window = Visitor(page.address).ask("screens")
    until(page, windows(page, 1))
    died = page.server
    os.kill(died, signal.SIGKILL)
    until(page, lambda: page.presses() or (page.serving and page.server != died))

    assert Visitor(seen_by_others).ask().status == 404
    assert Visitor(page.address).screen() == {"n": 1}
    window.close()
