"""A stand-in for the page's server: it serves the static files, sends the screens it is given, keeps the presses."""

from __future__ import annotations

import json
import threading
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from pathlib import Path
from typing import Any

from coach.page.server import FILES, STATIC

SECRET = "made-up-for-tests"
CSP = "default-src 'none'; script-src 'self'; style-src 'self'; connect-src 'self'; img-src 'self' data:"
KINDS = {".html": "text/html", ".css": "text/css", ".js": "text/javascript"}

Screen = Mapping[str, Any]


class FakeScreens:
    """The page's present screen and its presses; `news` guards both."""

    def __init__(self) -> None:
        self.news = threading.Condition()
        self.screen: Screen | None = None
        self.number = 0
        self.pressed: list[dict[str, Any]] = []
        self.meant: list[int | None] = []  # the serial that each press named
        self.watching = 0
        self.away = False
        """The server is gone: streams end, everything is refused."""
        self.deaf = False
        """Screens arrive at the page, presses do not reach us."""
        self.address = ""

    def show(self, screen: Screen) -> None:
        """Send a screen to every page."""
        with self.news:
            self.screen, self.number = screen, self.number + 1
            self.news.notify_all()

    def leave(self) -> None:
        """Go away as a crashed server does."""
        with self.news:
            self.away = True
            self.news.notify_all()

    def return_(self) -> None:
        """Be there again, with the last screen."""
        with self.news:
            self.away = False

    def presses(self, many: int) -> list[dict[str, Any]]:
        """Return the presses as soon as there are `many`, or after five seconds what there is."""
        with self.news:
            self.news.wait_for(lambda: len(self.pressed) >= many, timeout=5)
            return list(self.pressed)

    def take(self, press: dict[str, Any]) -> None:
        """Keep a press."""
        with self.news:
            if press.get("do") == "press":
                self.meant.append(press.pop("serial", None))
            self.pressed.append(press)
            self.news.notify_all()

    def screens(self) -> Iterator[Screen]:
        """Yield each screen from now on, until the server goes away."""
        seen = -1
        while True:
            with self.news:
                while seen == self.number and not self.away:
                    self.news.wait()
                if self.away:
                    return
                seen, screen = self.number, self.screen
            if screen is not None:
                yield screen


def _handler(screens: FakeScreens) -> type[BaseHTTPRequestHandler]:
    class Handler(BaseHTTPRequestHandler):
        def log_message(self, *_: object) -> None:
            """Say nothing."""

        def _answer(self, status: int, kind: str = "", body: bytes = b"") -> None:
            self.send_response(status)
            self.send_header("Content-Security-Policy", CSP)
            if kind:
                self.send_header("Content-Type", kind)
            if kind != "text/event-stream":
                self.send_header("Content-Length", str(len(body)))
            self.end_headers()
            self.wfile.write(body)

        def do_GET(self) -> None:
            name = self.path.removeprefix(f"/{SECRET}/")
            if screens.away or name == self.path:
                self._answer(503 if screens.away else 404)
            elif name == "screens":
                self._answer(200, "text/event-stream")
                try:
                    for screen in screens.screens():
                        self.wfile.write(f"data: {json.dumps(screen)}\n\n".encode())
                        self.wfile.flush()
                except OSError:
                    pass  # the page was closed
            elif name in FILES:
                file = FILES[name]
                kind = f"{KINDS[Path(file).suffix]}; charset=utf-8"
                self._answer(200, kind, (STATIC / file).read_bytes())
            else:
                self._answer(404)

        def do_POST(self) -> None:
            body = self.rfile.read(int(self.headers["Content-Length"]))
            if screens.away or screens.deaf:
                self._answer(503)
                return
            screens.take(json.loads(body))
            self._answer(204)

    return Handler


@contextmanager
def serving() -> Iterator[FakeScreens]:
    """Serve on a free port of this machine until the block ends."""
    screens = FakeScreens()
    server = ThreadingHTTPServer(("127.0.0.1", 0), _handler(screens))
    server.daemon_threads = True
    server.block_on_close = False
    screens.address = f"http://127.0.0.1:{server.server_address[1]}/{SECRET}/"
    threading.Thread(target=server.serve_forever, kwargs={"poll_interval": 0.02}, daemon=True).start()
    try:
        yield screens
    finally:
        screens.leave()
        server.shutdown()
        server.server_close()
