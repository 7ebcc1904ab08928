"""Word what needs the clinician's decision, apart from the steps up and the lasting trouble of single exercises."""

from __future__ import annotations

from collections.abc import Iterator

from coach.review.blocks import Wording
from coach.review.figures import Review
from coach.review.hold_words import hold_words
from coach.review.urgency import Need, WhyLook
from coach.session.progression import Lasting

ELSEWHERE = (Need.STEP_UP, Need.LASTING, Need.HOLD, Need.NOT_BEGUN)
"""Said for each exercise, or for the hold, in sentences of its own; of whoever has not begun there is no review."""


def asks(review: Review, labels: Wording, *, at_home: bool = False) -> Iterator[str]:
    """Yield what the clinician must decide, a sentence each, the gravest first; `at_home`: without commands."""
    yield from hold_words(review.holds, labels, "" if at_home else review.person)
    yield from (f"{_need(one, labels)}: {why(one, labels)}" for one in review.reasons if one.need not in ELSEWHERE)
    yield from (_lasting(review, one, labels) for one in review.lasting)
    left_out = {one.file for one in review.left_out if not one.counted}
    if left_out:
        yield labels("ask_left_out", n=len(left_out))
    yield from (labels("ask_gone", name=wrong.name) for wrong in review.wrong if wrong.key == "wrong_gone")


def _need(one: WhyLook, labels: Wording) -> str:
    return labels(f"clinic_need_{one.need.name.lower()}")


def why(one: WhyLook, labels: Wording) -> str:
    """Return the figures of a reason in words, the same for a person's review and the clinic's page."""
    values = {name: labels.word("end", str(value)) if name == "why" else value for name, value in one.values}
    worse = "; ".join(labels(f"worse_{measure}", then=then, now=now) for measure, then, now in one.worse)
    return labels(f"clinic_why_{one.need.name.lower()}", **values, worse=worse)


def _lasting(review: Review, one: Lasting, labels: Wording) -> str:
    """Return in words the trouble with an exercise that lasts."""
    return labels(
        f"ask_lasting_{one.cause}",
        name=review.name_of(one.exercise),
        days=one.days,
        since=one.since.isoformat(),
        n=one.sessions,
        to=one.to,
        pain="-" if one.pain is None else one.pain,
    )
