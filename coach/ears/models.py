"""Find a model for the Vosk ear on this machine, and load it. Nothing here reaches a network."""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import dataclass
from importlib.machinery import PathFinder
from pathlib import Path
from typing import Any

from coach.errors import HearingError

NEEDED = ("am/final.mdl", "conf/mfcc.conf", "conf/model.conf", "graph/HCLr.fst", "graph/Gr.fst")
"""Files that a model must have, not empty. Word lists need the last two; large models have a fixed graph instead, which
takes no word list."""


@dataclass(frozen=True, slots=True)
class ModelFolder:
    """A folder that should hold a model."""

    folder: Path
    source: str
    """Its source: "home", "package" or "cache"."""

    @property
    def size(self) -> int:
        """Its size on the disk in bytes."""
        return sum(path.stat().st_size for path in self.folder.rglob("*") if path.is_file())


def own_folder(home: Path, language: str) -> Path:
    """Return the folder of a fetched model."""
    return home / "models" / language


def package_name(language: str) -> str:
    """Return the name of a Python package that carries a model in its folder `model`."""
    return f"vosk_model_{language.replace('-', '_')}"


def find_model(language: str, home: Path, cache: Path | None = None) -> ModelFolder | None:
    """Return the model for `language`, or None if there is none on this machine.

    The order is: `home`/models/LANGUAGE, an installed package, Vosk's own cache (`cache` replaces it in tests). Raises
    HearingError if the first one found is incomplete; the error names the file and what to do, and nothing is changed.
    """
    place = next(_places(language, home, cache or Path.home() / ".cache" / "vosk"), None)
    if place is not None:
        check_whole(place.folder, language)
    return place


def _places(language: str, home: Path, cache: Path) -> Iterator[ModelFolder]:
    own = own_folder(home, language)
    if own.exists():
        yield ModelFolder(own, "home")
    found = PathFinder.find_spec(package_name(language))
    for package in found.submodule_search_locations or () if found else ():
        yield ModelFolder(Path(package) / "model", "package")
    named = re.compile(rf"vosk-model-(small-)?{re.escape(language)}([-_.].*)?")
    folders = sorted(cache.iterdir()) if cache.is_dir() else []
    # Small models first: they take word lists.
    for folder in sorted(folders, key=lambda folder: "-small-" not in folder.name):
        if folder.is_dir() and named.fullmatch(folder.name):
            yield ModelFolder(folder, "cache")


def missing_in(folder: Path) -> str:
    """Return the first needed file that is not in `folder` or is empty; an empty text if the model is whole."""
    return next((name for name in NEEDED if not _holds_something(folder / name)), "")


def _holds_something(path: Path) -> bool:
    return path.is_file() and path.stat().st_size > 0


def check_whole(folder: Path, language: str) -> None:
    """Raise HearingError if the model in `folder` is not whole."""
    missing = missing_in(folder)
    if missing:
        raise HearingError(
            f"The speech model in {folder} is not whole: it lacks {missing}; move that folder away, then run: "
            f"coach voices fetch {language}"
        )


def engine() -> Any:  # noqa: ANN401  Vosk has no types
    """Return the module of the open-vocabulary engine. Raises HearingError if it is missing or does not load."""
    try:
        import vosk
    except (ImportError, OSError, TypeError) as error:  # TypeError: it has no library for this system
        raise HearingError(
            f"The open-vocabulary engine is missing ({error}); run: pip install vosk, or use taught words and keys, "
            "which do not need it."
        ) from error
    return vosk


def load_model(place: ModelFolder, language: str) -> Any:  # noqa: ANN401  Vosk has no types
    """Return the loaded model of `language`: some seconds, and 0.6 GB for a small one.

    Raises HearingError if Vosk is missing, or if the model is not whole or does not load.
    """
    check_whole(place.folder, language)  # Vosk's own error gives no reason
    vosk = engine()
    vosk.SetLogLevel(-1)
    try:
        # Always by path, as a string: a Path fails inside Vosk, and a language name would use the network.
        return vosk.Model(str(place.folder))
    except Exception as error:  # Vosk raises nothing narrower
        raise HearingError(
            f"The speech model in {place.folder} does not load ({error}); move that folder away, then run: "
            f"coach voices fetch {language}"
        ) from error
