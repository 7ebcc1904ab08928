"""Ways to spell an address without its secret, or unlike the only valid one."""

from __future__ import annotations

SECRET = "S3cret-of_this-run"
TICKET = "T1cket-of_this-run"
NAMES = ("", "page.js", "stream.js", "screens", "do", "windows", "nothing")
METHODS = ("GET", "HEAD", "POST", "PUT", "PATCH", "DELETE", "OPTIONS", "TRACE", "CONNECT", "get", "PRESS")

_FIRST = (
    "open", "Open", "OPEN", "%6fpen", "ope%6E", "open%0A", "%0Aopen", "%0aopen", "%09open", "open%09", "%0Dopen",
    "open%20", "open%00", "open%2f", "%2fopen", "open.", "open;", "open;x", "open,", "open%3f", "open%23", "%2e/open",
    "open/.", "open/..", "open/./..", "./open", "../open", "open%2f..", "/open", "open/", "//open", "open%5c", "%252e",
    "open%u002f", "%c0%af", "%ef%bc%8f", ".", "..", "%2e", "%2e%2e", "*", "", "{secret}", "wrong", SECRET.lower(),
    SECRET.swapcase(), SECRET[:-1], SECRET + "x", SECRET + "%00", f"{TICKET}", f"open/{TICKET}", f"OPEN/{TICKET}",
    f"open%2f{TICKET}",
)  # fmt: skip


def without(name: str) -> list[str]:
    """Return request targets that would reach `name` if the server interpreted them."""
    here = "http://127.0.0.1:4711"
    plain = [f"/{first}/{name}" for first in _FIRST]
    return [
        *plain, name or "*", f"//127.0.0.1:4711/open/{name}", f"{here}/open/{name}", f"{here}/{SECRET}/{name}",
        f"/open/{name}?{SECRET}", f"/?/{SECRET}/{name}", f"/open/{name}#/{SECRET}/", f"\\open\\{name}", f"open/{name}",
    ]  # fmt: skip


def around(name: str) -> list[str]:
    """Return wrong request targets of somebody who knows the secret."""
    other = f"%{ord(SECRET[0]):02x}{SECRET[1:]}"
    return [
        f"//{SECRET}/{name}", f"/{SECRET}//{name}", f"/{SECRET}/./{name}", f"/{SECRET}/x/../{name}",
        f"/./{SECRET}/{name}", f"/{SECRET}/{name}/", f"/{SECRET}/{name}?x=1", f"/{SECRET}/{name}%00",
        f"/{SECRET}/{name}%0A", f"/{SECRET}/%09{name}", f"/{other}/{name}", f"/{SECRET}%2f{name}", f"/{SECRET}/{name};",
        f"/{SECRET}/{name.upper() or '.'}", f"/open/../{SECRET}/{name}", f"/{SECRET}",
    ]  # fmt: skip
