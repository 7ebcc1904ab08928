"""Say in sentences that nothing begins for a person, why, what to do, and whom to call."""

from __future__ import annotations

from collections.abc import Iterator

from coach.review.blocks import Wording
from coach.session.safety_holds import SafetyHold


def hold_words(holds: tuple[SafetyHold, ...], labels: Wording, person: str = "") -> Iterator[str]:
    """Yield the sentences: nothing begins, why, what to do and whom to call. Yield nothing without a hold.

    `person`: add the command that clears it, for the clinician.
    """
    if not holds:
        return
    waits = holds[0].until_cleared
    yield labels("hold_head" if waits else "hold_head_today")
    yield from dict.fromkeys(hold_why(hold, labels) for hold in holds)
    calls = [hold.sign.call for hold in holds if hold.sign.call.strip()]
    yield calls[-1] if calls else labels("hold_call")
    if waits and person:
        yield labels("hold_clear", command=f"coach decide {person} clear --by NAME")


def hold_why(hold: SafetyHold, labels: Wording) -> str:
    """Return the sentence that says what was told, in the words of the question, and on which day."""
    sign, day = hold.sign, hold.day or labels("hold_day_unknown")
    if sign.why == "screen":
        asked = sign.asked or labels("hold_next_day")
        return labels("hold_screen", day=day, asked=asked, answer=labels("yes" if sign.answer else "no"))
    key = f"hold_{sign.why}" if sign.times > 1 else f"hold_{sign.why}_once"
    return labels(key, day=day, times=sign.times, days=sign.days)
