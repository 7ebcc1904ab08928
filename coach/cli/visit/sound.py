"""The microphone and speaker of a visit, real or simulated, and one word each way before the session."""

from __future__ import annotations

from collections.abc import Callable
from typing import Protocol

from rich.console import Console

from coach.cli.session_setup import SessionDevice
from coach.cli.visit.desk import OVER, Desk, StoppedError
from coach.ears.front import Ears
from coach.engine import within
from coach.errors import DeviceError
from coach.logbook.store import Home
from coach.page.screens import Choice, Meter, Step, StepLine
from coach.patient_cues import cued
from coach.ports import Block, Device
from coach.tryout import Tried, try_out
from coach.voice.cache import ClipVoice
from coach.words.phrases import Phrase, VoicePack, phrase, sentence

CHECK = ("check_hello", "check_ready")
"""Phrases of the check; together they last long enough to tell whether the microphone hears them."""


class VisitSound(Protocol):
    """Source of the devices of a visit."""

    def session(self, pack: VoicePack) -> SessionDevice:
        """Return a device for a session."""
        ...

    def lesson(self, pack: VoicePack, say: Callable[[Phrase], Block]) -> tuple[Device, Callable[[Phrase], Block]]:
        """Return a device for a lesson or a check, and the function that gives the clips to play on it."""
        ...


class RealSound:
    """The microphone and speaker of this machine."""

    def __init__(self, device: str | None) -> None:
        self._device = device

    def session(self, pack: VoicePack) -> SessionDevice:  # noqa: ARG002  RoomSound uses it
        """Return a stream that reports late sound. Raises DeviceError if there is no usable device."""
        from coach.audio.stream import Stream, sleepless_clock

        stream = Stream(self._device, clock=sleepless_clock, within=within)
        return SessionDevice(stream, " and ".join(dict.fromkeys(stream.names)))

    def lesson(self, _pack: VoicePack, say: Callable[[Phrase], Block]) -> tuple[Device, Callable[[Phrase], Block]]:
        """Return a stream."""
        from coach.audio.stream import Stream

        return Stream(self._device, within=within), say


class RoomSound:
    """A simulated room with the patient of a script, at a multiple of the real speed."""

    def __init__(self, script: str, home: Home, console: Console, wait: Callable[[float], None], pace: float) -> None:
        self._script = script
        self._home = home
        self._console = console
        self._wait = wait
        self._pace = pace

    def session(self, pack: VoicePack) -> SessionDevice:
        """Return a room whose patient follows the script."""
        from coach.audio.paced import Paced
        from coach.cli.room import furnish
        from coach.logbook.session_record import VIRTUAL_ROOM

        room = furnish(self._script, pack, self._home, self._console)
        return SessionDevice(Paced(room, self._pace, self._wait), VIRTUAL_ROOM, cued(room.moment))

    def lesson(self, pack: VoicePack, say: Callable[[Phrase], Block]) -> tuple[Device, Callable[[Phrase], Block]]:
        """Return a room whose patient says what they are asked to say."""
        from coach.audio.paced import Paced
        from coach.audio.room import VirtualRoom
        from coach.cli.room import answering

        room = VirtualRoom()
        return Paced(room, self._pace, self._wait), answering(room, say, pack, self._home, self._console)


def check(desk: Desk, sound: VisitSound, voice: ClipVoice, ears: Callable[[], Ears], *, taught: bool) -> None:
    """Play a sentence, listen for a word, show the findings; repeat on request. `taught`: the person taught words."""
    labels = desk.labels
    texts = [sentence(desk.pack, phrase(key)) for key in CHECK]
    start = Step(
        "check",
        labels("page_check"),
        labels("page_check_lead"),
        choices=(
            Choice("on", labels("page_check_now"), weight="main"),
            Choice("skip", labels("page_check_skip"), weight="small"),
            Choice(OVER, labels("page_over"), weight="small"),
        ),
    )
    if desk.ask(start).id == "skip":
        return
    while True:
        problem = ""
        tried = Tried()
        try:
            tried = _try(desk, sound, voice, ears(), texts)
        except DeviceError as error:
            problem = str(error)
        except StoppedError:
            return
        good = tried.alive and tried.voice and tried.echo is not False and (bool(tried.word) or not taught)
        on = Choice("on", labels("page_on" if good else "page_on_all_the_same"), weight="main" if good else "plain")
        again = Choice("again", labels("page_check_again"), weight="plain" if good else "main")
        over = Choice(OVER, labels("page_over"), weight="small")
        lines = tuple(found(tried, taught=taught, desk=desk)) if not problem else ()
        head = labels("page_check_bad" if not good else "page_check_good" if taught else "page_check_untaught")
        step = Step("checked", head, lines=lines, choices=(on, again, over) if good else (again, on, over),
                    problem=problem)  # fmt: skip
        if desk.ask(step).id == "on":
            return


def _try(desk: Desk, sound: VisitSound, voice: ClipVoice, ears: Ears, texts: list[str]) -> Tried:
    import numpy as np

    clip = np.concatenate([voice.clip(text) for text in texts])
    device, say = sound.lesson(desk.pack, lambda _: clip)
    labels = desk.labels

    def tell(tried: Tried) -> None:
        asked = labels("page_check_say", word=desk.pack.replies["ready"].word)
        lines = (StepLine(" ".join(texts), "said"), StepLine(asked if tried.spoken else labels("page_check_listen")))
        desk.watch(
            Step(
                "checking",
                labels("page_check"),
                lines=lines,
                meter=Meter(labels("page_word_microphone"), round(tried.level, 2)),
                choices=(Choice("stop", labels("page_check_stop"), weight="small"),),
            )
        )

    return try_out(device, say(phrase(CHECK[-1])), ears, tell)


def found(tried: Tried, *, taught: bool, desk: Desk) -> list[StepLine]:
    """Return what the check found, each finding with what to do about it."""
    labels = desk.labels
    word = desk.pack.replies["ready"].word
    if not tried.alive:
        return [StepLine(labels("page_found_no_microphone"), "bad"), StepLine(labels("page_found_no_microphone_do"))]
    lines = []
    if tried.echo is None:
        lines.append(StepLine(labels("page_found_echo_unknown"), "open"))
    else:
        lines.append(StepLine(labels("page_found_echo" if tried.echo else "page_found_no_echo"),
                          "good" if tried.echo else "bad"))  # fmt: skip
    if tried.word:
        lines.append(StepLine(labels("page_found_word", word=word), "good"))
    elif tried.voice:
        lines.append(StepLine(labels("page_found_voice"), "good"))
        lines.append(StepLine(labels("page_found_not_word" if taught else "page_found_no_words", word=word), "open"))
    else:
        lines.append(StepLine(labels("page_found_no_voice"), "bad"))
    return lines
