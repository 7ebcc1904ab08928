"""What came before today: earlier sessions of a program, and what the clinician decided since."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date
from enum import StrEnum


@dataclass(frozen=True, slots=True)
class PastExercise:
    """What an earlier session did of one exercise."""

    exercise: str
    level: str
    """Level at the end of that session, without any easing for that day alone."""
    target: int
    """Planned reps, rounds or seconds of a set."""
    sets_planned: int
    sets_in_full: int
    """Sets that ran to their end."""
    pain: int | None
    """Highest pain stated, 0-10; a band counts as its highest; None if nobody answered."""
    effort: int | None
    """Highest effort stated, 0-10; None if nobody answered."""
    unsteady: bool
    eased: bool = False
    """It was made easier during the session."""
    pain_unanswered: bool = False
    """At least one question about pain has no answer, or an answer is in doubt."""
    least: int | None = None
    """Fewest reps, rounds or seconds per side in any set: counted or stated, whichever is less; None: not known."""


@dataclass(frozen=True, slots=True)
class PastSession:
    """What an earlier session of this program did."""

    day: date
    why: str
    """Why it ended: "done", "pain", ... as in the logbook."""
    exercises: tuple[PastExercise, ...]
    """Empty: no work began."""
    began: str = ""
    """UTC, ISO 8601; empty: only the day is known."""
    next_day_worse: bool | None = None
    """Its answer about the morning after the session before; None: not asked or not answered."""
    digest: str = ""
    """SHA-256 of its program file, in hex; empty: not known."""
    session: str = ""
    """Its id; empty: not known."""
    next_in_days: int | None = None
    """Days to the next session, as said at its end; None: nothing was said."""
    gave_way: bool = False
    """Unsteadiness was told in it, in an exercise or outside of any."""
    unread: bool = False
    """Its file cannot be read: it may belong to any program, and nothing in it leads to more work."""

    @property
    def may_have_worked(self) -> bool:
        """Whether work began in it, or may have."""
        return bool(self.exercises) or self.unread


@dataclass(frozen=True, slots=True)
class Goal:
    """Something that the person wants to do again, in their own words."""

    id: str
    """It names the goal in the records."""
    text: str


@dataclass(frozen=True, slots=True)
class Rating:
    """How near a goal was on a day."""

    goal: str
    """Its id."""
    day: date
    value: int
    """0 far off, 10 reached."""


class Verdict(StrEnum):
    """What the clinician decides about an exercise: its level, or whether it is part of the sessions."""

    UP = "up"
    STAY = "stay"
    DOWN = "down"
    ADMIT = "admit"
    """It is part of the sessions."""
    PAUSE = "pause"
    """It is left out until a day, or until it is admitted."""
    WITHDRAW = "withdraw"
    """It is left out until it is admitted."""

    @property
    def of_membership(self) -> bool:
        """Whether it says if the exercise is part of the sessions, not at which level."""
        return self in (Verdict.ADMIT, Verdict.PAUSE, Verdict.WITHDRAW)


@dataclass(frozen=True, slots=True)
class Decision:
    """What the clinician decided about one exercise."""

    program: str
    """Id of the program."""
    exercise: str
    verdict: Verdict
    from_level: str
    """Id of the level reached before it."""
    to_level: str
    """Id of the level from then on; equals `from_level` for "stay"."""
    by: str
    """Who decided."""
    note: str
    at: str
    """When it was recorded: UTC, ISO 8601."""
    day: date
    """The day of `at` in local time."""
    digest: str = ""
    """SHA-256 of the program file at that time, in hex."""
    until: date | None = None
    """"pause": the day on which it is part of the sessions again; None: when it is admitted."""


@dataclass(frozen=True, slots=True)
class Clear:
    """The clinician has cleared the person to go on."""

    sessions: tuple[str, ...]
    """Ids of the sessions whose safety signs were known then: it clears no others."""
    by: str
    """Who cleared it."""
    note: str
    at: str
    """When it was recorded: UTC, ISO 8601."""
    day: date
    """The day of `at`, where it was recorded."""


STRICT = (Verdict.UP, Verdict.STAY, Verdict.DOWN, Verdict.ADMIT, Verdict.PAUSE, Verdict.WITHDRAW)
"""Of two decisions of one moment the one that stands later here counts."""


def effective(
    decisions: tuple[Decision, ...], program: str, exercise: str, *, membership: bool
) -> tuple[Decision, ...]:
    """Return the decisions about an exercise's level or `membership`, oldest first, only the last of each day."""
    ours = [
        one
        for one in decisions
        if (one.program, one.exercise) == (program, exercise) and one.verdict.of_membership is membership
    ]
    ours.sort(key=lambda one: (one.at, STRICT.index(one.verdict), repr(one)))
    return tuple({one.day: one for one in ours}.values())


@dataclass(frozen=True, slots=True)
class Version:
    """A version of a program file that a person began to use."""

    program: str
    """Id of the program."""
    digest: str
    """SHA-256 of the file, in hex."""
    before: str
    """SHA-256 of the version before; empty: this is the first."""
    written_by: str
    """Name and role, as the file says; may be empty."""
    written_on: str
    """The date in the file, ISO 8601; empty: it has none."""
    at: str
    """When the first session with it began: UTC, ISO 8601."""
    day: date
    """The day of `at` in local time."""


@dataclass(frozen=True, slots=True)
class Clause:
    """One condition or reason of the program, compared with what happened."""

    key: str
    """Key of its wording in voices/LANGUAGE/screens.yaml."""
    values: tuple[tuple[str, str | int], ...] = ()
    """Name and value for each {name} in the wording."""
    met: bool = True
    """False: its condition is not met, or not known to be."""


def clause(key: str, *, met: bool = True, **values: str | int) -> Clause:
    """Return the clause of `key` with `values`."""
    return Clause(key, tuple(sorted(values.items())), met)
