"""Take an event, return the next session and what it asks for."""

from __future__ import annotations

from coach.errors import OutOfPlaceError
from coach.session.changed import changed
from coach.session.commands import Command
from coach.session.entries import ENTER
from coach.session.events import Event, On
from coach.session.state import Session, State
from coach.session.table import Row, rows


def handle(session: Session, event: Event) -> tuple[Session, tuple[Command, ...]]:
    """Return the session after `event`, and its commands in order.

    Raises OutOfPlaceError if the state does not take the event, ValueError if the event is older than the last.
    """
    if event.at < session.at:
        raise ValueError(f"time ran backwards: {event.at} after {session.at}")
    row = _row(session, event)
    if row is None:
        raise OutOfPlaceError(f"{event.on} is out of place in {session.state}")
    acted, commands = row.act(changed(session, at=event.at), event)
    to = _target(row, acted, event)
    if to is None:
        return acted, commands
    entered, more = ENTER[to](changed(acted, state=to, prompts=0), event.at)
    return entered, (*commands, *more)


def takes(session: Session, on: On, number: int = 0) -> bool:
    """Tell whether the session's present state takes this kind of event."""
    return _row(session, Event(on, session.at, number=number)) is not None


def _row(session: Session, event: Event) -> Row | None:
    for row in rows(session.state, event.on):
        if row.when(session, event):
            return row
    return None


def _target(row: Row, acted: Session, event: Event) -> State | None:
    if row.to is None or isinstance(row.to, State):
        return row.to
    return next(state for check, state in row.to if check(acted, event))
