"""Find a program on the disk by its path, or by the id of a shipped program."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from pathlib import Path
from types import MappingProxyType

from coach.errors import ProgramError, did_you_mean
from coach.program.load import load
from coach.program.model import Program
from coach.program.nodes import LONGEST_FILE
from coach.resources import folder

HaltsIn = Callable[[str], Mapping[str, str]]
"""Returns every wording that halts in a language, with what to write instead."""


def shipped() -> dict[str, Path]:
    """Return the shipped programs: id to file, in order of the id."""
    return {path.stem: path for path in sorted(folder("programs").glob("*.yaml"))}


def find(name: str) -> Path:
    """Return the file at the path `name`, or the shipped program of that id.

    Raises ProgramError, which names the nearest shipped program, if there is neither.
    """
    path = Path(name)
    if path.is_file():
        return path
    known = shipped()
    if name in known:
        return known[name]
    if path.is_dir():
        raise ProgramError(f"{name}: this is a folder; name a program file in it.")
    raise ProgramError(f"{name}: no such file, and no shipped program of that name; {did_you_mean(name, list(known))}")


@dataclass(frozen=True, slots=True)
class ProgramFile:
    """A program and the file it was read from."""

    program: Program
    data: bytes
    """The file's bytes."""


def read(path: Path, halt_words: Mapping[str, str] = MappingProxyType({})) -> Program:
    """Return the program in the file. Raises ProgramError; `halt_words` as in `load`."""
    return load(_text(_data(path), path), str(path), halt_words)


def open_program(name: str, halts_in: HaltsIn) -> Program:
    """Return the program of the path or id `name`, checked against the halt words of its own language.

    `halts_in` returns every wording that halts in a language, and may raise VoicePackError. Raises ProgramError.
    """
    return open_file(find(name), halts_in).program


def open_file(path: Path, halts_in: HaltsIn, name: str = "") -> ProgramFile:
    """Return the program in the file with the file's bytes; `name` is the original name if the file is a copy."""
    data = _data(path)
    text = _text(data, path)
    called = name or str(path)
    language = load(text, called).language
    return ProgramFile(load(text, called, halts_in(language)), data)


def _data(path: Path) -> bytes:
    try:
        with path.open("rb") as file:
            data = file.read(LONGEST_FILE + 1)
    except OSError as error:
        why = error.strerror or "it cannot be read"
        raise ProgramError(f"{path}: {why}; check the path and the file's permissions.") from error
    if len(data) > LONGEST_FILE:
        raise ProgramError(f"{path}: the file is longer than {LONGEST_FILE // 1024**2} MiB; a program is a few pages.")
    return data


def _text(data: bytes, path: Path) -> str:
    try:
        return data.decode("utf-8")
    except UnicodeDecodeError as error:
        before = data[: error.start]
        line, column = before.count(b"\n") + 1, error.start - before.rfind(b"\n")
        raise ProgramError(f"{path}:{line}:{column}: not UTF-8 text; save the file with encoding UTF-8.") from error
