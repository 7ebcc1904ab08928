"""Take presses of keys, at the keyboard or on the page, as an ear."""

from __future__ import annotations

from collections import deque
from collections.abc import Mapping

from coach.ports import Captured, Hearing
from coach.words.replies import KEYS


class Keys:
    """The ear for pressed keys. Its score is always 1."""

    name = "keys"

    def __init__(self, keys: Mapping[str, str] = KEYS) -> None:
        """`keys` maps a key to a reply id."""
        self._keys = keys
        self._pressed: deque[tuple[str, str]] = deque()  # append and popleft are safe from two threads

    def open(self, words: frozenset[str]) -> None:
        """Do nothing: every key may be pressed at any time."""

    def press(self, key: str, by: str = "keys") -> bool:
        """Take a key; return whether it has a meaning. The case of letters does not matter. Any thread may call this.

        `by` is the ear that the record names: "keys" for the keyboard, "page" for the page.
        """
        word = self._keys.get(key) or self._keys.get(key.lower())
        if word is None:
            return False
        self._pressed.append((by, word))
        return True

    def feed(self, captured: Captured) -> list[Hearing]:
        """Return the keys pressed since the last stretch, timed at the end of this one."""
        now = captured.at + len(captured.mic)
        found: list[Hearing] = []
        while self._pressed:
            by, word = self._pressed.popleft()
            found.append(Hearing(by, "word", word, 1.0, now, now, now))
        return found
