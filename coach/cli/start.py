"""`coach start`: today's session for a person, on the microphone and speaker of this machine."""

from __future__ import annotations

import argparse
import sys
from dataclasses import replace
from pathlib import Path

from rich.console import Console

from coach.cli.choose import chosen
from coach.cli.ears import add_ears
from coach.cli.export import labels_for
from coach.cli.labels import Labels
from coach.cli.on_hold import refuse_on_hold
from coach.cli.reading import home_of
from coach.cli.session_setup import Prepared, SessionDevice, refuse_nothing, tell_closed, told_broken
from coach.cli.today import problems
from coach.errors import CoachError
from coach.logbook.session_record import RECORDING, VIRTUAL_ROOM
from coach.logbook.store import Home
from coach.words.phrases import VoicePack


def add(parser: argparse.ArgumentParser) -> None:
    """Declare the arguments."""
    parser.add_argument(
        "file",
        nargs="?",
        metavar="FILE",
        help="program file, or the id of one in use or shipped (default: that in use)",
    )
    parser.add_argument("--person", required=True, metavar="ID", help="whose session it is")
    broken = parser.add_mutually_exclusive_group()
    broken.add_argument("--take-up", action="store_true", help="do what is left of today's session that broke off")
    broken.add_argument("--anew", action="store_true", help="do the whole session again")
    parser.add_argument("--wav", type=Path, metavar="OUT.wav", help="write what a simulated room or recording gave")
    add_ears(parser)
    sound = parser.add_mutually_exclusive_group()
    sound.add_argument("--device", metavar="NAME", help="part of a device's name; see coach devices")
    sound.add_argument("--room", metavar="SCRIPT", help="a simulated room and patient instead of a device")
    sound.add_argument("--recording", type=Path, metavar="IN.wav", help="a recording instead of a microphone")


def run(args: argparse.Namespace) -> int:
    """Run the session and show its summary."""
    console = Console(markup=False)
    home = home_of(args.home)
    person = home.person(args.person)
    history = home.history(person.id)
    broken = home.close_broken(person.id, history)
    if broken:
        history = home.history(person.id)
    refuse_on_hold(home, person.id, labels_for(home, person.id, history), history)
    prepared = chosen(args.file, home, person, history)
    labels = Labels(prepared.pack.screens)
    tell_closed(broken, labels, console)
    chosen_part = part(args, prepared, labels, console)
    if chosen_part is None:
        return 0
    prepared = chosen_part
    refuse_nothing(prepared, labels)
    for problem in problems(prepared.history, home.decisions(person.id), labels):
        console.print(f"! {problem}", soft_wrap=True, markup=False)
    on = _device(args, prepared.pack, home, console)
    from coach.cli.sounding import sound

    sound(prepared, home, person, on, console, args.ears)
    return 0


def part(args: argparse.Namespace, prepared: Prepared, labels: Labels, console: Console) -> Prepared | None:
    """Return the part of today's session that the person wants if it broke off: the rest, or all; None: nothing begins.

    Raises CoachError if nobody can be asked and no flag decides: the coach never adds work by itself.
    """
    if prepared.broken is None:
        if args.take_up:
            raise CoachError("No session of today broke off in the work; leave out --take-up.")
        return prepared
    if args.anew:
        return prepared
    command = "--take-up (what is left of it) or --anew (the whole session again)"
    if prepared.left is None:
        if args.take_up:
            raise CoachError("Nothing of the session that broke off is left to do today; leave out --take-up.")
        command = "--anew (the whole session again), or leave it for today"
    if not args.take_up:
        told = told_broken(prepared, labels)
        if not asked_in_person():
            raise CoachError(f"{told} Say which: {command}.")
        console.print(told, soft_wrap=True, markup=False)
        try:
            answer = console.input(f"{labels('broke_off_which' if prepared.left else 'broke_off_anew')} ", markup=False)
        except EOFError:
            answer = ""
        if answer.strip() == "2":
            return prepared
        if answer.strip() != "1" or prepared.left is None:
            console.print(labels("broke_off_nothing"))
            return None
    assert prepared.left is not None, "checked above"
    return replace(prepared, today=prepared.left)


def asked_in_person() -> bool:
    """Tell whether somebody sits at a terminal and can be asked."""
    return sys.stdin.isatty()


def _device(args: argparse.Namespace, pack: VoicePack, home: Home, console: Console) -> SessionDevice:
    """Return the device that the arguments ask for."""
    if args.room:
        from coach.cli.room import furnish
        from coach.patient_cues import cued

        room = furnish(args.room, pack, home, console, wav=args.wav)
        return SessionDevice(room, VIRTUAL_ROOM, cued(room.moment))
    if args.recording:
        from coach.audio.room import WavDevice

        return SessionDevice(WavDevice(args.recording, args.wav), f"{RECORDING} {args.recording.name}")
    if args.wav:
        raise CoachError("--wav goes with --room or --recording: no sound of a real session is ever stored.")
    from coach.audio.stream import Stream, sleepless_clock
    from coach.engine import within

    stream = Stream(args.device, clock=sleepless_clock, within=within)
    return SessionDevice(stream, " and ".join(dict.fromkeys(stream.names)))
