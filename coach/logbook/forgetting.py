"""Forget a person: delete everything that is kept of them, and keep no more than that it happened.

It may be killed anywhere. The folder is first renamed, which is done or not done; whoever forgets somebody next
finishes what was left, and what was counted already is not counted again.
"""

from __future__ import annotations

import json
import os
import re
import secrets
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from coach.errors import RecordError
from coach.logbook import files
from coach.logbook.handover import refuse_link
from coach.logbook.store import PEOPLE, SESSIONS, Home
from coach.logbook.writing import ENDING

RECORD = "forgotten.jsonl"
"""The file in a home with a line for each person who was forgotten: the day and a random mark, nothing of them."""

_LEAVING = re.compile(r"\.forgetting-(?P<id>.+)-(?P<mark>[0-9a-f]{16})")
"""The name of a folder that is being deleted; people() of a home does not list it."""


def forget(home: Home, person_id: str) -> None:
    """Delete all that is kept of a person, and all spoken clips.

    Raises RecordError, also while a session of theirs runs; then nothing is gone.

    The clips are a store that fills itself again: which of them say words of this person's own programs only their
    texts could tell, so all of them go.
    """
    person = home.person(person_id)
    refuse_link(person.folder)
    _refuse_running(person.folder)
    leaving = person.folder.with_name(f".forgetting-{person_id}-{secrets.token_hex(8)}")
    with files.clear_errors(person.folder, "delete"):
        person.folder.rename(leaving)
        try:
            _refuse_running(leaving)  # one that began just before
        except RecordError:
            leaving.rename(person.folder)
            raise
        files.sync_folder(leaving.parent)
    finish(home, leaving)


def left_over(home: Home) -> dict[Path, str]:
    """Return the folders that a forgetting which was killed has left, each with the person's id."""
    people = home.root / "people"
    try:
        names = files.list_folder(people)
    except files.AbsentError:
        names = []
    return {path: found["id"] for path in names if (found := _LEAVING.fullmatch(path.name))}


def finish(home: Home, leaving: Path) -> None:
    """Delete a folder of `left_over`, and note that somebody was forgotten. Raises RecordError; try again then."""
    found = _LEAVING.fullmatch(leaving.name)
    assert found
    with files.clear_errors(leaving, "delete"):
        _empty(home.clips)
        _empty(leaving)
        _note(home, found["mark"])
        leaving.rmdir()
        files.sync_folder(leaving.parent)


def naming(home: Home, person_id: str) -> tuple[Path, ...]:
    """Return the session files in other people's folders that say they are of this person, as far as can be read."""
    others = [home.root / PEOPLE / other / SESSIONS for other in home.people() if other != person_id]
    return tuple(path for folder in others for path in _listed(folder) if _is_of(path, person_id))


def _listed(sessions: Path) -> list[Path]:
    """Return the session files in a folder; none if it is not there or cannot be read."""
    try:
        return [path for path in files.list_folder(sessions) if path.name.endswith(ENDING)]
    except (files.AbsentError, files.UnreadableError):
        return []


def _is_of(path: Path, person_id: str) -> bool:
    try:
        with os.fdopen(files.open_file(path), "rb") as file:
            held = json.loads(file.readline(files.MIB))
    except (files.AbsentError, files.UnreadableError, OSError, ValueError, RecursionError):
        return False
    return isinstance(held, dict) and held.get("person") == person_id


def _refuse_running(folder: Path) -> None:
    """Raise RecordError if another process writes a file of the person, as far as their files can be opened."""
    for path in (*_listed(folder / SESSIONS), folder / "decisions.jsonl"):
        try:
            handle = files.open_file(path)
        except (files.AbsentError, files.UnreadableError):
            continue
        free = files.lock(handle)
        os.close(handle)
        if not free:
            raise RecordError("A session of theirs runs just now; end it first, then try again.")


def _empty(folder: Path) -> None:
    """Delete what lies in a folder; a link goes, what it leads to stays."""
    if not folder.is_dir():
        return
    if not folder.is_symlink():
        folder.chmod(0o700)  # what its owner shut they may delete all the same
    for path in sorted(folder.iterdir()):
        if path.is_dir() and not path.is_symlink():
            _empty(path)
            path.rmdir()
        else:
            path.unlink(missing_ok=True)


def _note(home: Home, mark: str) -> None:
    path = home.root / RECORD
    with _claimed(path) as handle:
        whole = files.read_file(path)
        whole = whole[: whole.rfind(b"\n") + 1]  # a line that was never finished is written anew
        os.ftruncate(handle, len(whole))
        if mark.encode() not in whole:
            line = json.dumps({"v": 1, "day": home.today().isoformat(), "forgotten": 1, "mark": mark})
            files.write_whole(handle, line.encode() + b"\n")


@contextmanager
def _claimed(path: Path) -> Iterator[int]:
    """Open the file, made if it is not there, for this process alone."""
    try:
        handle = files.create(path)
        files.sync_folder(path.parent)
    except FileExistsError:
        handle = files.open_file(path, adding=True)
    try:
        if not files.lock(handle):
            raise RecordError(f"Another command writes {path} just now; try again.")
        yield handle
    finally:
        os.close(handle)
