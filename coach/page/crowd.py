"""Keep room for whoever knows the secret: connections that have not shown it are few and short."""

from __future__ import annotations

import os
import socket
import struct
from typing import Any, ClassVar

from uvicorn.protocols.http.h11_impl import H11Protocol

MOST_STRANGERS = 256
"""Connections that have not shown the secret at most; one more closes the oldest. It is four times `LET_IN_AT_ONCE`, so
that a client that sends its request at once is read before it is closed."""
LET_IN_AT_ONCE = 64
"""Connections accepted in one turn of the loop, so that a crowd does not delay the accepted ones."""
MOST_WAITING = 1024
"""Connections that may wait to be accepted."""
HEADER_SECONDS = 5.0
"""Seconds in which a connection must show the secret; a browser sends its request as soon as it is connected."""
KEPT_SECONDS = 600
"""Seconds a connection that has shown the secret may be idle: longer than any browser keeps one, so that a halt needs
no new connection."""


class Guest(H11Protocol):
    """A connection; it belongs to a stranger until one of its requests shows the secret."""

    strangers: ClassVar[dict[Guest, None]] = {}
    """Connections that have not shown the secret, the oldest first."""

    def connection_made(self, transport: Any) -> None:  # noqa: ANN401  as the loop makes it
        """Accept a connection."""
        super().connection_made(transport)
        self.app_state = {"known": self._known}
        while len(self.strangers) >= MOST_STRANGERS:
            next(iter(self.strangers))._turn_away()  # noqa: SLF001  another of these
        self.strangers[self] = None
        self._deadline = self.loop.call_later(HEADER_SECONDS, self._turn_away)

    def connection_lost(self, exc: Exception | None) -> None:
        """Forget a closed connection."""
        self._forget()
        super().connection_lost(exc)

    def _known(self) -> None:
        """Note that the connection has shown the secret."""
        self._forget()
        self.timeout_keep_alive = KEPT_SECONDS

    def _forget(self) -> None:
        self._deadline.cancel()
        self.strangers.pop(self, None)

    def _turn_away(self) -> None:
        """Reset the connection: an orderly close would keep its port in use, and the ports could run out."""
        self._forget()
        now = struct.pack("hh" if os.name == "nt" else "ii", 1, 0)
        self.transport.get_extra_info("socket").setsockopt(socket.SOL_SOCKET, socket.SO_LINGER, now)
        self.transport.abort()
