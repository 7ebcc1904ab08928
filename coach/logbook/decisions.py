"""Read what the clinician decided about a person, what put them on hold, and which program versions they used."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, datetime

from coach.logbook.fields import UnfitField, fact
from coach.logbook.lines import Reading
from coach.loglines.changes import Decided, ProgramVersion
from coach.loglines.goals import GoalDropped, GoalSet
from coach.loglines.safety import Cleared, PlacedOnHold
from coach.session.past import Clear, Decision, Goal, Verdict, Version
from coach.session.safety_holds import SafetyHold


def local_moment(t: str) -> datetime | None:
    """Return the time of a line as local time; None if it is not a valid time."""
    try:
        return datetime.fromisoformat(t).astimezone()
    except (ValueError, OverflowError, OSError):
        return None


def _day(text: str) -> date | None:
    """Return the day; None if there is none, or it cannot be read: then a pause goes on until somebody decides."""
    try:
        return date.fromisoformat(text) if text else None
    except ValueError:
        return None


@dataclass(frozen=True, slots=True)
class DecisionLines:
    """What the lines of a person's file of decisions say, in their order."""

    decisions: tuple[Decision, ...] = ()
    versions: tuple[Version, ...] = ()
    """The program versions that the person began to use."""
    clears: tuple[Clear, ...] = ()
    holds: tuple[SafetyHold, ...] = ()
    """Every hold, whether cleared since or not."""
    goals: tuple[Goal, ...] = ()
    """What the person wants to do again, without what was dropped."""
    goals_ever: int = 0
    """How many goals were ever set."""

    @property
    def cleared(self) -> frozenset[str]:
        """The ids of the sessions named by clears."""
        return frozenset(session for one in self.clears for session in one.sessions)


def decided(reading: Reading) -> DecisionLines:
    """Return what the lines say.

    In a line with a problem (a wrong checksum, lines missing before it), what adds work is ignored: a step up, an
    exercise that is admitted, the end of a pause, a clear. Only what is certain makes the work harder, or lets it
    begin. A hold counts in any line.
    """
    decisions: list[Decision] = []
    versions: list[Version] = []
    clears: list[Clear] = []
    holds: list[SafetyHold] = []
    goals: dict[str, Goal] = {}
    ever: set[str] = set()
    for index, line in enumerate(reading.lines):
        moment = local_moment(line.t)
        try:
            it = fact(line.kind, line.fields)
        except UnfitField:
            continue
        if isinstance(it, PlacedOnHold):
            began = local_moment(it.began)
            holds.append(SafetyHold(it.session, it.began, began.date() if began else None, it.program, it.sign))
        elif isinstance(it, GoalSet):
            goals[it.goal] = Goal(it.goal, it.text)
            ever.add(it.goal)
        elif isinstance(it, GoalDropped):
            goals.pop(it.goal, None)
        elif moment is None:
            continue
        elif isinstance(it, Decided) and not (index in reading.suspect and it.verdict in ("up", "admit")):
            decisions.append(
                Decision(
                    it.program, it.exercise, Verdict(it.verdict), it.from_level, it.to_level, it.by, it.note, line.t,
                    moment.date(), it.digest, None if index in reading.suspect else _day(it.until),
                )
            )  # fmt: skip
        elif isinstance(it, Cleared) and index not in reading.suspect:
            clears.append(Clear(it.sessions, it.by, it.note, line.t, moment.date()))
        elif isinstance(it, ProgramVersion):
            versions.append(
                Version(it.program, it.digest, it.before, it.written_by, it.written_on, line.t, moment.date())
            )
    return DecisionLines(
        tuple(decisions), tuple(versions), tuple(clears), tuple(holds), tuple(goals.values()), len(ever)
    )
