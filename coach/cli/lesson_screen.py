"""The screen of a lesson: the word, the take, why a take was refused, and the level at the microphone."""

from __future__ import annotations

from time import monotonic
from typing import Self

from rich.console import Console
from rich.progress import BarColumn, Progress, TextColumn

from coach.cli.labels import Labels
from coach.ears.room_noise import ROOM_SECONDS
from coach.ears.spoken import LessonStep, MicLevel
from coach.words.phrases import VoicePack, phrase, sentence

REDRAW = 0.1
"""Shortest time between two drawings of the meter, in seconds."""
LOWEST = -70.0
"""Level in dBFS at which the meter is empty; it is full at 0."""
METER = 24
"""Width of the meter in characters."""


class LessonScreen:
    """Shows how a lesson proceeds; a context manager. Lines stay; on a terminal a bar and a meter move below them."""

    def __init__(self, pack: VoicePack, console: Console) -> None:
        self._pack = pack
        self._labels = Labels(pack.screens)
        self._console = console
        columns = (TextColumn("{task.description}"), BarColumn(20), TextColumn("{task.fields[meter]}"))
        self._bar = Progress(*columns, console=console, transient=True, auto_refresh=False)
        self._task = self._bar.add_task("", total=ROOM_SECONDS, meter="")
        self._drawn = float("-inf")

    def __enter__(self) -> Self:
        if self._console.is_terminal:
            self._bar.start()
        return self

    def __exit__(self, *_: object) -> None:
        if self._console.is_terminal:
            self._bar.stop()

    def tell(self, news: LessonStep | MicLevel) -> None:
        """Show how far the lesson is."""
        if isinstance(news, MicLevel):
            self._listening(news)
            return
        word = self._pack.replies[news.word].word
        text = self._labels("enrol_step", word=word, take=news.take, of=news.of, n=news.words_done + 1,
                            words=news.words)  # fmt: skip
        self._bar.update(self._task, description=text, total=news.words, completed=news.words_done)
        fault = "" if news.fault is None else f" ! {sentence(self._pack, phrase(f'enrol_{news.fault}'))}"
        self._bar.console.print(text + fault, markup=False, highlight=False, soft_wrap=True)

    def _listening(self, news: MicLevel) -> None:
        now = monotonic()
        if not self._console.is_terminal or now - self._drawn < REDRAW:
            return
        self._drawn = now
        filled = round(METER * min(1.0, max(0.0, 1 - news.level / LOWEST)))
        meter = f"{'#' * filled}{'.' * (METER - filled)} {news.level:.0f} dBFS"
        if news.room is not None:
            text = self._labels("enrol_room_step", n=round(news.room), of=round(ROOM_SECONDS))
            self._bar.update(self._task, description=text, total=ROOM_SECONDS, completed=news.room)
        self._bar.update(self._task, meter=meter)
        self._bar.refresh()
