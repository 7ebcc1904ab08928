"""Start the page's server, watch it, and start it again if it dies."""

from __future__ import annotations

import contextlib
import json
import secrets
import select
import socket
import subprocess
import sys
import time
from collections.abc import Callable, Mapping
from typing import Self

from coach.errors import PageError
from coach.page.link import Link, Message

HOST = "127.0.0.1"
START_DEADLINE = 30.0
"""Seconds that a server may take to start: a slow disk, a virus scanner."""
AGAIN_AFTER = 1.0
"""Seconds between two starts of a server that dies, at least; twice as long after each, up to AGAIN_AT_MOST."""
AGAIN_AT_MOST = 30.0
GREETING = 1.0
"""Seconds that somebody who connects may take to name the token; a server does so at once."""


class Page:
    """The page as the coach holds it. `send` and `presses` never wait; a dead server is replaced meanwhile."""

    def __init__(self, words: Mapping[str, str], port: int = 0, now: Callable[[], float] = time.monotonic) -> None:
        """Nothing is started before `open`. `words`: what the server says by itself; `port` 0: any free one."""
        self._words = dict(words)
        self._port = port
        self._now = now
        self._secret = secrets.token_urlsafe(24)
        self._ticket = secrets.token_urlsafe(24)
        self._token = secrets.token_urlsafe(24)
        self._listener = socket.create_server((HOST, 0))
        self._listener.setblocking(False)
        self._child: subprocess.Popen[str] | None = None
        self._link: Link | None = None
        self._greeted = b""
        self._arriving: socket.socket | None = None
        self._arrived = 0.0
        self._screen: Message | None = None
        self._started = float("-inf")
        self._again = AGAIN_AFTER
        self.serving = False
        """Whether the server listens."""
        self.windows = 0
        """Windows that show the page now."""

    @property
    def address(self) -> str:
        """Where the page is; whoever knows it can use it."""
        return f"http://{HOST}:{self._port}/{self._secret}/"

    @property
    def address_once(self) -> str:
        """An address that leads to the page one time: what a browser is started with can be seen by others here."""
        return f"http://{HOST}:{self._port}/open/{self._ticket}"

    @property
    def server(self) -> int:
        """Id of the server's process; 0: none runs."""
        return self._child.pid if self._child is not None and self._child.poll() is None else 0

    def open(self) -> None:
        """Start the server and wait until it listens. Raises PageError if it cannot."""
        try:
            self._start()
        except OSError as error:
            raise PageError(f"The page's server cannot be started ({error.strerror}); close other programs.") from error
        deadline = self._now() + START_DEADLINE
        while not self.serving:
            if self._child is not None and self._child.poll() is not None and self._link is None:
                raise PageError("The page's server did not start; install this program anew.")
            if self._now() > deadline:
                raise PageError(f"The page's server did not start within {START_DEADLINE:.0f} seconds; try again.")
            self.wait(0.05)
            self._look()

    def send(self, screen: Message) -> None:
        """Show a screen from now on."""
        self._screen = screen
        if self._link is not None and self.serving:
            self._link.send(screen)

    def presses(self) -> list[Message]:
        """Return what was pressed since the last call; see to it that a server runs."""
        pressed = self._look()
        gone = self._child is None or self._child.poll() is not None
        if gone and self._now() - self._started >= self._again:
            self._again = min(2 * self._again, AGAIN_AT_MOST)
            with contextlib.suppress(OSError):  # the system has no room for one just now; a session goes on without
                self._start()
        return pressed

    def wait(self, seconds: float) -> None:
        """Return when something has come from the server, after `seconds` at the latest."""
        source = self._link if self._link is not None and not self._link.closed else self._arriving or self._listener
        with contextlib.suppress(OSError, ValueError):
            select.select([source], [], [], seconds)

    def close(self) -> None:
        """End the server. Harmless if it has ended already."""
        for end in (self._link, self._arriving, self._listener):
            if end is not None:
                end.close()
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
        self._started = self._now()
        self._drop()
        begin = {
            "coach": self._listener.getsockname()[1],
            "token": self._token,
            "secret": self._secret,
            "ticket": self._ticket,
            "port": self._port,
            "words": self._words,
        }
        command = [sys.executable, "-m", "coach.page.server"]
        child = subprocess.Popen(  # noqa: S603  our own module
            command,
            stdin=subprocess.PIPE,
            stdout=subprocess.DEVNULL,
            stderr=subprocess.DEVNULL,
            text=True,
            start_new_session=True,  # Ctrl-C in the terminal is for the coach
        )
        self._child = child
        with contextlib.suppress(OSError):  # it died at once, which shows soon enough
            assert child.stdin is not None
            child.stdin.write(json.dumps(begin) + "\n")
            child.stdin.close()

    def _drop(self) -> None:
        if self._link is not None:
            self._link.close()
        self._link = None
        self.serving = False
        self.windows = 0

    def _look(self) -> list[Message]:
        """Take what has come: a server that reports, and what was pressed."""
        if self._link is None:
            self._greet()
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
            case {"do": "open", "port": int(port)}:
                self._port, self.serving, self._again = port, True, AGAIN_AFTER
                if self._screen is not None and self._link is not None:
                    self._link.send(self._screen)
            case {"do": "refused", "because": because}:
                if not self._screen:
                    raise PageError(
                        f"Port {self._port} cannot be used ({because}); perhaps the page is open already. "
                        "Choose another with --port, or leave --port out."
                    )
            case {"do": "windows", "n": int(n)}:
                self.windows = n
                if n:  # the address for one time was used, and no server to come takes it again
                    self._ticket = secrets.token_urlsafe(24)
            case _:
                pressed.append(message)

    def _greet(self) -> None:
        """Let the server in that knows the token, and nobody else."""
        if self._arriving is None:
            try:
                self._arriving, _ = self._listener.accept()
            except OSError:
                return
            self._arriving.setblocking(False)
            self._arrived = self._now()
            self._greeted = b""
        wanted = self._token.encode() + b"\n"
        try:
            got = self._arriving.recv(len(wanted) - len(self._greeted))
        except BlockingIOError:
            if self._now() - self._arrived < GREETING:
                return
            got = b""
        except OSError:
            got = b""
        self._greeted += got
        if got and len(self._greeted) < len(wanted):
            return
        arrived, self._arriving = self._arriving, None
        if secrets.compare_digest(self._greeted, wanted):
            self._link = Link(arrived)
        else:
            arrived.close()
