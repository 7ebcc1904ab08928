"""`coach page`: start sessions from a page in the browser, on this machine only."""

from __future__ import annotations

import argparse
import os
import sys
import webbrowser
from contextlib import ExitStack

from rich.console import Console

from coach.audio.patient import read_script
from coach.cli.ears import add_ears
from coach.cli.keyboard import keys_pressed
from coach.cli.labels import Labels
from coach.cli.reading import when_slow
from coach.cli.session_setup import halts_in
from coach.cli.signals import told
from coach.cli.visit.desk import Desk
from coach.cli.visit.sound import RealSound, RoomSound, VisitSound
from coach.cli.visit.visit import VisitContext, visits
from coach.errors import PageError
from coach.logbook.store import Home
from coach.page.host import Page
from coach.page.screens import Step
from coach.program_files import find, open_file
from coach.voice.pack import load_pack


def add(parser: argparse.ArgumentParser) -> None:
    """Declare the arguments."""
    parser.add_argument("file", nargs="?", metavar="FILE", help="program file, or the id of one (default: that in use)")
    parser.add_argument("--language", default="en", help="language of the first step (default: en)")
    parser.add_argument("--port", type=int, default=0, metavar="N", help="port of the page (default: any free one)")
    parser.add_argument("--no-browser", action="store_true", help="print the address and open no browser")
    add_ears(parser)
    sound = parser.add_mutually_exclusive_group()
    sound.add_argument("--device", metavar="NAME", help="part of a device's name; see coach devices")
    sound.add_argument("--room", metavar="SCRIPT", help="a simulated room and patient instead of a device")
    parser.add_argument("--pace", type=float, default=1.0, metavar="X", help="with --room: so many times as fast")


def run(args: argparse.Namespace) -> int:
    """Serve the page until it is closed, there or with Ctrl-C."""
    if not 0 <= args.port < 65536:
        raise PageError(f"There is no port {args.port}; choose one from 1024 to 65535, or leave --port out.")
    if not 0.1 <= args.pace <= 100:
        raise PageError("--pace takes a number from 0.1 to 100.")
    if args.room:
        read_script(args.room)  # a bad script ends the command before anything is opened
    if args.file:
        open_file(find(args.file), halts_in)
    console = Console(markup=False)
    home = Home(args.home)
    pack = load_pack(args.language)
    labels = Labels(pack.screens)
    words = {key: labels(key) for key in ("page_wrong_address", "page_wrong_origin", "page_too_many")}
    with ExitStack() as stack:
        page = stack.enter_context(Page(words, args.port))
        page.open()
        sound: VisitSound = RealSound(args.device)
        if args.room:
            sound = RoomSound(args.room, home, console, page.wait, args.pace)
        desk = Desk(page, pack)
        home.tell = when_slow(desk.reading)
        _tell(page, labels, console, browser=not args.no_browser)
        told().at_hang_up = desk.leave  # closing the terminal does not end a session
        pressed = stack.enter_context(keys_pressed())
        try:
            visits(VisitContext(home, desk, sound, console, pressed, args.file, args.ears, pack))
        except KeyboardInterrupt:
            console.print()
        desk.show(Step("closed", labels("page_closed"), labels("page_closed_lead")))
        page.wait(0.2)
    console.print(labels("page_closed"))
    return 0


def _tell(page: Page, labels: Labels, console: Console, *, browser: bool) -> None:
    """Print the address of the page and open it."""
    if browser and not _opened(page):
        console.print(f"! {labels('page_no_browser')}", soft_wrap=True, markup=False)
    console.print(labels("page_at", address=page.address), soft_wrap=True, markup=False, highlight=False)
    console.print(labels("page_keep_secret"), soft_wrap=True, markup=False)


def _opened(page: Page) -> bool:
    """Open the browser with its output kept off our terminal; return whether there is one.

    Every user of this machine can read the browser's arguments, so it gets the name of a file that only we can read.
    """
    seen = os.environ.get("DISPLAY") or os.environ.get("WAYLAND_DISPLAY")
    if os.name == "posix" and sys.platform != "darwin" and not seen:  # a text browser would take over this terminal
        return False
    try:
        return webbrowser.open(page.opener().as_uri())
    except (webbrowser.Error, OSError):
        return False
