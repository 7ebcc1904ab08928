"""`coach devices`: which microphones and loudspeakers there are, by the names that --device takes."""

from __future__ import annotations

import argparse


def add(parser: argparse.ArgumentParser) -> None:
    """Describe the command; it takes no arguments of its own."""
    parser.description = (
        "List the microphones and loudspeakers of this machine. Any part of a name that fits only one of them "
        'can be given to --device; "MICROPHONE|LOUDSPEAKER" names both.'
    )


def run(args: argparse.Namespace) -> int:  # noqa: ARG001  all commands share one signature
    """Print the table. Raises DeviceError if PortAudio, every microphone or every loudspeaker is missing."""
    from rich.console import Console
    from rich.table import Table

    from coach.audio.stream import choose, devices
    from coach.engine import within

    found = devices(within)
    table = Table("Name", "Microphone", "Loudspeaker", "Frames a second", "Through")
    for each in found:
        table.add_row(
            each.name,
            _side(each.inputs, each.default_input),
            _side(each.outputs, each.default_output),
            f"{each.rate:,}",
            each.host,
        )
    if found:
        Console(markup=False).print(table)
    choose(found, None)  # raises if there is no microphone or no loudspeaker
    return 0


def _side(channels: int, usual: bool) -> str:
    if not channels:
        return "-"
    return "yes, used unless you name another" if usual else "yes"
