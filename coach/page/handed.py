"""Hand an open socket to the server's process, so that nothing has to listen for it."""

from __future__ import annotations

import base64
import socket
import sys
from typing import Any

Handed = int | str
"""What the other process takes it by: the number of the handle, on Windows a text."""


def inherited(*ends: socket.socket) -> dict[str, Any]:
    """Return what `Popen` needs to know, so that the new process has these sockets."""
    return {} if sys.platform == "win32" else {"pass_fds": [end.fileno() for end in ends]}


def give(end: socket.socket, process: int) -> Handed:
    """Return how the new process takes `end`. It stays open here."""
    if sys.platform == "win32":
        return base64.b64encode(end.share(process)).decode()
    return end.fileno()


def take(handed: Handed) -> socket.socket:
    """Return the socket, in the process that it was given to."""
    if sys.platform == "win32":
        return socket.fromshare(base64.b64decode(str(handed)))
    return socket.socket(fileno=int(handed))
