"""Keep the output of a sound system's C code off the screen."""

from __future__ import annotations

import os
import sys


def keep_off_the_screen() -> None:
    """From now on, discard what C code writes to standard error on a terminal; `sys.stderr` still shows.

    ALSA, JACK and PortAudio write to file descriptor 2 from threads of their own, while a screen is drawn and even
    after the last stream was closed. To redirect the descriptor for a while, as the sound library does at its start,
    would let some of that through and lose our own output meanwhile. So Python's output gets another descriptor for
    good, and descriptor 2 is redirected to nothing. Standard error that is no terminal is left alone: `2> FILE` holds
    all of it. Repeated calls are harmless.
    """
    if os.name != "posix":
        return
    try:
        shown = sys.stderr.fileno() == 2  # otherwise it was moved already
    except (AttributeError, OSError):
        shown = False
    if shown:
        sys.stderr.flush()
        errors = sys.stderr.errors or "backslashreplace"
        sys.stderr = os.fdopen(os.dup(2), "w", buffering=1, encoding=sys.stderr.encoding, errors=errors)
    if os.isatty(2):
        nowhere = os.open(os.devnull, os.O_WRONLY)
        os.dup2(nowhere, 2)
        os.close(nowhere)
