"""What passes the gate: the exact address of somebody who knows the secret, a ticket once, and nothing like them."""

from __future__ import annotations

import socket
from collections.abc import Iterator
from typing import Any
from urllib.parse import urlsplit

import pytest
from spellings import METHODS, NAMES, SECRET, TICKET, around, without

from coach.page.host import Page
from coach.page.server import Gate, Relay, Ticket

HERE = b"127.0.0.1:4711"
OURS = ((b"host", HERE), (b"origin", b"http://" + HERE))
PRESS = b'{"do":"press","key":"r"}'


class Stood:
    """A gate, and what it passed on to the coach."""

    def __init__(self, now: float = 0.0) -> None:
        self.now = now
        self.passed: list[Any] = []
        relay = Relay()
        relay.tell = self.passed.append  # type: ignore[method-assign, assignment]
        self.gate = Gate(relay, SECRET, Ticket(TICKET, 60, lambda: self.now), 4711, {"page_wrong_address": "no"})

    def ask(self, method: str, target: str, headers: tuple[tuple[bytes, bytes], ...] = OURS) -> tuple[int, str]:
        """Return status and text, or where it leads on to."""
        path, _, query = target.partition("?")
        scope = {"type": "http", "method": method, "raw_path": path.encode(), "query_string": query.encode(),
                 "path": path, "headers": headers}  # fmt: skip
        bodies = iter([{"type": "http.request", "body": PRESS}])
        sent: list[Any] = []

        async def receive() -> Any:
            return next(bodies, {"type": "http.disconnect"})

        async def send(message: Any) -> None:
            sent.append(message)

        with pytest.raises(StopIteration):  # nothing here waits for anything
            self.gate(scope, receive, send).send(None)
        where = dict(sent[0]["headers"]).get(b"location", b"")
        return sent[0]["status"], (where or sent[-1]["body"]).decode()


def test_no_spelling_passes_without_the_secret() -> None:
    stood = Stood()
    asked = [(method, target) for name in NAMES for target in without(name) for method in METHODS
             if (method, target) != ("GET", f"/open/{TICKET}")]  # fmt: skip
    passed = [one for one in asked if stood.ask(*one) not in ((404, "no"), (404, ""))]

    assert len(asked) > 4000
    assert passed == []
    assert stood.passed == []
    assert stood.ask("GET", f"/open/{TICKET}") == (303, f"/{SECRET}/")


def test_the_secret_must_be_spelled_exactly() -> None:
    stood = Stood()
    passed = [(method, target) for name in NAMES for target in around(name) for method in METHODS
              if stood.ask(method, target) != (404, "no")]  # fmt: skip

    assert passed == []
    assert stood.passed == []


def test_each_name_has_one_method() -> None:
    stood = Stood()
    taken = {(method, name) for name in set(NAMES) - {"screens"} for method in METHODS
             if stood.ask(method, f"/{SECRET}/{name}")[0] != 404}  # fmt: skip

    assert taken == {("GET", ""), ("GET", "page.js"), ("GET", "stream.js"), ("POST", "do"), ("POST", "windows")}
    assert stood.passed == [{"do": "press", "key": "r"}]


@pytest.mark.parametrize(
    "headers",
    [
        (),
        ((b"host", HERE), (b"host", HERE)),
        ((b"host", b"localhost:4711"),),
        ((b"host", b"127.0.0.1"),),
        ((b"host", HERE + b"."),),
        ((b"host", b"127.0.0.1.example.org:4711"),),
        ((b"host", b"[::1]:4711"),),
        ((b"host", HERE), (b"origin", b"null")),
        ((b"host", HERE), (b"origin", b"https://" + HERE)),
        ((b"host", HERE), (b"origin", b"http://127.0.0.1:4712")),
        ((*OURS, (b"origin", b"http://example.org"))),
    ],
)
def test_another_host_or_origin_is_refused_with_the_secret_and_with_the_ticket(
    headers: tuple[tuple[bytes, bytes], ...],
) -> None:
    stood = Stood()

    assert stood.ask("POST", f"/{SECRET}/do", headers)[0] == 403
    assert stood.ask("GET", f"/{SECRET}/", headers)[0] == 403
    assert stood.ask("GET", f"/open/{TICKET}", headers)[0] == 403
    assert stood.passed == []


def test_a_ticket_lets_in_once_and_says_so() -> None:
    stood = Stood()

    assert stood.ask("HEAD", f"/open/{TICKET}")[0] == stood.ask("GET", f"/open/{TICKET}x")[0] == 404
    assert stood.ask("GET", f"/open/{TICKET}", ((b"host", HERE),)) == (303, f"/{SECRET}/")
    assert stood.ask("GET", f"/open/{TICKET}")[0] == 404
    assert stood.passed == [{"do": "opened"}]


def test_a_ticket_is_good_for_a_minute() -> None:
    stood = Stood()
    stood.now = 59.9
    late = Stood()
    late.now = 60.0

    assert stood.ask("GET", f"/open/{TICKET}")[0] == 303
    assert late.ask("GET", f"/open/{TICKET}")[0] == 404


def test_without_a_ticket_nobody_is_let_in() -> None:
    assert not Ticket("", 60).takes(b"")


@pytest.fixture(scope="module")
def served() -> Iterator[Page]:
    with Page({}) as page:
        page.open()
        page.send({"secret": "shown"})
        yield page


def test_the_running_server_answers_nobody_without_the_secret(served: Page) -> None:
    parts = urlsplit(served.address)
    answers = {}
    for name, method in (("screens", "GET"), ("do", "POST"), ("page.js", "GET"), ("", "GET")):
        for target in [one.replace("127.0.0.1:4711", parts.netloc) for one in without(name) if "#" not in one]:
            with socket.create_connection((parts.hostname or "", parts.port or 0), 10) as one:
                request = f"{method} {target} HTTP/1.1\r\nHost: {parts.netloc}\r\nOrigin: http://{parts.netloc}\r\n"
                one.sendall(f"{request}Content-Length: {len(PRESS)}\r\n\r\n".encode() + PRESS)
                answers[method, target] = one.recv(65536)

    assert {answer.split(b" ")[1] for answer in answers.values()} <= {b"400", b"403", b"404"}
    assert served.presses() == []
    assert not any(b"shown" in answer for answer in answers.values())
