"""Keep room for whoever knows the secret: connections that have not shown it are few and short."""

from __future__ import annotations

import os
import socket
import struct
from typing import Any, ClassVar

from uvicorn.protocols.http.h11_impl import H11Protocol

MOST_STRANGERS = 256
"""Connections that have not shown the secret; one more pushes the oldest out. Four times as many as are let in at one
time, so that nobody who asks at once is pushed out before he is read."""
LET_IN_AT_ONCE = 64
"""Connections let in between two looks at the others: a crowd at the door holds nobody up who is inside."""
MOST_WAITING = 1024
"""Connections that wait to be let in."""
HEADER_SECONDS = 5.0
"""What a connection may take to show the secret. A browser asks as soon as it is connected."""
KEPT_SECONDS = 600
"""What a connection that has shown the secret may be idle: longer than any browser keeps one, so that a halt finds it
open."""


class Guest(H11Protocol):
    """A connection. It is a stranger's until a request on it shows the secret."""

    strangers: ClassVar[dict[Guest, None]] = {}
    """The oldest first."""

    def connection_made(self, transport: Any) -> None:  # noqa: ANN401  as the loop makes it
        """Let one in."""
        super().connection_made(transport)
        self.app_state = {"known": self._known}
        while len(self.strangers) >= MOST_STRANGERS:
            next(iter(self.strangers))._turn_away()  # noqa: SLF001  another of these
        self.strangers[self] = None
        self._deadline = self.loop.call_later(HEADER_SECONDS, self._turn_away)

    def connection_lost(self, exc: Exception | None) -> None:
        """Forget one that went."""
        self._forget()
        super().connection_lost(exc)

    def _known(self) -> None:
        """Count it as one of those who know the secret."""
        self._forget()
        self.timeout_keep_alive = KEPT_SECONDS

    def _forget(self) -> None:
        self._deadline.cancel()
        self.strangers.pop(self, None)

    def _turn_away(self) -> None:
        """Let one go at once, and its port with it: whoever waits for a farewell would take up the ports there are."""
        self._forget()
        now = struct.pack("hh" if os.name == "nt" else "ii", 1, 0)
        self.transport.get_extra_info("socket").setsockopt(socket.SOL_SOCKET, socket.SO_LINGER, now)
        self.transport.abort()
