"""Every error that a person may meet: one sentence that says what to do next."""

from __future__ import annotations

from typing import Literal


class CoachError(Exception):
    """Anything the command line prints as one sentence, with exit status 2."""

    lines = False
    """Whether the sentence may go over several lines."""

    def __str__(self) -> str:
        """Return the sentence; what a file or a name brought in and would steer a terminal stands there as its code."""
        kept = "\n" if self.lines else ""
        return "".join(
            sign if sign.isprintable() or sign in kept else f"U+{ord(sign):04X}" for sign in super().__str__()
        )


class ProgramError(CoachError):
    """A program file that cannot be used; the message starts with file:line:column."""

    lines = True


class VoicePackError(CoachError):
    """A voice pack that is missing or incomplete."""


class SpeechError(CoachError):
    """The speech engine is missing or gave no usable sound."""


class DeviceError(CoachError):
    """A sound device or its library is missing or refused to work."""


class HearingError(CoachError):
    """Enrolment or an ear that cannot be used as asked."""


class RecordError(CoachError):
    """A logbook that cannot be read or written."""


class UnknownPersonError(CoachError):
    """Nobody of that id in this home; the message lists who there is."""


class RoomError(CoachError):
    """A patient script or a virtual room that cannot be used."""


class ManualError(CoachError):
    """A topic that the manual does not have."""


class PageError(CoachError):
    """The page cannot be served."""


class OutputError(CoachError):
    """A file that was asked for and cannot be written."""


class OutOfPlaceError(CoachError):
    """A session event that the current state does not take; nothing has changed."""


class ToldToEndError(KeyboardInterrupt):
    """The command is to end now. Nothing went wrong, so it is no CoachError; who heeds Ctrl-C heeds it."""

    def __init__(self, by: Literal["keyboard", "system", "terminal"], number: int) -> None:
        """`by`: who told it; `number`: of the signal."""
        super().__init__(f"{by} ({number})")
        self.by = by
        self.status = 128 + number
        """The command's exit status, as shells have it."""


def did_you_mean(found: str, known: list[str]) -> str:
    """Name the nearest of `known` to `found`, or list them all, as the end of an error sentence."""
    from difflib import get_close_matches

    near = get_close_matches(found, known, n=1, cutoff=0.6)
    if near:
        return f'did you mean "{near[0]}"?'
    return "known here: " + ", ".join(known) + "."
