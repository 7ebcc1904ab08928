"""Find what needs the clinician's decision, apart from the steps up that the program proposes."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import timedelta

from coach.review.figures import Review
from coach.session.progression import Lasting

LATELY = 14
"""Days before the review within which a repeated trouble needs a decision."""

PAIN_RISE = 2.0
"""Points by which pain must rise to be reported: a change of 2 on the 0-10 scale matters (Farrar 2001)."""

STOPPED_AFTER = 3
"""Due sessions missed in a row after which a person counts as having stopped. Our own choice."""

MORNINGS = 2
"""Recent worse mornings from which on they are reported. Our own choice."""


@dataclass(frozen=True, slots=True)
class Ask:
    """One thing the clinician must decide."""

    key: str
    """Key of its wording, "ask_..."."""
    values: tuple[tuple[str, str | int], ...]


def asks(review: Review) -> tuple[Ask, ...]:
    """Return what the clinician must decide, the gravest first."""
    lately = [visit for visit in review.visits if visit.day > review.today - timedelta(days=LATELY)]
    ended = [visit for visit in lately if visit.brief.why in ("pain", "unsteady", "halts")]
    found = []
    if ended:
        found.append(Ask("ask_ended", (("n", len(ended)), ("days", LATELY), ("last", ended[-1].day.isoformat()))))
    pain = review.pain
    if pain.first and pain.last and pain.last.value - pain.first.value >= PAIN_RISE:
        values = (("before", f"{pain.first.value:.1f}"), ("now", f"{pain.last.value:.1f}"))
        found.append(Ask("ask_pain_rises", (*values, ("n", pain.last.sessions))))
    found += [_lasting(review, one) for one in review.lasting]
    worse = sum(visit.worse is True for visit in lately)
    if worse >= MORNINGS:
        found.append(Ask("ask_mornings", (("n", worse), ("days", LATELY))))
    last, missed = review.adherence.last, review.adherence.missed_since
    if last is not None and missed >= STOPPED_AFTER:
        found.append(Ask("ask_stopped", (("last", last.isoformat()), ("n", missed))))
    if review.review_on is not None and review.review_on <= review.today:
        found.append(Ask("ask_review_on", (("on", review.review_on.isoformat()),)))
    left_out = {one.file for one in review.left_out if not one.counted}
    if left_out:
        found.append(Ask("ask_left_out", (("n", len(left_out)),)))
    gone = [wrong.name for wrong in review.wrong if wrong.key == "wrong_gone"]
    return (*found, *(Ask("ask_gone", (("name", name),)) for name in gone))


def _lasting(review: Review, one: Lasting) -> Ask:
    """Return the ask for lasting trouble, with its figures."""
    figures: dict[str, str | int] = {
        "name": review.name_of(one.exercise),
        "days": one.days,
        "since": one.since.isoformat(),
        "n": one.sessions,
        "to": one.to,
        "pain": "-" if one.pain is None else one.pain,
    }
    return Ask(f"ask_lasting_{one.cause}", tuple(figures.items()))
