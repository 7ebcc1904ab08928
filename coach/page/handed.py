"""Hand an open socket to the server's process, so that no extra port has to listen for a connection."""

from __future__ import annotations

import base64
import socket
import sys
from typing import Any

Handed = int | str
"""What the other process needs to open the socket: the handle's number, or on Windows a text."""


def inherited(*ends: socket.socket) -> dict[str, Any]:
    """Return the arguments for `Popen` that pass these sockets to the new process."""
    return {} if sys.platform == "win32" else {"pass_fds": [end.fileno() for end in ends]}


def give(end: socket.socket, process: int) -> Handed:
    """Return what the process needs to open `end`; it also stays open here."""
    if sys.platform == "win32":
        return base64.b64encode(end.share(process)).decode()
    return end.fileno()


def take(handed: Handed) -> socket.socket:
    """Open a handed socket in the new process, and return it."""
    if sys.platform == "win32":
        return socket.fromshare(base64.b64decode(str(handed)))
    return socket.socket(fileno=int(handed))
