"""Turn the keys of voices/<language>/screens.yaml into the labels of the screens."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace

from coach.errors import VoicePackError
from coach.session.past import Clause


class Labels:
    """The labels of one language."""

    def __init__(self, screens: Mapping[str, str]) -> None:
        self._screens = screens

    def __call__(self, key: str, **values: object) -> str:
        """Return the label of `key` with its {names} filled in. Raises VoicePackError if the pack lacks it."""
        wording = self._screens.get(key)
        if wording is None:
            raise VoicePackError(f'The voice pack lacks the label "{key}"; add it to its screens.yaml.')
        try:
            return wording.format(**values)
        except (KeyError, IndexError, ValueError) as wrong:
            raise VoicePackError(f'The label "{key}" in screens.yaml cannot be filled in: {wrong}.') from wrong

    def clause(self, clause: Clause) -> str:
        """Return a clause of the plan in words."""
        return self(clause.key, **{name: shown(str(value)) for name, value in clause.values})

    def plain_clause(self, clause: Clause) -> str:
        """Return a clause in words for people at home ("plain_..."), or else in the words of the record."""
        plain = replace(clause, key=f"plain_{clause.key}")
        return self.clause(plain if plain.key in self._screens else clause)

    def word(self, group: str, name: str) -> str:
        """Return the label of a name that comes from a record or a program, or the name itself in plain words."""
        return self._screens.get(f"{group}_{name}") or shown(name).replace("_", " ")


def shown(text: str) -> str:
    """Return `text` on one line, with a space for each control character."""
    return text if text.isprintable() else "".join(sign if sign.isprintable() else " " for sign in text)


def clock(seconds: float) -> str:
    """Return a length of time as minutes:seconds.

    >>> clock(65.4)
    '1:05'
    """
    whole = max(0, int(seconds))
    return f"{whole // 60}:{whole % 60:02d}"
