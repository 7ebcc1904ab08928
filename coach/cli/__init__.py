"""The command line: one module a command."""

from __future__ import annotations

import argparse
import importlib
import io
import os
import sys
from collections.abc import Sequence
from contextlib import suppress
from pathlib import Path

from coach.cli.signals import Signals, heeded
from coach.errors import CoachError

# The ears multiply small matrices all the time, and on a busy machine several threads of OpenBLAS wait for each other
# (tests/bench/RESULTS.md, "One thread for small matrices"). OpenBLAS reads this when numpy is loaded.
os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")

COMMANDS = {
    "demo": "run a whole session with a simulated room and patient, and show it live",
    "start": "run today's session for a person",
    "page": "start sessions from a page in the browser, for everybody in the room",
    "today": "show what today's session would be and why, and what waits for the clinician",
    "decide": "record the clinician's decision about the level of an exercise",
    "goals": "keep what a person wants to do again, and show how near it is",
    "enrol": "teach the coach a person's words",
    "hear": "tell what the ears hear in recordings, as JSON lines",
    "check": "check program files and say what is wrong or missing",
    "words": "show how unlike the words of a language sound",
    "handout": "print a program on a sheet for the wall and the family",
    "rehearse": "lay out a program in time: what is said when, how long it takes",
    "log": "read the records of past sessions",
    "review": "tell the clinician what to decide, what went wrong and how it is going",
    "export": "write everything that is kept about a person into one file for them",
    "forget": "delete everything that is kept about a person",
    "voices": "list languages, their voices and ears, and fetch a speech model",
    "devices": "list microphones and speakers",
    "manual": "show the manual, topic by topic",
}
"""Each command and what it is for, in the order in which they are listed."""

TOPICS = {
    "demo": "try",
    "start": "start",
    "page": "page",
    "today": "start",
    "decide": "decide",
    "goals": "start",
    "enrol": "teach",
    "hear": "try",
    "check": "program",
    "words": "voices",
    "handout": "program",
    "rehearse": "program",
    "log": "review",
    "review": "review",
    "export": "data",
    "forget": "data",
    "voices": "voices",
    "devices": "devices",
}
"""The topic of the manual in which a command is explained."""

TOLD = {
    "keyboard": "ended from the keyboard.",
    "system": "told to end by the system.",
    "terminal": "its terminal was closed.",
}
"""How a command's last sentence says who ended it, by the source of the signal."""


def parser(only: str = "") -> argparse.ArgumentParser:
    """Return the parser of the whole command line; `only` names the one command whose arguments are needed, if known.

    The modules of the other commands are not imported then, which halves the time of a short command.
    """
    top = argparse.ArgumentParser(
        prog="coach",
        description="A voice-guided coach for home rehabilitation sessions.",
        epilog="Begin with: coach demo. What it is not, and when to seek help: coach manual cautions.",
    )
    commands = top.add_subparsers(dest="command", metavar="COMMAND", required=True)
    for name, purpose in COMMANDS.items():
        more = f"More about it: coach manual {TOPICS[name]}" if name in TOPICS else ""
        sub = commands.add_parser(name, help=purpose, description=f"{purpose[:1].upper()}{purpose[1:]}.", epilog=more)
        sub.add_argument("--home", type=Path, metavar="DIR", help="where all data is kept (default: COACH_HOME)")
        if only in ("", name):
            importlib.import_module(f"coach.cli.{name}").add(sub)
    return top


def main(argv: Sequence[str] | None = None) -> int:
    """Run one command; return its exit status: 0 done, 2 for an error, told in one sentence.

    A command that was ended by a signal returns 128 plus the signal's number, as in shells, whatever it had done by
    then; see `coach.cli.signals`.
    """
    given = sys.argv[1:] if argv is None else argv
    with heeded() as told:
        status = _run(given, told)
        return told.end.status if told.end else status


def _run(given: Sequence[str], told: Signals) -> int:
    command = given[0] if given and given[0] in COMMANDS else ""
    try:
        return _command(given, command)
    except CoachError as error:
        print(f"coach {command}: {error}", file=sys.stderr)
        return 2
    except (Exception, KeyboardInterrupt) as error:
        if told.end is not None or isinstance(error, KeyboardInterrupt):  # a library may wrap the signal's error
            with suppress(OSError):
                print(f"coach {command}: {TOLD[told.end.by if told.end else 'keyboard']}", file=sys.stderr)
            return 130
        if not isinstance(error, BrokenPipeError):
            raise
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        return 141


def _command(given: Sequence[str], command: str) -> int:
    args = parser(command).parse_args(given)
    if args.home is None:
        from coach.logbook.store import default_home

        named = os.environ.get("COACH_HOME")
        args.home = Path(named) if named else default_home()
    for stream in (sys.stdout, sys.stderr):  # a letter that the terminal lacks is printed as its code
        if isinstance(stream, io.TextIOWrapper):
            stream.reconfigure(errors="backslashreplace")
    return int(importlib.import_module(f"coach.cli.{args.command}").run(args))
