"""Test the sound before a session: the microphone hears the coach and the person, and a word is understood."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace

from coach.audio.echo import Canceller
from coach.audio.mixer import Layer, Mixer
from coach.audio.room_check import RoomCheck
from coach.ears.front import Ears
from coach.ports import Block, Captured, Device
from coach.showing import Showing
from coach.tempo.units import to_samples

BEFORE = to_samples(0.3)
"""Samples of quiet before the coach speaks."""
ANSWER_PATIENCE = to_samples(8.0)
"""Samples after the coach's words in which an answer may come."""
SETTLE = to_samples(1.0)
"""Samples after a voice in which its word may still be understood."""


@dataclass(frozen=True, slots=True)
class Tried:
    """The results so far."""

    level: float = 0.0
    """Current level of the microphone, 0 to 1."""
    alive: bool = False
    """True if the microphone gave anything but perfect silence."""
    echo: bool | None = None
    """True if the microphone heard the coach (with headphones it does not); None: not known yet."""
    spoken: bool = False
    """True once the coach has said its words."""
    voice: bool = False
    """True if somebody spoke after them."""
    word: str = ""
    """Reply id that was understood, such as "ready"."""


def try_out(device: Device, clip: Block, ears: Ears, tell: Callable[[Tried], None]) -> Tried:
    """Play `clip`, which asks for "ready", and listen; `tell` receives the results at every stretch of sound.

    Ends once a word is understood, `SETTLE` after a voice that is not, or after `ANSWER_PATIENCE`. Raises DeviceError
    if the device cannot be used.
    """
    mixer, canceller, check, showing = Mixer(), Canceller(), RoomCheck(), Showing()
    ears.open(frozenset({"ready"}))
    device.open(mixer.render)
    try:
        mixer.place(clip, BEFORE, layer=Layer.SPEECH)
        over = BEFORE + len(clip)
        until = over + ANSWER_PATIENCE
        tried = Tried()
        now = 0
        while now < until:
            captured = device.read()
            if captured is None:
                return tried
            now = captured.at + len(captured.mic)
            check.feed(captured)
            tried, until = _heard(tried, ears, canceller.process(captured), over, until)
            showing.level(captured.mic)
            alive = tried.alive or bool(captured.mic.any())
            tried = replace(tried, level=showing.mic, alive=alive, echo=check.echo, spoken=now >= over)
            tell(tried)
        return tried
    finally:
        device.close()


def _heard(tried: Tried, ears: Ears, captured: Captured, over: int, until: int) -> tuple[Tried, int]:
    """Return `tried` with what the ears noticed, and the sample until which to listen."""
    for hearing in ears.feed(captured):
        if hearing.began < over and hearing.ended <= over:  # the coach's own words, or speech during them
            continue
        if hearing.kind == "word":
            tried = replace(tried, voice=True, word=hearing.word)
            until = min(until, hearing.at)
        elif hearing.kind == "voice_began":
            tried = replace(tried, voice=True)
        else:
            until = min(until, hearing.ended + SETTLE)
    return tried, until
