"""Let the session of `coach start` sound: loaded only once there are a plan and a device."""

from __future__ import annotations

from contextlib import ExitStack
from dataclasses import replace

from rich.console import Console

from coach.cli.ears import ears_for
from coach.cli.keyboard import keys_pressed
from coach.cli.labels import Labels
from coach.cli.session_setup import (
    Prepared,
    SessionDevice,
    coach_voice,
    render_all,
    run_session,
    sentences,
    tell_end,
    tell_unkept,
)
from coach.cli.taught_words import taught_by
from coach.cli.verdict import tell_verdict
from coach.cli.view import View
from coach.ears.keys import Keys
from coach.ears.numbers import numbers_heard
from coach.logbook.store import Home, Person


def sound(
    prepared: Prepared, home: Home, person: Person, on: SessionDevice, console: Console, chosen_ears: str | None
) -> None:
    """Run the session on a device and show its summary; `chosen_ears` is the value of --ears."""
    labels = Labels(prepared.pack.screens)
    enrolment = taught_by(person, prepared.pack)
    if enrolment is not None:
        tell_verdict(enrolment, prepared.pack, person.id, console)
        heard = numbers_heard(enrolment)
        prepared = replace(prepared, today=replace(prepared.today, numbers_heard=heard))
    ears = ears_for(enrolment, prepared.pack, home, console, chosen_ears)()
    voice = coach_voice(home, prepared.pack)
    render_all(voice, sentences(prepared), console, labels("preparing_voice"))
    tell_unkept(voice.unkept, labels, console)
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
            on,
            voice=voice,
            ears=ears,
            show=view.show,
            poll=poll,
        )
    tell_end(home, person.id, ran, labels, console)
