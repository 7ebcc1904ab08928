"""Many windows of one browser, and many strangers at a port, for page.py."""

from __future__ import annotations

import asyncio
import contextlib
import http.server
import queue
import shutil
import signal
import subprocess
import sys
import threading
import time
from collections.abc import Iterator
from contextlib import contextmanager
from typing import Any
from urllib.parse import urlsplit


@contextmanager
def windows(address: str, many: int) -> Iterator[list[Any]]:
    """Open a page in this many windows of one Chromium; report those that do not load within five seconds."""
    if not many:
        yield []
        return
    from playwright.sync_api import Error, sync_playwright

    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(
            executable_path=shutil.which("chromium"), args=["--no-sandbox", "--disable-background-networking"]
        )
        context = browser.new_context(viewport={"width": 1366, "height": 768})
        opened = []
        for number in range(many):
            window = context.new_page()
            try:
                window.goto(address, timeout=5000)
            except Error:
                print(f"  window {number + 1} of {many} does not load")
                window.close()
                continue
            window.evaluate("""() => addEventListener("keydown", (event) => {
              window.pressedAt = performance.timeOrigin + event.timeStamp; }, true)""")
            window.wait_for_function("() => document.body.dataset.kind || !document.getElementById('session')")
            opened.append(window)
        yield opened
        browser.close()


def press(window: Any) -> float:
    """Press the space bar in a window; return when, on this machine's steady clock."""
    window.keyboard.press(" ")
    return float(window.evaluate("window.pressedAt")) / 1000 - time.time() + time.monotonic()


@contextmanager
def strangers(address: str, many: int, again: float) -> Iterator[None]:
    """Let this many strangers connect to an address, from a process of their own; at the end print how often."""
    if not many:
        yield
        return
    command = [sys.executable, __file__, str(urlsplit(address).port), str(many), str(again)]
    crowd = subprocess.Popen(command, stdout=subprocess.PIPE, text=True)
    try:
        assert crowd.stdout is not None
        crowd.stdout.readline()
        yield
    finally:
        crowd.terminate()
        out, _ = crowd.communicate()
        print(f"  {out.splitlines()[-1] if out else ''}")


async def stand(port: int, many: int, again: float) -> None:
    """Keep this many connections with half a request open at a port."""
    import resource

    hard = resource.getrlimit(resource.RLIMIT_NOFILE)[1]
    resource.setrlimit(resource.RLIMIT_NOFILE, (min(hard, many + 100), hard))
    came = 0

    async def one() -> None:
        nonlocal came
        while True:
            try:
                reader, writer = await asyncio.open_connection("127.0.0.1", port)
                came += 1
                writer.write(b"GET /open/x HTTP/1.1\r\nHost: 127.0.0.1\r\n")
                await reader.read()
                writer.close()
            except OSError:
                pass
            await asyncio.sleep(again)

    standing = [asyncio.create_task(one()) for _ in range(many)]
    loop = asyncio.get_running_loop()
    stop = asyncio.Event()
    loop.add_signal_handler(signal.SIGTERM, stop.set)
    await asyncio.sleep(3)
    began, before = time.monotonic(), came
    print("there", flush=True)
    await stop.wait()
    print(f"strangers came {(came - before) / (time.monotonic() - began):.0f} times a second", flush=True)
    for task in standing:
        task.cancel()


@contextmanager
def stream_a_window() -> Iterator[tuple[str, Any]]:
    """The naive page: a stream for each window."""
    presses: queue.Queue[float] = queue.Queue()

    class Handler(http.server.BaseHTTPRequestHandler):
        def do_GET(self) -> None:
            stream = self.path == "/stream"
            self.send_response(200)
            self.send_header("Content-Type", "text/event-stream" if stream else "text/html")
            self.end_headers()
            self.wfile.write(b"<script>new EventSource('/stream');"
                             b"addEventListener('keydown', () => fetch('/do', {method: 'POST'}))</script>")  # fmt: skip
            while stream:
                time.sleep(1)
                self.wfile.write(b": here\n\n")

        def do_POST(self) -> None:
            presses.put(time.monotonic())
            self.send_response(204)
            self.end_headers()

        def log_message(self, *_: object) -> None:
            pass

        def handle(self) -> None:
            with contextlib.suppress(OSError):
                super().handle()

    served = http.server.ThreadingHTTPServer(("127.0.0.1", 0), Handler)
    threading.Thread(target=served.serve_forever, daemon=True).start()

    def arrived() -> float:
        try:
            return presses.get(timeout=20)
        except queue.Empty:
            return time.monotonic()

    yield f"http://127.0.0.1:{served.server_address[1]}/", arrived
    served.shutdown()


if __name__ == "__main__":
    asyncio.run(stand(int(sys.argv[1]), int(sys.argv[2]), float(sys.argv[3])))
