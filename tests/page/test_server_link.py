"""The connection to the page's server never waits, never grows, never raises."""

from __future__ import annotations

import json
import socket
from collections.abc import Iterator

import pytest
from hypothesis import given
from hypothesis import strategies as st

from coach.page.server_link import LONGEST, ServerLink


@pytest.fixture
def ends() -> Iterator[tuple[ServerLink, socket.socket]]:
    ours, theirs = socket.socketpair()
    link = ServerLink(ours)
    yield link, theirs
    link.close()
    theirs.close()


def lines(end: socket.socket) -> list[object]:
    """Return the messages that have come so far; the last may be cut."""
    end.setblocking(False)
    got = b""
    try:
        while part := end.recv(2**20):
            got += part
    except BlockingIOError:
        pass
    return [json.loads(line) for line in got.split(b"\n")[:-1]]


def test_a_screen_goes_out_as_one_line(ends: tuple[ServerLink, socket.socket]) -> None:
    link, server = ends

    link.send({"said": "one\ntwo", "name": "Zoë 민"})

    assert lines(server) == [{"said": "one\ntwo", "name": "Zoë 민"}]


def test_a_server_that_reads_nothing_delays_nobody_and_later_gets_the_newest_screen(
    ends: tuple[ServerLink, socket.socket],
) -> None:
    link, server = ends
    for number in range(2000):
        link.send({"n": number, "said": "x" * 2000})
    first = [line["n"] for line in lines(server) if isinstance(line, dict)]
    link.received()
    link.received()
    rest = [line["n"] for line in lines(server) if isinstance(line, dict)]

    assert first[:3] == [0, 1, 2]
    assert len(first) < 1999, "nothing was held back: the test proves nothing"
    assert (rest or first)[-1] == 1999 or link.received() == []
    assert not link.closed


def test_presses_arrive_in_order_however_the_stream_is_cut(ends: tuple[ServerLink, socket.socket]) -> None:
    link, server = ends
    text = b"".join(json.dumps({"do": "press", "key": key}).encode() + b"\n" for key in "ryn")
    got = []
    for at in range(0, len(text), 7):
        server.sendall(text[at : at + 7])
        got += link.received()

    assert [message["key"] for message in got] == ["r", "y", "n"]


def test_a_dead_server_is_noticed_and_sending_to_it_does_no_harm(ends: tuple[ServerLink, socket.socket]) -> None:
    link, server = ends
    server.close()

    assert link.received() == []
    link.send({"said": "nobody reads this"})

    assert link.closed


def test_a_line_without_end_is_not_kept_for_ever(ends: tuple[ServerLink, socket.socket]) -> None:
    link, server = ends
    server.setblocking(False)
    for _ in range(40):
        try:
            server.send(b"x" * LONGEST)
        except OSError:
            break
        link.received()

    assert link.closed


@given(st.binary(max_size=300))
def test_whatever_a_server_sends_is_either_a_message_or_nothing(sent: bytes) -> None:
    ours, theirs = socket.socketpair()
    link = ServerLink(ours)
    theirs.sendall(sent + b"\n" + b'{"do":"press","key":"r"}\n')
    got = link.received()
    link.close()
    theirs.close()

    assert all(isinstance(message, dict) for message in got)
    assert got[-1] == {"do": "press", "key": "r"}
