"""A made-up caregiver at a page without a browser: sees screens, chooses, presses."""

from __future__ import annotations

import io
from collections.abc import Callable, Mapping, Sequence
from datetime import datetime
from pathlib import Path
from typing import Any

from rich.console import Console

from coach.cli.visit.desk import Desk
from coach.cli.visit.sound import RoomSound, VisitSound
from coach.cli.visit.visit import VisitContext
from coach.logbook.store import Home, wall_clock
from coach.page.server_link import Message
from coach.voice.pack import load_pack

Chooses = str | tuple[str, dict[str, str]]
"""The id of the choice on a step, and the text typed."""
STUCK = 200
"""Looks at a step without a planned choice after which the test fails."""


class Caregiver:
    """Stands in for `page.host.Page`. Makes the planned choices of each step in order; presses keys in a session."""

    def __init__(
        self,
        chooses: Mapping[str, Sequence[Chooses]],
        press: Callable[[Message], str] = lambda _: "",
    ) -> None:
        """`chooses`: step id to the choices for each time it is shown; `press(screen)`: the keys to press now."""
        self.windows = 1
        self.seen: list[Message] = []
        self._chooses = {step: list(choices) for step, choices in chooses.items()}
        self._press = press
        self._answered = -1
        self._looked = 0

    def send(self, screen: Message) -> None:
        self.seen.append(screen)

    def presses(self) -> list[Message]:
        screen = self.seen[-1]
        if screen["kind"] == "session":
            return [{"do": "press", "key": key, "serial": screen["serial"]} for key in self._press(screen)]
        planned = self._chooses.get(screen["id"], [])
        if planned and screen["serial"] != self._answered:
            self._answered, self._looked = screen["serial"], 0
            chosen = planned.pop(0)
            name, fields = chosen if isinstance(chosen, tuple) else (chosen, {})
            return [{"do": "choose", "serial": screen["serial"], "id": name, "fields": fields}]
        return []

    def wait(self, seconds: float) -> None:  # noqa: ARG002  as Page has it
        self._looked += 1
        assert self._looked < STUCK, f"nothing is chosen on {self.seen[-1]}"

    def steps(self) -> list[str]:
        """Return the ids of the steps shown, without repeats in a row; "session" for a session."""
        ids = [screen.get("id", "session") for screen in self.seen]
        return [one for number, one in enumerate(ids) if number == 0 or ids[number - 1] != one]

    def of(self, step: str) -> list[Message]:
        """Return every screen of a step."""
        return [screen for screen in self.seen if screen.get("id") == step]

    def moments(self) -> list[Message]:
        """Return every screen of a session."""
        return [screen for screen in self.seen if screen["kind"] == "session"]


def words_on(screen: Message) -> str:
    """Return all text on a step."""
    parts: list[Any] = [screen["head"], screen["lead"], screen["problem"]]
    parts += [line["text"] for line in screen["lines"]]
    parts += [f"{choice['words']} {choice['beside']}" for choice in screen["choices"]]
    return "\n".join(parts)


def a_place(
    root: Path, caregiver: Caregiver, *, script: Path | None = None, sound: VisitSound | None = None,
    file: str | None = None, pressed: Callable[[], str] = lambda: "", language: str = "en",
    now: Callable[[], datetime] = wall_clock,
) -> VisitContext:  # fmt: skip
    """Return the context of visits in a simulated room that does not wait for real time."""
    home, pack = Home(root, now), load_pack(language)
    console = Console(file=io.StringIO(), width=120)
    room = sound or RoomSound(str(script or "default"), home, console, lambda _: None, 1e9)
    return VisitContext(home, Desk(caregiver, pack), room, console, pressed, file, None, pack)
