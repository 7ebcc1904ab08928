"""The page's server, in a process of its own: shows the newest screen to every window, passes presses on.

Started by `host.py` with `python -m coach.page.server`; what it needs to know comes as one JSON line on its input, so
that nothing of it shows among the processes. It ends as soon as the coach's end of the connection is gone.
"""

from __future__ import annotations

import asyncio
import contextlib
import json
import os
import secrets
import socket
import sys
from collections.abc import AsyncIterator, Mapping
from pathlib import Path
from typing import Any

import uvicorn
from starlette.applications import Starlette
from starlette.requests import Request
from starlette.responses import FileResponse, PlainTextResponse, RedirectResponse, Response, StreamingResponse
from starlette.routing import Route
from starlette.types import ASGIApp, Receive, Scope, Send

STATIC = Path(__file__).parent / "static"
FILES = {"": "index.html", "page.css": "page.css", "page.js": "page.js", "stone.js": "stone.js"}
"""Path behind the secret, and the file that it shows."""

LONGEST_BODY = 16384
"""Bytes of one press, with a long note in it."""
LONGEST_TEXT = 4000
"""Characters of one field."""
MOST_WINDOWS = 8
"""Windows that are shown the session at the same time."""
HERE_EVERY = 2.0
"""Seconds after which a window is told that the server is there, if nothing changes."""

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
    """What goes between the coach and the windows: the newest screen one way, presses the other."""

    def __init__(self, to_coach: asyncio.StreamWriter | None = None) -> None:
        self._to_coach = to_coach
        self._screen = b""
        self._shown = 0
        self._changed = asyncio.Condition()
        self._over = False
        self.windows = 0

    async def show(self, screen: bytes) -> None:
        """Show a screen, JSON on one line, in every window."""
        async with self._changed:
            self._screen = screen
            self._shown += 1
            self._changed.notify_all()

    async def end(self) -> None:
        """Let every window go."""
        async with self._changed:
            self._over = True
            self._changed.notify_all()

    def tell(self, message: Mapping[str, Any]) -> None:
        """Pass a message on to the coach."""
        if self._to_coach is not None:
            self._to_coach.write(json.dumps(message).encode() + b"\n")

    async def screens(self) -> AsyncIterator[bytes]:
        """Yield server-sent events for one window: the newest screen, and each that follows it."""
        self._count(1)
        try:
            seen = 0
            while not self._over:
                if await self._newer(seen):
                    seen = self._shown
                    yield b"data: " + self._screen + b"\n\n"
                else:
                    yield b": here\n\n"
        finally:
            self._count(-1)

    async def _newer(self, seen: int) -> bool:
        async with self._changed:
            try:
                await asyncio.wait_for(self._changed.wait_for(lambda: self._over or self._shown != seen), HERE_EVERY)
            except TimeoutError:
                return False
        return True

    def _count(self, more: int) -> None:
        self.windows += more
        self.tell({"do": "windows", "n": self.windows})


class Gate:
    """Lets in what knows the secret, names this machine, and comes from the page itself."""

    def __init__(self, app: ASGIApp, secret: str, port: int, words: Mapping[str, str]) -> None:
        self._app = app
        self._secret = secret.encode()
        self._hosts = {f"127.0.0.1:{port}", f"localhost:{port}"}
        self._words = words

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Answer, or say why not, for one request."""
        if scope["type"] != "http":
            return
        request = Request(scope)
        first = request.url.path.split("/")[1] if request.url.path.startswith("/") else ""
        answer: ASGIApp = self._app
        if request.headers.get("host", "") not in self._hosts or not self._from_here(request):
            answer = self._refusal("page_wrong_origin", 403)
        elif first != "open" and not secrets.compare_digest(first.encode("utf-8", "replace"), self._secret):
            answer = self._refusal("page_wrong_address", 404)
        await answer(scope, receive, _with_headers(send))

    def _from_here(self, request: Request) -> bool:
        """Tell whether a request comes from the page: a browser names the page that asks in Origin."""
        origin = request.headers.get("origin")
        if origin is None:
            return request.method == "GET"
        return origin.removeprefix("http://") in self._hosts and origin.startswith("http://")

    def _refusal(self, key: str, status: int) -> Response:
        return PlainTextResponse(self._words.get(key, key), status)


def _with_headers(send: Send) -> Send:
    async def guarded(message: Any) -> None:  # noqa: ANN401  a message of the interface
        if message["type"] == "http.response.start":
            more = [(name.lower().encode(), value.encode()) for name, value in HEADERS.items()]
            message["headers"] = [*message.get("headers", []), *more]
        await send(message)

    return guarded


def make_app(relay: Relay, secret: str, ticket: str, port: int, words: Mapping[str, str]) -> ASGIApp:
    """Return the application. `ticket` opens the page once, for an address that others on this machine may see."""
    tickets = [ticket]

    async def open_once(request: Request) -> Response:
        given = str(request.path_params["ticket"]).encode("utf-8", "replace")
        if not tickets or not secrets.compare_digest(given, tickets[0].encode()):
            return PlainTextResponse(words.get("page_wrong_address", ""), 404)
        tickets.clear()
        return RedirectResponse(f"/{secret}/", 303)

    async def static(request: Request) -> Response:
        name = FILES.get(request.path_params["name"])
        return FileResponse(STATIC / name) if name else PlainTextResponse(words.get("page_wrong_address", ""), 404)

    async def screens(_: Request) -> Response:
        if relay.windows >= MOST_WINDOWS:
            return PlainTextResponse(words.get("page_too_many", ""), 429)
        return StreamingResponse(relay.screens(), media_type="text/event-stream")

    async def do(request: Request) -> Response:
        body = b""
        async for part in request.stream():
            body += part
            if len(body) > LONGEST_BODY:
                return Response(status_code=413)
        press = understood(body)
        if press is None:
            return Response(status_code=400)
        relay.tell(press)
        return Response(status_code=204)

    routes = [
        Route("/open/{ticket}", open_once),
        Route("/{secret}/screens", screens),
        Route("/{secret}/do", do, methods=["POST"]),
        Route("/{secret}/{name:path}", static),
    ]
    return Gate(Starlette(routes=routes), secret, port, words)


def understood(body: bytes) -> dict[str, Any] | None:
    """Return a press as it is passed on, or None for anything else.

    >>> understood(b'{"do": "press", "key": " "}')
    {'do': 'press', 'key': ' '}
    """
    try:
        given = json.loads(body)
    except (ValueError, RecursionError):
        return None
    match given:
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


async def serve(begin: Mapping[str, Any]) -> None:
    """Connect to the coach and serve its screens until it goes away."""
    reader, writer = await asyncio.open_connection("127.0.0.1", begin["coach"], limit=2**20)
    writer.write(begin["token"].encode() + b"\n")
    relay = Relay(writer)
    try:
        listening = socket.create_server(("127.0.0.1", begin["port"]))
    except OSError as error:
        relay.tell({"do": "refused", "because": os.strerror(error.errno or 0)})
        await writer.drain()
        return
    port = listening.getsockname()[1]
    app = make_app(relay, begin["secret"], begin["ticket"], port, begin["words"])
    config = uvicorn.Config(app, log_config=None, access_log=False, lifespan="off", server_header=False,
                            date_header=False, timeout_graceful_shutdown=1, http="h11", ws="none")  # fmt: skip
    server = uvicorn.Server(config)
    relay.tell({"do": "open", "port": port})

    async def follow() -> None:
        with contextlib.suppress(OSError):  # reset, if something that was sent was never read
            while line := await reader.readline():
                await relay.show(line.strip())
        await relay.end()
        server.should_exit = True

    following = asyncio.create_task(follow())
    await server.serve(sockets=[listening])
    following.cancel()


if __name__ == "__main__":
    asyncio.run(serve(json.loads(sys.stdin.readline())))
