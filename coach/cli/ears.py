"""Build the ears of one person for `coach start`, `coach demo` and `coach hear`."""

from __future__ import annotations

import argparse
from collections.abc import Callable
from typing import TYPE_CHECKING

from rich.console import Console

from coach.cli.labels import Labels
from coach.errors import CoachError, HearingError, did_you_mean
from coach.logbook.files import MIB
from coach.logbook.store import Home
from coach.words.phrases import VoicePack

if TYPE_CHECKING:  # sound takes 0.2 s to load, and whoever declares --ears may need none
    from coach.ears.activity import Activity
    from coach.ears.enrolment import Enrolment
    from coach.ears.front import Ears
    from coach.ears.vosk import Vosk
    from coach.ports import Ear

    Maker = Callable[[Activity], Ear]

CHOICES = ("taught", "vosk", "keys")
"""Names for --ears. Voice activity always listens, and a session always takes keys."""


def add_ears(parser: argparse.ArgumentParser) -> None:
    """Declare --ears."""
    parser.add_argument(
        "--ears", metavar="E1,E2", help="only these of taught, vosk, keys (default: all there are; vosk takes 0.6 GB)"
    )


def ears_for(
    enrolment: Enrolment | None, pack: VoicePack, home: Home, console: Console, chosen: str | None = None
) -> Callable[[], Ears]:
    """Return a function that makes the ears: voice activity, taught words, Vosk if there is a model, and the keys.

    `chosen` is the value of --ears. A model is loaded here, once, and `console` says so. An unusable model is reported
    and left out, unless --ears asks for it. Raises CoachError for a choice that cannot be met.
    """
    from coach.ears.activity import Activity
    from coach.ears.front import Ears
    from coach.ears.keys import Keys
    from coach.ears.taught import Taught

    names = _names(chosen)
    room = enrolment.room if enrolment is not None else None
    makers: list[Maker] = []
    if enrolment is not None and _wants(names, "taught"):
        taught = enrolment
        makers.append(lambda activity: Taught(taught, activity=activity, halts=pack.halts))
    elif names is not None and "taught" in names:
        raise CoachError("No words were taught; teach them with coach enrol, or leave taught out of --ears.")
    if _wants(names, "vosk"):
        makers += _vosk(pack, home, console, asked_for=names is not None)

    def make() -> Ears:
        activity = Activity()
        return Ears([activity, *(maker(activity) for maker in makers), Keys()], room=room)

    return make


def _names(chosen: str | None) -> frozenset[str] | None:
    if chosen is None:
        return None
    names = [name.strip() for name in chosen.split(",") if name.strip()]
    for name in names:
        if name not in CHOICES:
            raise CoachError(f'There is no ear "{name}"; {did_you_mean(name, list(CHOICES))}')
    return frozenset(names)


def _wants(names: frozenset[str] | None, name: str) -> bool:
    return names is None or name in names


def _vosk(pack: VoicePack, home: Home, console: Console, *, asked_for: bool) -> list[Maker]:
    """Return the maker of the Vosk ear in a list, which is empty if there is no model."""
    from coach.ears.activity import Activity
    from coach.ears.models import find_model, load_model
    from coach.ears.vosk import Vosk

    labels = Labels(pack.screens)
    try:
        place = find_model(pack.language, home.root)
        if place is None:
            return _without(pack, asked_for=asked_for)
        console.print(labels("vosk_loading", size=place.size // MIB), markup=False, highlight=False)
        model = load_model(place, pack.language)
        unknown = Vosk(model, pack.replies, pack.halts, activity=Activity()).unknown
    except HearingError as error:
        if asked_for:
            raise
        console.print(f"! {labels('vosk_left_out', because=error)}", soft_wrap=True, markup=False)
        return []

    def maker(activity: Activity) -> Vosk:
        return Vosk(model, pack.replies, pack.halts, pack.decoys, activity=activity)

    if unknown:
        console.print(f"! {labels('vosk_unknown', words=', '.join(unknown))}", soft_wrap=True, markup=False)
    return [maker]


def _without(pack: VoicePack, *, asked_for: bool) -> list[Maker]:
    if asked_for:
        raise HearingError(f'There is no speech model for "{pack.language}" here; see: coach voices')
    return []
