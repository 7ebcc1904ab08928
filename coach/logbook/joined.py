"""Join the parts of a session that broke off and was taken up into one session."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import replace
from functools import reduce

from coach.logbook.logged import LoggedSession, logged
from coach.logbook.session_record import EarRecord, SessionRecord


def joined(sessions: Iterable[LoggedSession | SessionRecord]) -> tuple[LoggedSession, ...]:
    """Return the sessions in order of their beginnings, each joined with those that took it up.

    A session that continues one which is missing or of another program stays on its own.
    """
    found: dict[str, list[LoggedSession]] = {}
    for one in sorted(map(logged, sessions), key=lambda one: (one.brief.began, one.brief.session)):
        before = found.get(one.brief.continues)
        if before is not None and before[0].brief.program == one.brief.program:
            before.append(one)
        else:
            found[one.brief.session] = [one]
    return tuple(
        logged(reduce(_with, (part.record for part in parts))) if len(parts) > 1 else parts[0]
        for parts in found.values()
    )


def _with(first: SessionRecord, then: SessionRecord) -> SessionRecord:
    """Return one record of both: the numbers of sets and the samples of `then` continue those of `first`."""
    sets = max((one.set_id for one in first.sets), default=0)
    at = round(first.seconds * first.rate)

    def set_id(number: int) -> int:
        return number + sets if number else 0

    return replace(
        first,
        ended=then.ended,
        seconds=first.seconds + then.seconds,
        sound_check=then.sound_check or first.sound_check,
        sets=(
            *first.sets,
            *(
                replace(
                    one,
                    set_id=set_id(one.set_id),
                    began_at=None if one.began_at is None else one.began_at + at,
                    ended_at=None if one.ended_at is None else one.ended_at + at,
                )
                for one in then.sets
            ),
        ),
        halts=(*first.halts, *(replace(one, at=one.at + at, set_id=set_id(one.set_id)) for one in then.halts)),
        steps=(*first.steps, *(replace(one, at=one.at + at) for one in then.steps)),
        questions=(
            *first.questions,
            *(replace(one, at=one.at + at, set_id=set_id(one.set_id)) for one in then.questions),
        ),
        exercise_ends=(*first.exercise_ends, *then.exercise_ends),
        heard=_heard(first, then),
        devices=(*first.devices, *((sample + at, what) for sample, what in then.devices)),
        told=(*first.told, *then.told),
        notes=(*first.notes, *then.notes),
        holds=first.holds + then.holds,
        pauses=first.pauses + then.pauses,
        why=then.why,
        next_in_days=then.next_in_days,
        because=then.because,
        doubtful=first.doubtful or then.doubtful,
        denied=first.denied + then.denied,
        ladder=first.ladder or then.ladder,
        signs=(*first.signs, *then.signs),
        parts=first.parts + then.parts,
    )


def _heard(first: SessionRecord, then: SessionRecord) -> tuple[EarRecord, ...]:
    """Add up each ear's words of both."""
    sums: dict[str, EarRecord] = {}
    for one in (*first.heard, *then.heard):
        was = sums.get(one.ear, EarRecord(one.ear, 0, 0))
        sums[one.ear] = EarRecord(one.ear, was.heard + one.heard, was.used + one.used, was.unclear + one.unclear)
    return tuple(sums[ear] for ear in sorted(sums))
