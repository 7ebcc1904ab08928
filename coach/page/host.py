"""Start the page's server, watch it, and restart it if it dies."""

from __future__ import annotations

import contextlib
import json
import os
import secrets
import select
import socket
import subprocess
import sys
import threading
import time
from collections.abc import Callable, Mapping
from pathlib import Path
from typing import Self

from coach.errors import PageError
from coach.page.handed import give, inherited
from coach.page.opener import Opener
from coach.page.server_link import Message, ServerLink

HOST = "127.0.0.1"
START_DEADLINE = 30.0
"""Seconds that a server may take to start: a slow disk, a virus scanner."""
AGAIN_AFTER = 1.0
"""Least seconds between two starts of a dying server; they double after each start, up to `AGAIN_AT_MOST`."""
AGAIN_AT_MOST = 30.0
TICKET_SECONDS = 60.0
"""Seconds a browser may take to ask for the page; a browser that must first be unpacked takes half of them."""


class Page:
    """The coach's side of the page. `send` and `presses` never wait; a dead server is replaced in the background.

    The coach keeps the listening socket, so that no other program gets the port while a server is replaced.
    """

    def __init__(self, words: Mapping[str, str], port: int = 0, now: Callable[[], float] = time.monotonic) -> None:
        """Nothing starts before `open`. `words`: the server's own sentences; `port` 0: any free port."""
        self._words = dict(words)
        self._port = port
        self._now = now
        self._secret = secrets.token_urlsafe(24)
        self._ticket = secrets.token_urlsafe(24)
        self._ticket_until = 0.0
        self._opener: Opener | None = None
        self._listener: socket.socket | None = None
        self._child: subprocess.Popen[str] | None = None
        self._link: ServerLink | None = None
        self._servers_end: socket.socket | None = None
        self._screen: Message | None = None
        self._started = float("-inf")
        self._again = AGAIN_AFTER
        self.serving = False
        """True while the server listens."""
        self.windows = 0
        """Number of windows that show the page now."""

    @property
    def address(self) -> str:
        """The page's address; everybody who knows it can use the page."""
        return f"http://{HOST}:{self._port}/{self._secret}/"

    @property
    def address_once(self) -> str:
        """An address that opens the page once, within `TICKET_SECONDS` after `open`."""
        return f"http://{HOST}:{self._port}/open/{self._ticket}"

    @property
    def server(self) -> int:
        """Process id of the server; 0: no server runs."""
        return self._child.pid if self._child is not None and self._child.poll() is None else 0

    def opener(self) -> Path:
        """Write the file that a browser is started with; it is deleted once used. Raises OSError."""
        self._opener = Opener(self.address_once)
        return self._opener.path

    def open(self) -> None:
        """Start the server and wait until it listens. Raises PageError if it cannot."""
        try:
            self._listener = socket.create_server((HOST, self._port))
        except OSError as error:
            raise PageError(
                f"Port {self._port} cannot be used ({os.strerror(error.errno or 0)}); perhaps the page is open "
                "already. Choose another with --port, or leave --port out."
            ) from error
        self._port = self._listener.getsockname()[1]
        self._ticket_until = self._now() + TICKET_SECONDS
        try:
            self._start()
        except OSError as error:
            raise PageError(f"The page's server cannot be started ({error.strerror}); close other programs.") from error
        deadline = self._now() + START_DEADLINE
        while not self.serving:
            if not self.server:
                raise PageError("The page's server did not start; install this program again.")
            if self._now() > deadline:
                raise PageError(f"The page's server did not start within {START_DEADLINE:.0f} seconds; try again.")
            self.wait(0.05)
            self._look()

    def send(self, screen: Message) -> None:
        """Show a screen until the next one."""
        self._screen = screen
        if self._link is not None and self.serving:
            self._link.send(screen)

    def presses(self) -> list[Message]:
        """Return the presses since the last call; restart the server if it has died."""
        pressed = self._look()
        if self._ticket and self._now() >= self._ticket_until:
            self._void_ticket()
        if not self.server and self._now() - self._started >= self._again:
            self._again = min(2 * self._again, AGAIN_AT_MOST)
            with contextlib.suppress(OSError):  # the system cannot start one now; the session goes on without it
                self._start()
        return pressed

    def wait(self, seconds: float) -> None:
        """Wait until the server sends something, but at most `seconds`."""
        if self._link is None or self._link.closed:
            threading.Event().wait(seconds)
            return
        with contextlib.suppress(OSError, ValueError):
            select.select([self._link], [], [], seconds)

    def close(self) -> None:
        """End the server. A second call does nothing."""
        self._void_ticket()
        self._drop()
        if self._listener is not None:
            self._listener.close()
        if self._child is not None:
            try:
                self._child.wait(3)
            except subprocess.TimeoutExpired:
                self._child.kill()
                self._child.wait()

    def __enter__(self) -> Self:
        return self

    def __exit__(self, *_: object) -> None:
        self.close()

    def _start(self) -> None:
        assert self._listener is not None
        self._started = self._now()
        self._drop()
        ours, theirs = socket.socketpair()
        self._link, self._servers_end = ServerLink(ours), theirs
        command = [sys.executable, "-m", "coach.page.server"]
        child = subprocess.Popen(  # noqa: S603  our own module
            command,
            stdin=subprocess.PIPE,
            stdout=subprocess.DEVNULL,
            stderr=subprocess.DEVNULL,
            text=True,
            start_new_session=True,  # Ctrl-C in the terminal is for the coach
            **inherited(theirs, self._listener),
        )
        self._child = child
        begin = {
            "link": give(theirs, child.pid),
            "listen": give(self._listener, child.pid),
            "secret": self._secret,
            "ticket": self._ticket,
            "ticket_seconds": self._ticket_until - self._now(),
            "words": self._words,
        }
        with contextlib.suppress(OSError):  # it died at once; the next look notices
            assert child.stdin is not None
            child.stdin.write(json.dumps(begin) + "\n")
            child.stdin.close()

    def _drop(self) -> None:
        for end in (self._link, self._servers_end):
            if end is not None:
                end.close()
        self._link = self._servers_end = None
        self.serving = False
        self.windows = 0

    def _void_ticket(self) -> None:
        """Make the ticket invalid, also for future servers, and delete its file."""
        self._ticket = ""
        if self._opener is not None:
            self._opener.close()
            self._opener = None

    def _look(self) -> list[Message]:
        """Read the server's reports and return the presses."""
        if self._link is None:
            return []
        pressed: list[Message] = []
        for message in self._link.received():
            self._take(message, pressed)
        if self._link.closed:
            self._drop()
        return pressed

    def _take(self, message: Message, pressed: list[Message]) -> None:
        match message:
            case {"do": "open"}:
                self.serving, self._again = True, AGAIN_AFTER
                if self._servers_end is not None:  # the server has its own copy, which closes when it dies
                    self._servers_end.close()
                if self._screen is not None and self._link is not None:
                    self._link.send(self._screen)
            case {"do": "opened"}:
                self._void_ticket()
            case {"do": "windows", "n": int(n)}:
                self.windows = n
            case _:
                pressed.append(message)
