"""Put a person's status into words, for the clinic's page and the terminal."""

from __future__ import annotations

from dataclasses import dataclass

from coach.review.asks import why
from coach.review.blocks import Wording
from coach.review.clinic import ClinicReview, Standing
from coach.review.hold_words import hold_words
from coach.review.logbooks import EPOCH
from coach.review.urgency import (
    FORTNIGHT,
    LEAST_DUE,
    MORNINGS,
    PAIN_CREEP,
    PAIN_RISE,
    PAINS_TOLD,
    SHARE_LESS,
    STOPPED_AFTER,
    Need,
    WhyLook,
)


@dataclass(frozen=True, slots=True)
class Said:
    """One person's row."""

    person: str
    needs: tuple[tuple[str, str], ...]
    """Each need and its reason."""
    last: str
    done: str
    in_full: str
    tension: str
    pain: str
    halts: str


def said(one: Standing, review: ClinicReview, labels: Wording) -> Said:
    """Return a person's row in words; a dash means unknown."""
    return Said(
        person=f"{one.person} ({one.name})" if one.name else one.person,
        needs=tuple((_need(each.need, labels), _why(each, one, labels)) for each in one.reasons),
        last=_days_ago(one, review, labels),
        done=_of(one.recent_done, one.recent_due),
        in_full=_of(one.recent_sets_in_full, one.recent_sets_planned),
        tension=_share(one.recent_tension_s, one.recent_tension_planned_s),
        pain=_pain(one, labels),
        halts=str(one.recent_halts),
    )


def summary(review: ClinicReview, labels: Wording) -> str:
    """Return how many people need a look, and why."""
    counts = [(_need(need, labels), len(review.of(need))) for need in Need]
    told = ", ".join(labels("clinic_counts", label=label, n=n) for label, n in counts if n)
    return labels(
        "clinic_summary",
        people=len(review.people),
        sessions=review.sessions,
        sets=review.sets,
        needs=told or labels("clinic_nobody").rstrip("."),
    )


def how_counted(labels: Wording, *, proven: bool) -> tuple[str, ...]:
    """Return the sentences that explain the page's terms."""
    return (
        labels("clinic_how_safety", days=FORTNIGHT),
        labels("clinic_how_worsening", points=f"{PAIN_CREEP:g}", n=MORNINGS, share=f"{SHARE_LESS:.0%}"),
        labels("clinic_how_pain", points=f"{PAIN_RISE:g}", least=PAINS_TOLD),
        labels("clinic_how_mornings", n=MORNINGS, days=FORTNIGHT),
        labels("clinic_how_stopped", n=STOPPED_AFTER),
        labels("clinic_how_seldom", n=LEAST_DUE),
        labels("clinic_how_recent"),
        *((labels("clinic_how_steps"), labels("clinic_how_seals")) if proven else (labels("clinic_how_columns"),)),
    )


def _need(need: Need, labels: Wording) -> str:
    return labels(f"clinic_need_{need.name.lower()}")


def _why(reason: WhyLook, one: Standing, labels: Wording) -> str:
    """Return the figures of a reason; of a hold what was told, and the command that clears it."""
    if reason.need is not Need.HOLD:
        return why(reason, labels)
    _, *told = hold_words(one.holds, labels, one.person.rpartition("/")[2])
    return " ".join(told)


def _days_ago(one: Standing, review: ClinicReview, labels: Wording) -> str:
    if one.last_day is None:
        return "-"
    days = review.today.toordinal() - EPOCH - one.last_day
    return labels(("clinic_today", "clinic_yesterday")[days]) if days < 2 else labels("clinic_days_ago", n=days)


def _pain(one: Standing, labels: Wording) -> str:
    if one.pain_now is None:
        return labels("clinic_pain_none_told") if one.sessions else "-"
    pain = labels("clinic_pain_up_to", pain=_one(one.pain_now)) if one.pain_banded else _one(one.pain_now)
    return labels("clinic_pain_of_one", pain=pain) if one.pain_now_of == 1 else pain


def _one(number: float | None) -> str:
    return "-" if number is None else f"{number:.1f}"


def _of(done: int | None, due: int | None) -> str:
    return "-" if done is None or due is None else f"{done}/{due}"


def _share(done: float | None, planned: float | None) -> str:
    return f"{done / planned:.0%}" if done is not None and planned else "-"
