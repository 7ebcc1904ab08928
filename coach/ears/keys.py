"""Hear what is pressed, at the keyboard or on the page."""

from __future__ import annotations

from collections import deque
from collections.abc import Mapping

from coach.ports import Captured, Hearing
from coach.words.replies import KEYS


class Keys:
    """The ear for what is pressed. Its score is always 1."""

    name = "keys"

    def __init__(self, keys: Mapping[str, str] = KEYS) -> None:
        """`keys` maps a key to a reply id."""
        self._keys = keys
        self._pressed: deque[tuple[str, str]] = deque()  # its append and popleft may be used from two threads

    def open(self, words: frozenset[str]) -> None:
        """Do nothing: any key may be pressed."""

    def press(self, key: str, by: str = "keys") -> bool:
        """Take a key; tell whether it means anything. Letters count in either case. Any thread may call this.

        `by` is which ear the record names: "keys" at the keyboard, "page" on the page.
        """
        word = self._keys.get(key) or self._keys.get(key.lower())
        if word is None:
            return False
        self._pressed.append((by, word))
        return True

    def feed(self, captured: Captured) -> list[Hearing]:
        """Return what was pressed since the last stretch, as if at the end of this one."""
        now = captured.at + len(captured.mic)
        found: list[Hearing] = []
        while self._pressed:
            by, word = self._pressed.popleft()
            found.append(Hearing(by, "word", word, 1.0, now, now, now))
        return found
