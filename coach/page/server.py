"""Serve the page, in a separate process: send the newest screen to every window, and presses to the coach.

`host.py` starts it with `python -m coach.page.server` and sends its settings as one JSON line on standard input, so
that the list of processes does not show them. It ends as soon as the coach's end of the connection closes.
"""

from __future__ import annotations

import asyncio
import contextlib
import itertools
import json
import secrets
import socket
import sys
import time
from collections.abc import AsyncIterator, Awaitable, Callable, Mapping
from functools import partial
from pathlib import Path
from typing import Any

import uvicorn
from starlette.requests import Request
from starlette.responses import PlainTextResponse, RedirectResponse, Response, StreamingResponse
from starlette.types import Receive, Scope, Send

from coach.page.crowd import LET_IN_AT_ONCE, MOST_WAITING, Guest
from coach.page.handed import take

STATIC = Path(__file__).parent / "static"
FILES = {"": "index.html"} | {name: name for name in ("page.css", "elements.js", "page.js", "stone.js", "stream.js")}
"""Path after the secret to the file it shows."""
CONTENT_TYPES = {".html": "text/html", ".css": "text/css", ".js": "text/javascript"}
"""Ending of a file to its type; with a wrong type from the system's own list a browser would refuse the script."""

LONGEST_BODY = 16384
"""Bytes of one press at most: enough for a long note."""
LONGEST_TEXT = 4000
"""Characters of one field at most."""
MOST_STREAMS = 8
"""Streams of screens at the same time: a browser needs one for all of its windows."""
MOST_WINDOWS = 99
"""Most windows that a browser may report."""
HERE_EVERY = 2.0
"""Seconds after which a closed stream is noticed if the screen does not change."""
FILES_OPEN = 4096
"""Open files this process asks for: some systems allow 256 by default, fewer than the strangers' connections."""

HEADERS = {
    "Content-Security-Policy": "default-src 'none'; script-src 'self'; style-src 'self'; connect-src 'self'; "
    "img-src 'self' data:; base-uri 'none'; form-action 'none'; frame-ancestors 'none'",
    "Cache-Control": "no-store",
    "Referrer-Policy": "no-referrer",
    "X-Content-Type-Options": "nosniff",
    "Cross-Origin-Opener-Policy": "same-origin",
    "Cross-Origin-Resource-Policy": "same-origin",
}


class Relay:
    """Connects the coach and the windows: it forwards the newest screen one way and presses the other."""

    def __init__(self, to_coach: asyncio.StreamWriter | None = None) -> None:
        self._to_coach = to_coach
        self._screen = b""
        self._shown = 0
        self._changed = asyncio.Condition()
        self._over = False
        self._numbers = itertools.count(1)
        self.streams: dict[int, int] = {}
        """Number of a stream to the number of its windows."""

    async def show(self, screen: bytes) -> None:
        """Show a screen, JSON on one line, in every window."""
        async with self._changed:
            self._screen = screen
            self._shown += 1
            self._changed.notify_all()

    async def end(self) -> None:
        """End every stream."""
        async with self._changed:
            self._over = True
            self._changed.notify_all()

    def tell(self, message: Mapping[str, Any]) -> None:
        """Send a message to the coach."""
        if self._to_coach is not None:
            self._to_coach.write(json.dumps(message).encode() + b"\n")

    async def screens(self) -> AsyncIterator[bytes]:
        """Yield one stream's server-sent events: its number, the newest screen, and each later one."""
        number = next(self._numbers)
        self.count(number, 1)
        try:
            seen = 0
            while not self._over:
                if await self._newer(seen):
                    seen = self._shown
                    yield b"data: %b\nid: %d\n\n" % (self._screen, number)
                else:
                    yield b": here\n\n"
        finally:
            self.count(number, 0)

    def count(self, number: int, windows: int) -> None:
        """Note the number of windows of a stream; 0: it has ended."""
        self.streams[number] = windows
        if not windows:
            del self.streams[number]
        self.tell({"do": "windows", "n": sum(self.streams.values())})

    async def _newer(self, seen: int) -> bool:
        async with self._changed:
            try:
                await asyncio.wait_for(self._changed.wait_for(lambda: self._over or self._shown != seen), HERE_EVERY)
            except TimeoutError:
                return False
        return True


Answers = Callable[[Request], Awaitable[Response]]


class Gate:
    """Accepts a request only if it knows the secret, names this machine and comes from the page itself.

    It compares the raw bytes of the address, without decoding or normalising them. The same comparison selects the
    handler of the request.
    """

    def __init__(self, relay: Relay, secret: str, ticket: Ticket, port: int, words: Mapping[str, str]) -> None:
        self._relay = relay
        self._secret = secret
        self._ticket = ticket
        self._host = f"127.0.0.1:{port}".encode()
        self._words = words
        files: dict[tuple[str, bytes], Answers] = {
            ("GET", name.encode()): partial(_file, file) for name, file in FILES.items()
        }
        self._answers = files | {
            ("GET", b"screens"): self._screens,
            ("POST", b"do"): self._do,
            ("POST", b"windows"): self._windows,
        }

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Answer or refuse one request."""
        if scope["type"] != "http":
            return
        answers = self._asked(scope) if self._from_here(scope) else self._not_from_here
        await (await answers(Request(scope, receive)))(scope, receive, send)

    def _asked(self, scope: Scope) -> Answers:
        match scope["raw_path"].split(b"/"):
            case _ if scope["query_string"]:
                return self._no_such
            case [b"", b"open", ticket] if scope["method"] == "GET" and self._ticket.takes(ticket):
                return self._open
            case [b"", secret, name] if secrets.compare_digest(secret, self._secret.encode()):
                scope.get("state", {}).get("known", lambda: None)()
                return self._answers.get((scope["method"], name), self._no_such)
        return self._no_such

    def _from_here(self, scope: Scope) -> bool:
        """Tell whether a request comes from the page: a browser sends the page's origin in the header Origin."""
        hosts = [value for name, value in scope["headers"] if name == b"host"]
        origins = [value for name, value in scope["headers"] if name == b"origin"]
        if scope["method"] != "GET" and not origins:
            return False
        return hosts == [self._host] and all(origin == b"http://" + self._host for origin in origins)

    async def _not_from_here(self, _: Request) -> Response:
        return self._refusal("page_wrong_origin", 403)

    async def _no_such(self, _: Request) -> Response:
        return self._refusal("page_wrong_address", 404)

    def _refusal(self, key: str, status: int) -> Response:
        return PlainTextResponse(self._words.get(key, key), status, {**HEADERS, "Connection": "close"})

    async def _open(self, _: Request) -> Response:
        self._relay.tell({"do": "opened"})
        return RedirectResponse(f"/{self._secret}/", 303, HEADERS)

    async def _screens(self, _: Request) -> Response:
        if len(self._relay.streams) >= MOST_STREAMS:
            return self._refusal("page_too_many", 429)
        return StreamingResponse(self._relay.screens(), 200, HEADERS, "text/event-stream")

    async def _do(self, request: Request) -> Response:
        body = await _body(request)
        press = understood(body)
        if len(body) > LONGEST_BODY or press is None:
            return _status(413 if len(body) > LONGEST_BODY else 400)
        self._relay.tell(press)
        return _status(204)

    async def _windows(self, request: Request) -> Response:
        match _value(await _body(request)):
            case {"stream": int(number), "n": int(n)} if number in self._relay.streams and 1 <= n <= MOST_WINDOWS:
                self._relay.count(number, n)
                return _status(204)
        return _status(400)


def _status(status: int) -> Response:
    return Response(status_code=status, headers=HEADERS)


async def _file(name: str, _: Request) -> Response:
    return Response((STATIC / name).read_bytes(), 200, HEADERS, CONTENT_TYPES[Path(name).suffix])


async def _body(request: Request) -> bytes:
    """Return the body; of one that is too long only the beginning, which is still over the limit."""
    body = b""
    async for part in request.stream():
        body += part
        if len(body) > LONGEST_BODY:
            break
    return body


class Ticket:
    """Admits the first client that shows it within some seconds."""

    def __init__(self, ticket: str, seconds: float, now: Callable[[], float] = time.monotonic) -> None:
        self._ticket = ticket
        self._until = now() + seconds
        self._now = now

    def takes(self, shown: bytes) -> bool:
        """Tell whether `shown` is the valid ticket; if so, it is invalid from then on."""
        good = bool(self._ticket) and secrets.compare_digest(shown, self._ticket.encode()) and self._now() < self._until
        if good:
            self._ticket = ""
        return good


def understood(body: bytes) -> dict[str, Any] | None:
    """Return the press in a request's body as it is forwarded, or None if the body is anything else.

    >>> understood(b'{"do": "press", "key": " "}')
    {'do': 'press', 'key': ' '}
    """
    match _value(body):
        case {"do": "press", "key": str(key), "serial": int(serial)} if len(key) == 1 and abs(serial) <= 2**53:
            return {"do": "press", "key": key, "serial": serial}
        case {"do": "press", "key": str(key)} if len(key) == 1:
            return {"do": "press", "key": key}
        case {"do": "choose", "serial": int(serial), "id": str(chosen), **rest} if len(chosen) <= LONGEST_TEXT:
            fields = rest.get("fields", {})
            if not isinstance(fields, dict) or abs(serial) > 2**53:
                return None
            if all(isinstance(text, str) and len(text) <= LONGEST_TEXT for text in fields.values()):
                return {"do": "choose", "serial": serial, "id": chosen, "fields": fields}
    return None


def _value(body: bytes) -> object:
    try:
        return json.loads(body)
    except (ValueError, RecursionError):
        return None


class _Server(uvicorn.Server):
    """Accepts few connections at a time and lets many wait: a refused one would be tried again only a second later."""

    opened: Callable[[], None]

    async def startup(self, sockets: list[socket.socket] | None = None) -> None:
        await super().startup(sockets)
        for listening in sockets or ():
            listening.listen(MOST_WAITING)
        self.opened()


async def serve(begin: Mapping[str, Any]) -> None:
    """Serve the coach's screens until the coach ends."""
    _open_files()
    listening = take(begin["listen"])
    reader, writer = await asyncio.open_connection(sock=take(begin["link"]), limit=2**20)
    relay = Relay(writer)
    ticket = Ticket(begin["ticket"], begin["ticket_seconds"])
    gate = Gate(relay, begin["secret"], ticket, listening.getsockname()[1], begin["words"])
    config = uvicorn.Config(gate, log_config=None, access_log=False, lifespan="off", server_header=False, ws="none",
                            date_header=False, timeout_graceful_shutdown=1, http=Guest,
                            backlog=LET_IN_AT_ONCE)  # fmt: skip
    server = _Server(config)
    server.opened = lambda: relay.tell({"do": "open"})

    async def follow() -> None:
        with contextlib.suppress(OSError):  # a reset, if sent data was never read
            while line := await reader.readline():
                await relay.show(line.strip())
        await relay.end()
        server.should_exit = True

    following = asyncio.create_task(follow())
    await server.serve(sockets=[listening])
    following.cancel()


def _open_files() -> None:
    with contextlib.suppress(ImportError, OSError, ValueError):  # no such limit on Windows, or no more is allowed
        import resource

        soft, hard = resource.getrlimit(resource.RLIMIT_NOFILE)
        if 0 <= soft < FILES_OPEN:
            most = FILES_OPEN if hard == resource.RLIM_INFINITY else min(FILES_OPEN, hard)
            resource.setrlimit(resource.RLIMIT_NOFILE, (most, hard))


if __name__ == "__main__":
    asyncio.run(serve(json.loads(sys.stdin.readline())))
