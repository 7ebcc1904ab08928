"""Say and keep that a person is on hold, refuse to begin, and record that the clinician has cleared it."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import suppress

from coach.cli.labels import Labels, shown
from coach.errors import OnHoldError, RecordError
from coach.history import holds_of, signed
from coach.logbook.store import Home
from coach.loglines.safety import Cleared
from coach.session.safety_holds import SafetyHold


def holds_now(home: Home, person: str) -> tuple[SafetyHold, ...]:
    """Return why nothing may begin for a person today, from all that is kept of them."""
    return holds_of(home.history(person).briefs, home.decisions(person), home.today())


def keep_holds(home: Home, person: str) -> None:
    """Keep each hold beside the decisions too: a session's file that cannot be read later does not lift it.

    What the disk refuses is tried again at the next start.
    """
    there = {hold.key for hold in home.decisions(person).holds}
    with suppress(RecordError):
        for hold in holds_now(home, person):
            if hold.key not in there:
                home.decide(person, hold.line)


def refuse_on_hold(home: Home, person: str, labels: Labels) -> None:
    """Raise OnHoldError, which says why, what to do and whom to call, if nothing may begin for a person."""
    holds = holds_now(home, person)
    if not holds:
        return
    keep_holds(home, person)
    raise OnHoldError(f"{person}: {' '.join(hold_words(holds, labels))}")


def hold_words(holds: tuple[SafetyHold, ...], labels: Labels, person: str = "") -> Iterator[str]:
    """Yield in sentences that nothing begins, why, what to do and whom to call; nothing without a hold.

    `person`: for the clinician, also the command that clears it.
    """
    if not holds:
        return
    waits = holds[0].until_cleared
    yield labels("hold_head" if waits else "hold_head_today")
    yield from dict.fromkeys(_why(hold, labels) for hold in holds)
    calls = [shown(hold.sign.call) for hold in holds if hold.sign.call.strip()]
    yield calls[-1] if calls else labels("hold_call")
    if waits and person:
        yield labels("hold_clear", command=f"coach decide {person} clear --by NAME")


def _why(hold: SafetyHold, labels: Labels) -> str:
    sign, day = hold.sign, hold.day or labels("hold_day_unknown")
    if sign.why == "screen":
        asked = shown(sign.asked) or labels("hold_next_day")
        return labels("hold_screen", day=day, asked=asked, answer=labels("yes" if sign.answer else "no"))
    key = f"hold_{sign.why}" if sign.times > 1 else f"hold_{sign.why}_once"
    return labels(key, day=day, times=sign.times, days=sign.days)


def clear(home: Home, person: str, by: str, note: str, labels: Labels) -> Iterator[str]:
    """Record that the clinician has cleared a person, and yield what that means; without a hold nothing is written."""
    with home.one_session():  # what a session that runs just now may still tell has been seen by nobody
        history = home.history(person)
        holds = [one for one in holds_now(home, person) if one.until_cleared]
        if not holds:
            yield labels("decide_clear_none", person=person)
            return
        sessions = dict.fromkeys((*(one.session for one in holds), *signed(history.briefs)))
        before = home.decisions(person).cleared
        home.decide(person, Cleared(tuple(one for one in sessions if one not in before), by, note))
        yield from dict.fromkeys(_why(hold, labels) for hold in holds)
        yield labels("decide_clear", person=person, by=by)
        if home.today() in {one.day for one in holds_now(home, person)}:
            yield labels("hold_head_today")
