"""Tell whether the lines of a session's file are exactly what was written, without parsing them."""

from __future__ import annotations

from hashlib import sha256

from coach.logbook.lines import VERSION

_BEFORE = b',"chain":"'
"""Stands before the chain of a line; nowhere else, for within a text the signs of it are written otherwise."""
_HEX = 64
_END = b'"}\n'
_HEADS = frozenset(b'{"v":%d' % version for version in range(1, VERSION + 1))
"""How a line begins; versions have one digit so far."""


def unbroken(data: bytes, session: str) -> bool:
    """Tell whether a file holds lines of this version or older ones, in order, each with the chain that it must have.

    What passes here has nothing against it in `read_lines` but its fields, for a tenth of the time. An empty file and a
    torn one are false.
    """
    body, *rest = data.split(_BEFORE)
    previous = session.encode()
    for n, piece in enumerate(rest, start=1):
        chain = piece[:_HEX]
        whole = (
            piece[_HEX : _HEX + len(_END)] == _END and body[:6] in _HEADS and body.startswith(b',"n":%d,"t":"' % n, 6)
        )
        if not whole or sha256(previous + body + b"}").hexdigest().encode() != chain:
            return False
        previous, body = chain, piece[_HEX + len(_END) :]
    return bool(rest) and not body
