"""A client that knows the secret gets through, however many strangers connect."""

from __future__ import annotations

import asyncio
import http.client
import json
import socket
from collections.abc import Iterator
from contextlib import ExitStack, contextmanager
from typing import Any, cast
from urllib.parse import urlsplit

import pytest
import uvicorn
from uvicorn.server import ServerState

from coach.page.crowd import HEADER_SECONDS, KEPT_SECONDS, MOST_STRANGERS, Guest
from coach.page.host import Page
from coach.page.server import Gate, Relay, Ticket

FEW = 256
"""Handles that a process may have open on some systems."""
HALF = b"GET /open/x HTTP/1.1\r\nHost: 127.0.0.1\r\n"


@contextmanager
def few_handles() -> Iterator[None]:
    """Let what is started meanwhile open few handles of its own accord."""
    resource = pytest.importorskip("resource", reason="no limits on handles here")
    soft, hard = resource.getrlimit(resource.RLIMIT_NOFILE)
    if hard != resource.RLIM_INFINITY and hard < 2 * FEW + MOST_STRANGERS:
        pytest.skip("this machine allows no more handles")
    resource.setrlimit(resource.RLIMIT_NOFILE, (FEW, hard))
    try:
        yield
    finally:
        resource.setrlimit(resource.RLIMIT_NOFILE, (max(soft, 2 * FEW + MOST_STRANGERS), hard))


class Visitor:
    """Somebody who knows the address, on one connection."""

    def __init__(self, page: Page) -> None:
        self.parts = urlsplit(page.address)
        self.connection = http.client.HTTPConnection(self.parts.netloc, timeout=10)

    def press(self, key: str) -> int:
        body = json.dumps({"do": "press", "key": key})
        self.connection.request("POST", self.parts.path + "do", body, {"Origin": f"http://{self.parts.netloc}"})
        answer = self.connection.getresponse()
        answer.read()
        return answer.status


def test_a_halt_gets_past_a_crowd_of_half_sent_requests_and_the_oldest_are_closed() -> None:
    with ExitStack() as stack:
        page = stack.enter_context(Page({}))
        with few_handles():
            page.open()
        page.send({"n": 1})
        at = (urlsplit(page.address).hostname, urlsplit(page.address).port)
        inside = Visitor(page)
        inside.press("a")
        strangers = []
        for _ in range(MOST_STRANGERS + 60):
            strangers.append(stack.enter_context(socket.create_connection(at, 10)))
            strangers[-1].sendall(HALF)
        newcomer = Visitor(page)

        assert (newcomer.press(" "), inside.press("b")) == (204, 204)
        assert [_ended(stranger) for stranger in strangers[:50]] == [True] * 50
        assert not _ended(strangers[-1])
        newcomer.connection.close()
        inside.connection.close()


def _ended(one: socket.socket) -> bool:
    one.setblocking(False)
    try:
        return not one.recv(1)
    except BlockingIOError:
        return False
    except OSError:
        return True


class Later:
    """A loop's timers; none fires by itself."""

    def __init__(self) -> None:
        self.timers: list[Any] = []

    def call_later(self, seconds: float, call: Any) -> Any:
        self.timers.append((seconds, call))
        return self

    def cancel(self) -> None:
        self.timers.clear()


class Wire:
    """A connection's transport."""

    def __init__(self) -> None:
        self.aborted = False
        self.socket = socket.socket()

    def get_extra_info(self, name: str) -> Any:
        return self.socket if name == "socket" else None

    def abort(self) -> None:
        self.aborted = True
        self.socket.close()


@pytest.fixture
def guest() -> Iterator[Guest]:
    async def made() -> Guest:
        gate = Gate(Relay(), "secret", Ticket("", 0), 4711, {})
        config = uvicorn.Config(gate, log_config=None, lifespan="off", http=Guest, ws="none")
        return Guest(config, ServerState(), {}, _loop=cast("Any", Later()))

    one = asyncio.run(made())
    one.connection_made(Wire())
    yield one
    Guest.strangers.pop(one, None)
    one.transport.abort()


def test_a_connection_without_the_secret_is_closed_within_seconds(guest: Guest) -> None:
    loop, wire = cast("Any", guest.loop), cast("Any", guest.transport)
    ((seconds, ends),) = loop.timers

    assert seconds == HEADER_SECONDS
    assert guest in Guest.strangers
    ends()
    assert wire.aborted
    assert guest not in Guest.strangers


def test_a_connection_with_the_secret_may_stay_until_a_halt_comes(guest: Guest) -> None:
    guest.app_state["known"]()

    assert guest not in Guest.strangers
    assert cast("Any", guest.loop).timers == []
    assert guest.timeout_keep_alive == KEPT_SECONDS
