"""Keep the output of a sound system's C code off the screen."""

from __future__ import annotations

import os
import sys


def keep_off_the_screen() -> None:
    """From now on what C code writes to the error output of a terminal goes nowhere; `sys.stderr` still shows.

    ALSA, JACK and PortAudio write to file descriptor 2 from threads of their own: into a screen that is being drawn,
    and after the last stream was closed. A descriptor that is turned aside for a while and back would let some of it
    through, and would lose what is ours meanwhile; the sound library itself does that while it begins. So Python's own
    output gets another descriptor for good, and that of a terminal is left to them, turned aside. Error output that is
    no terminal stays as it is: with `2> FILE` all of it can be read. Harmless when done again.
    """
    if os.name != "posix":
        return
    try:
        shown = sys.stderr.fileno() == 2  # otherwise somebody has given it another place already
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
