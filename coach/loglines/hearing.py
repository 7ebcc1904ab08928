"""The lines about hearing: the sound check, each word that an ear noticed, a lost microphone or speaker."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal


@dataclass(frozen=True, slots=True)
class SoundCheck:
    """The sound check: whether coach and person hear each other."""

    heard: bool
    """False: nobody answered, and the session ended."""
    ear: str
    """The ear that heard the answer; empty: none."""
    askings: int
    """How often the coach asked."""
    level: float | None
    """Loudest tenth of a second while the coach was silent, in dBFS; None: not measured."""
    floor: float | None
    """Noise of the room, in dBFS; None: not measured."""
    room_taught: float | None
    """Noise of the room when the words were taught, in dBFS; None: none were taught."""
    echo: bool | None
    """Whether the microphone heard the coach (with headphones it does not); None: not measured."""
    voices: float
    """Share of the time with a voice in it, 0 to 1."""
    cautions: tuple[str, ...] = ()
    """What may make hearing harder: "no_echo", "louder" (than when the words were taught), "voices"."""


@dataclass(frozen=True, slots=True)
class Heard:
    """An ear noticed a word."""

    ear: str
    word: str
    """Reply id: "stop", "ready", "n4"."""
    score: float
    """0-1, on the ear's own scale."""
    began: int
    """Sample at which the word began."""
    ended: int
    """Sample at which the word ended."""
    used: bool
    """False if it changed nothing: not asked for, or already acted on."""
    decision: str = ""
    """What the ears made of it: "halted", "understood" (by one trusted ear), "agreed", "disagreed", "unclear", "late"
    (the same sound was decided before); empty in older files."""


@dataclass(frozen=True, slots=True)
class DeviceChanged:
    """The microphone or the speaker was lost or came back."""

    what: Literal["mic_lost", "mic_back", "speaker_lost", "speaker_back"]
