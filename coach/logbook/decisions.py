"""Read what the clinician decided about a person, and which program versions the person used, from their file."""

from __future__ import annotations

from datetime import datetime

from coach.logbook.fields import UnfitField, fact
from coach.logbook.lines import Reading
from coach.loglines.changes import Decided, ProgramVersion
from coach.session.past import Decision, Verdict, Version


def local_moment(t: str) -> datetime | None:
    """Return the time of a line as local time; None if it is not a valid time."""
    try:
        return datetime.fromisoformat(t).astimezone()
    except (ValueError, OverflowError, OSError):
        return None


def decided(reading: Reading) -> tuple[tuple[Decision, ...], tuple[Version, ...]]:
    """Return the decisions and the program versions in the order of the file.

    A step up in a line with a problem (a wrong checksum, lines missing before it) is ignored: only what is certain
    makes the work harder.
    """
    decisions: list[Decision] = []
    versions: list[Version] = []
    for index, line in enumerate(reading.lines):
        moment = local_moment(line.t)
        try:
            it = fact(line.kind, line.fields)
        except UnfitField:
            continue
        if moment is None:
            continue
        if isinstance(it, Decided) and not (it.verdict == "up" and index in reading.suspect):
            decisions.append(
                Decision(
                    it.program, it.exercise, Verdict(it.verdict), it.from_level, it.to_level, it.by, it.note, line.t,
                    moment.date(), it.digest,
                )
            )  # fmt: skip
        elif isinstance(it, ProgramVersion):
            versions.append(
                Version(it.program, it.digest, it.before, it.written_by, it.written_on, line.t, moment.date())
            )
    return tuple(decisions), tuple(versions)
