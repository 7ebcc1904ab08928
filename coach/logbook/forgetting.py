"""Forget a person: delete everything about them, and note only that it happened.

It may be killed at any point. It first renames the folder, in one step. The next forgetting finishes what is left and
notes each person once.
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
"""The file in a home with one line per forgotten person: the day and a random mark, nothing about them."""

_LEAVING = re.compile(r"\.forgetting-(?P<id>.+)-(?P<mark>[0-9a-f]{16})")
"""The name of a folder that is being deleted; `Home.people` does not list it."""


def forget(home: Home, person_id: str) -> None:
    """Delete everything about a person, and all rendered clips.

    All clips go, since nothing tells which of them speak this person's programs; they are rendered again when needed.
    Raises RecordError and deletes nothing while a session of theirs runs. Raises RecordError if the disk refuses; the
    next forgetting then finishes.
    """
    person = home.person(person_id)
    refuse_link(person.folder)
    _refuse_running(person.folder)
    leaving = person.folder.with_name(f".forgetting-{person_id}-{secrets.token_hex(8)}")
    with files.clear_errors(person.folder, "delete"):
        person.folder.rename(leaving)
        try:
            _refuse_running(leaving)  # a session may just have begun
        except RecordError:
            leaving.rename(person.folder)
            raise
        files.sync_folder(leaving.parent)
    finish(home, leaving)


def left_over(home: Home) -> dict[Path, str]:
    """Return the folders that unfinished forgettings have left, each with the person's id."""
    people = home.root / "people"
    try:
        names = files.list_folder(people)
    except files.AbsentError:
        names = []
    return {path: found["id"] for path in names if (found := _LEAVING.fullmatch(path.name))}


def finish(home: Home, leaving: Path) -> None:
    """Delete a folder of `left_over` and note that somebody was forgotten. Raises RecordError; then try again."""
    found = _LEAVING.fullmatch(leaving.name)
    assert found
    with files.clear_errors(leaving, "delete"):
        _empty(home.clips)
        _empty(leaving)
        _note(home, found["mark"])
        leaving.rmdir()
        files.sync_folder(leaving.parent)


def naming(home: Home, person_id: str) -> tuple[Path, ...]:
    """Return the readable session files in other people's folders that name this person."""
    others = [home.root / PEOPLE / other / SESSIONS for other in home.people() if other != person_id]
    return tuple(path for folder in others for path in _listed(folder) if _is_of(path, person_id))


def _listed(sessions: Path) -> list[Path]:
    """Return the session files in a folder; none if it is absent or unreadable."""
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
    """Raise RecordError if another process holds a file of the person; skip files that cannot be opened."""
    for path in (*_listed(folder / SESSIONS), folder / "decisions.jsonl"):
        try:
            handle = files.open_file(path)
        except (files.AbsentError, files.UnreadableError):
            continue
        free = files.lock(handle)
        os.close(handle)
        if not free:
            raise RecordError("A session of theirs is running; end it first, then try again.")


def _empty(folder: Path) -> None:
    """Delete everything in a folder; of a link only the link, not its target."""
    if not folder.is_dir():
        return
    if not folder.is_symlink():
        folder.chmod(0o700)  # its owner may have taken their own rights away
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
        whole = whole[: whole.rfind(b"\n") + 1]  # drop an unfinished line
        os.ftruncate(handle, len(whole))
        if mark.encode() not in whole:
            line = json.dumps({"v": 1, "day": home.today().isoformat(), "forgotten": 1, "mark": mark})
            files.write_whole(handle, line.encode() + b"\n")


@contextmanager
def _claimed(path: Path) -> Iterator[int]:
    """Create or open the file and lock it for this process."""
    try:
        handle = files.create(path)
        files.sync_folder(path.parent)
    except FileExistsError:
        handle = files.open_file(path, adding=True)
    try:
        if not files.lock(handle):
            raise RecordError(f"Another command is writing {path}; try again.")
        yield handle
    finally:
        os.close(handle)
