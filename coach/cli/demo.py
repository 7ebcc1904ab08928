"""`coach demo`: a whole session with a simulated room and a scripted patient; everything else is real."""

from __future__ import annotations

import argparse
from pathlib import Path
from time import monotonic

from rich.console import Console

from coach.audio.patient import read_script
from coach.cli.ears import ears_for
from coach.cli.labels import Labels
from coach.cli.room import furnish, teach_patient
from coach.cli.session_setup import (
    DEFAULT_PROGRAM,
    SessionDevice,
    coach_voice,
    prepare,
    render_all,
    run_session,
    sentences,
    tell_closed,
    tell_end,
    tell_unkept,
)
from coach.cli.view import View
from coach.logbook.session_record import VIRTUAL_ROOM
from coach.logbook.store import Home
from coach.patient_cues import cued

PERSON = "demo"
"""Id of the simulated person in the home."""


def add(parser: argparse.ArgumentParser) -> None:
    """Declare the arguments."""
    parser.add_argument(
        "--program", default=DEFAULT_PROGRAM, metavar="FILE", help="program file, or a shipped one's id"
    )
    parser.add_argument("--patient", default="default", metavar="SCRIPT", help="what the patient says and when")
    parser.add_argument("--wav", type=Path, metavar="OUT.wav", help="write what is heard: left coach, right room")


def run(args: argparse.Namespace) -> int:
    """Run the session and end with its summary and where the record is."""
    console = Console(markup=False)
    home = Home(args.home)
    prepared = prepare(args.program, home, PERSON)
    read_script(args.patient)  # a bad script ends the command before anything is written
    labels = Labels(prepared.pack.screens)
    if PERSON not in home.people():
        home.add_person(PERSON)
    tell_closed(home.close_broken(PERSON), labels, console)
    voice = coach_voice(home, prepared.pack)
    render_all(voice, sentences(prepared), console, labels("preparing_voice"))
    tell_unkept(voice.unkept, labels, console)
    room = furnish(args.patient, prepared.pack, home, console, wav=args.wav)
    taught = teach_patient(home.person(PERSON), prepared.pack, home, console)
    ears = ears_for(taught, prepared.pack, home, console)()
    began = monotonic()
    with View(prepared.pack.screens, console) as view:
        ran = run_session(
            prepared,
            home,
            PERSON,
            SessionDevice(room, VIRTUAL_ROOM, cued(room.moment)),
            voice=voice,
            ears=ears,
            show=view.show,
        )
    took = monotonic() - began
    tell_end(home, PERSON, ran, labels, console)
    console.print(labels("demo_took", minutes=f"{ran.seconds / 60:.1f}", seconds=f"{took:.0f}"))
    return 0
