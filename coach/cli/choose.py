"""Choose the program: the one that is named, or the one that the person ran last."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date, timedelta
from pathlib import Path

from coach.cli.session_setup import Prepared, halts_in, planned
from coach.errors import CoachError, ProgramError
from coach.history import day_of
from coach.logbook.files import UnreadableError
from coach.logbook.logged import Brief
from coach.logbook.reading import History
from coach.logbook.store import Home, Person
from coach.program.load import USUAL_GAP
from coach.program_files import ProgramFile, find, open_file, shipped


@dataclass(frozen=True, slots=True)
class InUse:
    """A program that a person has used."""

    id: str
    digest: str
    """Digest of its file at its last session."""
    last: date
    """The day of its last session."""


def in_use(sessions: Iterable[Brief]) -> tuple[InUse, ...]:
    """Return the programs that a person has used, in the order of their last sessions."""
    found: dict[str, InUse] = {}
    for one in sessions:
        found.pop(one.program, None)
        found[one.program] = InUse(one.program, one.digest, day_of(one) or date.min)
    return tuple(found.values())


def no_session(home: Home, person: Person) -> str:
    """Return the beginning of a sentence: the person has no session, or none that can be read."""
    if home.history(person.id).unread:
        return f"{person.id} has no session that can be read (coach log {person.id} says why)"
    return f"{person.id} has no session yet"


def reopened(used: InUse, home: Home, person: Person) -> ProgramFile:
    """Return a program as the person ran it last: its kept copy, or the shipped file if its digest is the same.

    Raises CoachError if neither is there.
    """
    shut: UnreadableError | None = None
    try:
        kept = home.kept(person.id, used.id, used.digest)
    except UnreadableError as error:
        kept, shut = None, error
    if kept is not None:
        return open_file(kept, halts_in, f"{used.id}.yaml")
    if used.id in shipped():
        file = open_file(shipped()[used.id], halts_in)
        if file.program.digest == used.digest:
            return file
    raise shut or CoachError(
        f'The last session of {person.id} with "{used.id}" ran a file that is not here any more; name the file.'
    )


def chosen(name: str | None, home: Home, person: Person, history: History | None = None) -> Prepared:
    """Return the program that `name` means, planned for today; without a name, the program in use.

    `history` is the person's, if it has been read.

    A name may be a file, a program that the person uses, or a shipped one. Of several programs in use, the one run last
    is taken if today's session of it broke off and some of it is left; otherwise the only one that is due today. A
    program is skipped once it has been unused for its own gap. Raises CoachError that names the candidates.
    """
    history = history or home.history(person.id)
    known = in_use(history.briefs)
    if name is not None:
        own = next((one for one in known if one.id == name), None)
        if own is None or Path(name).is_file():
            return planned(open_file(find(name), halts_in), home, person.id, history)
        return planned(reopened(own, home, person), home, person.id, history)
    if not known:
        raise CoachError(f"{no_session(home, person)}; name a program file, or one of: {', '.join(shipped())}.")
    if len(known) == 1:
        return planned(reopened(known[0], home, person), home, person.id, history)
    return _only_due(known, home, person, history)


def _only_due(known: tuple[InUse, ...], home: Home, person: Person, history: History) -> Prepared:
    today = home.today()
    open_to: dict[str, Prepared | None] = {}
    rests: dict[str, int] = {}
    for used in known:
        try:
            prepared = planned(reopened(used, home, person), home, person.id, history)
        except (CoachError, ProgramError):  # still a candidate, but the person must name its file
            open_to[used.id], rests[used.id] = None, USUAL_GAP
        else:
            open_to[used.id], rests[used.id] = prepared, prepared.program.schedule.gap_days
    newest = open_to[known[-1].id]
    if newest is not None and newest.left is not None:
        return newest
    fresh = [one for one in known if one.last + timedelta(days=rests[one.id]) > today] or list(known)
    due = [one for one in fresh if (it := open_to[one.id]) is None or it.today.due is None or it.today.due <= today]
    only = open_to[due[0].id] if len(due) == 1 else open_to[fresh[0].id] if len(fresh) == 1 else None
    if only is not None:
        return only
    listed = ", ".join(_told(one, open_to[one.id]) for one in fresh)
    raise CoachError(
        f"{person.id} uses several programs, and none or more than one is due: {listed}; "
        f"name one: coach start {fresh[-1].id} --person {person.id}"
    )


def _told(used: InUse, prepared: Prepared | None) -> str:
    if prepared is None:
        return f"{used.id} (name its file)"
    return f"{used.id} (due {prepared.today.due})"
