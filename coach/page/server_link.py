"""The coach's end of its connection to the page's server: it sends screens and receives presses, and never waits."""

from __future__ import annotations

import contextlib
import json
import socket
from typing import Any

MOST_UNSENT = 65536
"""Bytes a server may leave unread; a hanging server gets no more, so that the memory does not grow."""
LONGEST = 65536
"""Bytes of one message from the server at most: several times the longest press."""

Message = dict[str, Any]


class ServerLink:
    """One connection, with one JSON value per line. If the server goes away, `closed` is set; nothing is raised."""

    def __init__(self, connection: socket.socket) -> None:
        connection.setblocking(False)
        with contextlib.suppress(OSError):
            connection.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)
        self._connection = connection
        self._unsent = b""
        self._unread = b""
        self._next: bytes | None = None
        self.closed = False

    def fileno(self) -> int:
        """Return the connection's handle, to wait on."""
        return self._connection.fileno()

    def send(self, message: Message) -> None:
        """Send a screen, or keep it until the previous one is sent; only the newest waiting screen is kept."""
        self._next = json.dumps(message, ensure_ascii=False, separators=(",", ":")).encode("utf-8", "replace") + b"\n"
        self._flush()

    def received(self) -> list[Message]:
        """Return the messages since the last call."""
        self._flush()
        while not self.closed:
            try:
                got = self._connection.recv(LONGEST)
            except BlockingIOError:
                break
            except OSError:
                got = b""
            if not got:
                self.close()
            self._unread += got
            if len(self._unread) > 2 * LONGEST:
                self.close()
        *lines, self._unread = self._unread.split(b"\n")
        return [value for value in map(_value, lines) if value is not None]

    def close(self) -> None:
        """Close the connection. A second call does nothing."""
        self.closed = True
        self._connection.close()

    def _flush(self) -> None:
        while not self.closed:
            if not self._unsent:
                if self._next is None:
                    return
                self._unsent, self._next = self._next, None
            try:
                sent = self._connection.send(self._unsent[:MOST_UNSENT])
            except BlockingIOError:
                return
            except OSError:
                self.close()
                return
            self._unsent = self._unsent[sent:]


def _value(line: bytes) -> Message | None:
    try:
        value = json.loads(line)
    except (ValueError, RecursionError):
        return None
    return value if isinstance(value, dict) else None
