"""A visit with the page, from "who trains" to what was done; then the next one."""

from __future__ import annotations

from collections.abc import Callable
from contextlib import suppress
from dataclasses import dataclass, replace

from rich.console import Console

from coach.cli.ears import ears_for
from coach.cli.labels import Labels
from coach.cli.session_setup import (
    Prepared,
    Ran,
    coach_voice,
    refuse_nothing,
    run_session,
    sentences,
    tell_closed,
    tell_end,
    tell_unkept,
)
from coach.cli.signals import HANG_UP, told
from coach.cli.view import TERMINAL_GONE, View
from coach.cli.visit import people
from coach.cli.visit.after import after
from coach.cli.visit.before import lay_out, within_reach
from coach.cli.visit.desk import OVER, Desk, StartOverError, StoppedError
from coach.cli.visit.sound import CHECK, VisitSound, check
from coach.cli.visit.teach import words_of
from coach.ears.forecast import Suitability
from coach.ears.front import Ears
from coach.ears.keys import Keys
from coach.ears.numbers import numbers_heard
from coach.errors import CoachError, ToldToEndError
from coach.logbook.store import Home, Person
from coach.page.screens import Choice, Step
from coach.snapshot import Snapshot
from coach.voice.cache import ClipVoice
from coach.words.phrases import VoicePack, phrase, sentence

DESERTED = 500
"""Stretches of sound, 10 s, after which a session without terminal and window ends: nobody can press a key to halt. A
reloaded window or a new server is back within two seconds."""


@dataclass(frozen=True, slots=True)
class VisitContext:
    """What all visits share."""

    home: Home
    desk: Desk
    sound: VisitSound
    console: Console
    pressed: Callable[[], str]
    """Returns the keys pressed in the terminal since its last call."""
    file: str | None
    """The program file of the command line."""
    ears: str | None
    """The value of --ears."""
    pack: VoicePack
    """The language of the first step."""


def visits(context: VisitContext) -> None:
    """Go through one visit after another until the page is closed."""
    problem = ""
    while True:
        context.desk.turn_to(context.pack)
        try:
            person = _who(context, problem)
            if person is None:
                return
            _visit(context, person)
            problem = ""
        except (StartOverError, StoppedError):
            problem = ""
        except CoachError as error:
            context.console.print(f"! {error}", soft_wrap=True, markup=False)
            problem = str(error)


def _who(context: VisitContext, problem: str) -> Person | None:
    """Ask who trains; if even that fails, show why and wait until somebody tries again. None: the page is closed."""
    labels = context.desk.labels
    again, close = Choice("again", labels("page_check_again"), weight="main"), Choice("close", labels("page_close"))
    while True:
        try:
            return people.who(context.desk, context.home, problem)
        except CoachError as error:
            step = Step("who", labels("page_who"), choices=(again, close), problem=str(error))
        if context.desk.ask(step).id == "close":
            return None


def _visit(context: VisitContext, person: Person) -> None:
    desk, home = context.desk, context.home
    day = home.today()
    tell_closed(home.close_broken(person.id), desk.labels, context.console)
    people.tell_on_hold(desk, home, person)
    prepared = people.today(desk, home, person, context.file)
    if prepared is None:
        return
    refuse_nothing(prepared, desk.labels)
    people.cautions(desk, prepared)
    enrolment = words_of(desk, home, person, context.sound)
    if enrolment is not None:
        prepared = replace(prepared, today=replace(prepared.today, numbers_heard=numbers_heard(enrolment)))
    make = ears_for(enrolment, prepared.pack, home, context.console, context.ears)
    voice = coach_voice(home, prepared.pack)
    desk.render(voice, [*sentences(prepared), *(sentence(prepared.pack, phrase(key)) for key in CHECK)],
                Step("preparing", desk.labels("page_preparing"),
                     choices=(Choice(OVER, desk.labels("page_over"), weight="small"),)))  # fmt: skip
    tell_unkept(voice.unkept, desk.labels, context.console)
    hears = "taught" in make().names
    check(desk, context.sound, voice, make, taught=hears)
    lay_out(desk, prepared)
    within_reach(desk, prepared, alone=hears and enrolment is not None and enrolment.verdict == Suitability.HANDS_FREE)
    if home.today() != day:
        raise CoachError(desk.labels("page_day_changed"))
    ran = _session(context, person, prepared, voice, make())
    after(desk, home, person, ran)


def patience(deserted: Callable[[], bool]) -> Callable[[], None]:
    """Return a check to call once a stretch: it raises ToldToEndError once `deserted` held longer than DESERTED."""
    since = 0

    def look() -> None:
        nonlocal since
        since = since + 1 if deserted() else 0
        if since > DESERTED:
            raise ToldToEndError("terminal", HANG_UP)

    return look


def _session(context: VisitContext, person: Person, prepared: Prepared, voice: ClipVoice, ears: Ears) -> Ran:
    """Run the session with the same moments shown in the terminal and on the page."""
    keys = next(ear for ear in ears.ears if isinstance(ear, Keys))
    on = context.sound.session(prepared.pack)
    while context.pressed():  # keys typed earlier were not meant for the session
        pass
    with View(prepared.pack.screens, context.console) as view:

        def show(snapshot: Snapshot) -> None:
            context.desk.session(snapshot)
            view.show(snapshot)

        end_if_deserted = patience(lambda: context.desk.deserted)

        def poll() -> None:
            end_if_deserted()
            for key in context.pressed():
                keys.press(key)
            for key in context.desk.pressed():
                keys.press(key, "page")

        ran = run_session(
            prepared,
            context.home,
            person.id,
            on,
            voice=voice,
            ears=ears,
            show=show,
            poll=poll,
        )
    try:
        with suppress(*TERMINAL_GONE):
            tell_end(context.home, person.id, ran, Labels(prepared.pack.screens), context.console)
    except CoachError as error:  # the page says so, too
        context.console.print(f"! {error}", soft_wrap=True, markup=False)
    told().look()
    return ran
