"""Find and keep that a person is on hold, refuse to begin, and record that the clinician has cleared it."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import suppress

from coach.cli.labels import Labels, shown
from coach.errors import CoachError, OnHoldError
from coach.history import holds_of, signed
from coach.logbook.logged import brief_of
from coach.logbook.reading import History
from coach.logbook.session_record import SessionRecord
from coach.logbook.store import Home
from coach.loglines.safety import Cleared
from coach.review.hold_words import hold_why, hold_words
from coach.session.safety_holds import SafetyHold


def holds_now(home: Home, person: str, history: History | None = None) -> tuple[SafetyHold, ...]:
    """Return why nothing may begin for a person today, from all their records; `history` is theirs, if just read."""
    return holds_of((history or home.history(person)).briefs, home.decisions(person), home.today())


def keep_holds(home: Home, person: str, ran: SessionRecord | None = None) -> None:
    """Keep each hold among the decisions too: an unreadable session file must not lift it.

    `ran`: the session that has just run; its file may be missing on a refusing disk. What the disk refuses here is
    tried again at the next start.
    """
    with suppress(CoachError):
        decided = home.decisions(person)
        there = {hold.key for hold in decided.holds}
        just_now = () if ran is None else (brief_of(ran),)
        before = [one for one in home.history(person).briefs if ran is None or one.session != ran.session]
        for hold in holds_of([*before, *just_now], decided, home.today()):
            if hold.key not in there:
                home.decide(person, hold.line)


def refuse_on_hold(home: Home, person: str, labels: Labels, history: History | None = None) -> None:
    """Raise OnHoldError, which says why, what to do and whom to call, if nothing may begin for a person."""
    holds = holds_now(home, person, history)
    if not holds:
        return
    keep_holds(home, person)
    raise OnHoldError(f"{person}: {' '.join(hold_words(holds, labels))}")


def clear(home: Home, person: str, by: str, note: str, labels: Labels) -> Iterator[str]:
    """Record that the clinician has cleared a person, and yield what that means; without a hold write nothing."""
    with home.one_session():  # nobody has seen yet what a running session may tell
        history = home.history(person)
        holds = [one for one in holds_now(home, person) if one.until_cleared]
        if not holds:
            yield labels("decide_clear_none", person=person)
            return
        sessions = dict.fromkeys((*(one.session for one in holds), *signed(history.briefs)))
        before = home.decisions(person).cleared
        home.decide(person, Cleared(tuple(one for one in sessions if one not in before), by, note))
        yield from dict.fromkeys(shown(hold_why(hold, labels)) for hold in holds)
        yield labels("decide_clear", person=person, by=by)
        if home.today() in {one.day for one in holds_now(home, person)}:
            yield labels("hold_head_today")
