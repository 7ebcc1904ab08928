"""A window of the page without a picture, over the network of this machine: follows the screens, chooses, presses."""

from __future__ import annotations

import http.client
import json
import time
from collections.abc import Callable, Generator
from typing import Any
from urllib.parse import urlsplit

from coach.page.host import Page

PATIENCE = 30.0
"""Seconds after which a test gives up waiting; far more than anything takes."""


def until(page: Page, look: Callable[[], object]) -> object:
    """Wait until `look` returns something, and return that."""
    deadline = time.monotonic() + PATIENCE
    while not (found := look()):
        assert time.monotonic() < deadline
        page.wait(0.02)
    return found


class Window:
    """Knows the address of the page and nothing else."""

    def __init__(self, address: str) -> None:
        parts = urlsplit(address)
        self.host, self.path = parts.netloc, parts.path

    def screens(self) -> Generator[dict[str, Any], None, None]:
        """Yield each screen as it is shown, until the server ends."""
        connection = http.client.HTTPConnection(self.host)
        connection.request("GET", self.path + "screens")
        for line in connection.getresponse():
            if line.startswith(b"data: "):
                yield json.loads(line[6:])

    def press(self, key: str, serial: int = 0) -> None:
        """Press a key on the screen with this `serial`; a "ready" without it is ignored."""
        self.do({"do": "press", "key": key, "serial": serial})

    def choose(self, screen: dict[str, Any], choice: str, /, **fields: str) -> None:
        self.do({"do": "choose", "serial": screen["serial"], "id": choice, "fields": fields})

    def do(self, message: dict[str, Any]) -> None:
        connection = http.client.HTTPConnection(self.host)
        connection.request("POST", self.path + "do", json.dumps(message), {"Origin": f"http://{self.host}"})
        connection.getresponse().read()
        connection.close()
