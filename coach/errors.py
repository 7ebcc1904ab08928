"""Every error that a person may meet: one sentence that says what to do next."""

from __future__ import annotations

from typing import Literal


class CoachError(Exception):
    """Anything the command line prints as one sentence, with exit status 2."""

    lines = False
    """Whether the message may have several lines."""

    def __str__(self) -> str:
        """Return the sentence; a control character from a file or a name is replaced by its code."""
        kept = "\n" if self.lines else ""
        return "".join(
            sign if sign.isprintable() or sign in kept else f"U+{ord(sign):04X}" for sign in super().__str__()
        )


class ProgramError(CoachError):
    """A program file is not usable; the message begins with file:line:column."""

    lines = True


class VoicePackError(CoachError):
    """A voice pack is missing or incomplete."""


class SpeechError(CoachError):
    """The speech engine is missing or gave no usable sound."""


class DeviceError(CoachError):
    """A sound device or its library is missing or refused to work."""


class HearingError(CoachError):
    """An enrolment or an ear is not usable as requested."""


class RecordError(CoachError):
    """A logbook cannot be read or written."""


class UnknownPersonError(CoachError):
    """This home has no person of that id; the message lists those it has."""


class OnHoldError(CoachError):
    """Nothing may begin for this person: today, or until the clinician clears it."""


class RoomError(CoachError):
    """A patient script or a virtual room is not usable."""


class ManualError(CoachError):
    """The manual has no such topic."""


class PageError(CoachError):
    """The page cannot be served."""


class OutputError(CoachError):
    """A requested file cannot be written."""


class OutOfPlaceError(CoachError):
    """The current state does not accept the event; nothing has changed."""


class ToldToEndError(KeyboardInterrupt):
    """The command was told to end. Nothing went wrong, so it is no CoachError; code that handles Ctrl-C handles it."""

    def __init__(self, by: Literal["keyboard", "system", "terminal"], number: int) -> None:
        """`by`: who told it to end; `number`: the signal's number."""
        super().__init__(f"{by} ({number})")
        self.by = by
        self.status = 128 + number
        """The command's exit status by the shells' convention."""


def did_you_mean(found: str, known: list[str]) -> str:
    """Return the end of an error sentence: the known word nearest to `found`, or all of `known`."""
    from difflib import get_close_matches

    near = get_close_matches(found, known, n=1, cutoff=0.6)
    if near:
        return f'did you mean "{near[0]}"?'
    return "known here: " + ", ".join(known) + "."
