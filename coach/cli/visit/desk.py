"""Connect the page and a visit: show a step and wait for a choice, or show progress."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from typing import Any, Protocol

from coach.cli.labels import Labels
from coach.cli.visit.live import session_screen
from coach.page.screens import Progress, Step
from coach.page.server_link import Message
from coach.snapshot import Snapshot
from coach.voice.cache import ClipVoice
from coach.words.phrases import VoicePack
from coach.words.replies import KEYS

LOOK_EVERY = 0.25
"""Seconds between two checks of the server while nothing is pressed."""

OVER = "over"
"""Id of the choice that leads back to the first step."""

READY = next(key for key, reply in KEYS.items() if reply == "ready")
"""The only key that starts work."""

_FIXED = (
    "now", "heard", "say", "microphone", "halt", "keys", "lost_head", "lost_text",
)  # fmt: skip
"""Words sent with every screen, `page_word_...` in screens.yaml."""


_PLACES = (
    ("who", "new"), ("program", "today", "broken", "cautions"), ("teach", "lesson", "learning", "judging", "taught"),
    ("preparing", "check", "checking", "checked"), ("layout", "reach"),
)  # fmt: skip
"""The places on the way to a session, each with the ids of its steps."""


class StartOverError(Exception):
    """The caregiver wants to return to the first step."""


class StoppedError(Exception):
    """The caregiver stopped the current step."""


class Display(Protocol):
    """What shows screens, such as `page.host.Page`."""

    windows: int

    def send(self, screen: Message) -> None:
        """Show a screen from now on."""
        ...

    def presses(self) -> list[Message]:
        """Return the presses since the last call."""
        ...

    def wait(self, seconds: float) -> None:
        """Wait until something is pressed, but at most `seconds`."""
        ...


@dataclass(frozen=True, slots=True)
class Chosen:
    """A choice made on a step."""

    id: str
    fields: Mapping[str, str] = field(default_factory=dict)


class Desk:
    """Shows screens and takes choices. Of a session it holds only the moment that is shown."""

    def __init__(self, page: Display, pack: VoicePack) -> None:
        self._page = page
        self._serial = 0
        self._screen: Message = {}
        self._shown = ""
        self._windows = 0
        self._left = False
        self.turn_to(pack)

    def turn_to(self, pack: VoicePack) -> None:
        """Use the language of `pack` from now on."""
        self.pack = pack
        self.labels = Labels(pack.screens)

    def leave(self) -> None:
        """Note that the terminal is gone."""
        self._left = True

    @property
    def deserted(self) -> bool:
        """Whether nobody is there: the terminal is gone, and no window shows the page."""
        return self._left and not self._page.windows

    def ask(self, step: Step) -> Chosen:
        """Show a step and return the choice made. Raises StartOverError for OVER, KeyboardInterrupt if deserted."""
        self.show(step, anew=True)
        known = {choice.id for choice in step.choices}
        while not self.deserted:
            for chosen in self._chosen():
                if chosen.id == OVER:
                    raise StartOverError
                if chosen.id in known:
                    return chosen
            self._page.wait(LOOK_EVERY)
            if self._windows != self._page.windows:
                self._put(self._screen)
        raise KeyboardInterrupt

    def show(self, step: Step, *, anew: bool = False) -> None:
        """Show a step without waiting; a step with the same id as the one before updates it."""
        if anew or step.id != self._shown:
            self._serial += 1
        self._shown = step.id
        n = next((number for number, ids in enumerate(_PLACES, start=1) if step.id in ids), 0)
        place = self.labels("page_place", n=n, of=len(_PLACES)) if n else ""
        self._put(step.as_json(self._serial, self.pack.language, place))

    def watch(self, step: Step) -> None:
        """Show the progress of a step. Raises StoppedError if one of its choices was pressed."""
        self.show(step)
        if self._chosen():
            raise StoppedError

    def render(self, voice: ClipVoice, texts: list[str], step: Step) -> None:
        """Render every text, with the progress shown on `step`."""

        def tell(done: int, of: int) -> None:
            self.watch(replace(step, progress=Progress(self.labels("preparing_voice"), done, of)))

        voice.prepare(texts, tell)

    def reading(self, done: int, of: int) -> None:
        """Show the progress of reading a person's records."""
        label = self.labels("reading_records")
        self.show(Step("reading", label, progress=Progress(label, done, of)))

    def session(self, snapshot: Snapshot) -> None:
        """Show a moment of a session."""
        shown = f"session {snapshot.state}"
        if self._shown != shown:
            self._serial += 1
        self._shown = shown
        self._put(session_screen(snapshot, self.labels, self._serial, self.pack.language))

    def pressed(self) -> list[str]:
        """Return the keys that were pressed on the page since the last call.

        A "ready" meant for an earlier state is dropped: somebody may have halted since.
        """
        return [
            str(message["key"])
            for message in self._page.presses()
            if message.get("do") == "press"
            and (message["key"].lower() != READY or message.get("serial") == self._serial)
        ]

    def _chosen(self) -> list[Chosen]:
        """Return the choice made on the shown step; choices meant for an earlier step are dropped."""
        return [
            Chosen(str(message["id"]), dict(message.get("fields", {})))
            for message in self._page.presses()
            if message.get("do") == "choose" and message.get("serial") == self._serial
        ]

    def _put(self, screen: dict[str, Any]) -> None:
        self._windows = self._page.windows
        words = {name: self.labels(f"page_word_{name}") for name in _FIXED}
        words["windows"] = self.labels("page_windows", n=self._windows) if self._windows > 1 else ""
        self._screen = {**screen, "words": words}
        self._page.send(self._screen)
