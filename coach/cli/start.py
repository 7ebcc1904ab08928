"""`coach start`: today's session for a person, on the microphone and speaker of this machine."""

from __future__ import annotations

import argparse
from contextlib import ExitStack
from dataclasses import replace
from pathlib import Path

from rich.console import Console

from coach.cli.choose import chosen
from coach.cli.ears import add_ears, ears_for
from coach.cli.keyboard import keys_pressed
from coach.cli.labels import Labels
from coach.cli.parts import (
    Prepared,
    coach_voice,
    render_all,
    run_session,
    sentences,
    tell_closed,
    tell_end,
)
from coach.cli.today import decision_problems
from coach.cli.verdict import tell_verdict
from coach.cli.view import View
from coach.ears.enrolment import FILE, Enrolment, load_enrolment
from coach.ears.front import Ears
from coach.ears.keys import Keys
from coach.ears.numbers import numbers_heard
from coach.errors import CoachError
from coach.logbook.assembled import RECORDING, VIRTUAL_ROOM
from coach.logbook.store import Home, Person
from coach.ports import Device
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
    parser.add_argument("--wav", type=Path, metavar="OUT.wav", help="write what a simulated room or recording gave")
    add_ears(parser)
    sound = parser.add_mutually_exclusive_group()
    sound.add_argument("--device", metavar="NAME", help="part of a device's name; see coach devices")
    sound.add_argument("--room", metavar="SCRIPT", help="a simulated room and patient instead of a device")
    sound.add_argument("--recording", type=Path, metavar="IN.wav", help="a recording instead of a microphone")


def run(args: argparse.Namespace) -> int:
    """Run the session and show its summary."""
    console = Console(markup=False)
    home = Home(args.home)
    person = home.person(args.person)
    broken = home.close_broken(person.id)
    prepared = chosen(args.file, home, person)
    labels = Labels(prepared.pack.screens)
    tell_closed(broken, labels, console)
    for problem in decision_problems(home, person.id):
        console.print(f"! {problem}", soft_wrap=True, markup=False)
    enrolment = taught_by(person, prepared.pack)
    if enrolment is not None:
        tell_verdict(enrolment, prepared.pack, person.id, console)
        heard = numbers_heard(enrolment)
        prepared = replace(prepared, today=replace(prepared.today, numbers_heard=heard))
    device, ears, name = _device(args, prepared, enrolment, home, console)
    voice = coach_voice(home, prepared.pack)
    render_all(voice, sentences(prepared), console, labels("preparing_voice"))
    keys = next(ear for ear in ears.ears if isinstance(ear, Keys))
    if "taught" not in ears.names:
        halts = "vosk_halts" if "vosk" in ears.names else "keys_only"
        console.print(f"! {labels(halts)}", soft_wrap=True, markup=False)
    with ExitStack() as stack:
        pressed = stack.enter_context(keys_pressed())
        view = stack.enter_context(View(prepared.pack.screens, console))

        def poll() -> None:
            for key in pressed():
                keys.press(key)

        ran = run_session(
            prepared,
            home,
            person.id,
            device=device,
            device_name=name,
            voice=voice,
            ears=ears,
            show=view.show,
            tell=getattr(device, "moment", None),
            poll=poll,
        )
    tell_end(home, person.id, ran, labels, console)
    return 0


def taught_by(person: Person, pack: VoicePack) -> Enrolment | None:
    """Return the words that a person taught, or None. Raises CoachError if they are of another language."""
    enrolment = load_enrolment(person.takes) if (person.takes / FILE).exists() else None
    if enrolment is not None and enrolment.language != pack.language:
        raise CoachError(
            f'{person.id} taught words in "{enrolment.language}" and this program is in "{pack.language}"; '
            f"teach them anew: coach enrol {person.id} --forget, then coach enrol {person.id} "
            f"--language {pack.language}"
        )
    return enrolment


def _device(
    args: argparse.Namespace, prepared: Prepared, enrolment: Enrolment | None, home: Home, console: Console
) -> tuple[Device, Ears, str]:
    """Return the device, the ears that listen to it, and what the record calls it."""
    ears = ears_for(enrolment, prepared.pack, home, console, args.ears)()
    if args.room:
        from coach.cli.room import furnish

        return furnish(args.room, prepared.pack, home, console, wav=args.wav), ears, VIRTUAL_ROOM
    if args.recording:
        from coach.audio.room import WavDevice

        return WavDevice(args.recording, args.wav), ears, f"{RECORDING} {args.recording.name}"
    if args.wav:
        raise CoachError("--wav goes with --room or --recording: no sound of a real session is ever stored.")
    from coach.audio.stream import Stream

    stream = Stream(args.device)
    return stream, ears, " and ".join(dict.fromkeys(stream.names))
