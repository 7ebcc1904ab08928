"""When a harder level is proposed to the clinician: each clause of the program with its evidence."""

from __future__ import annotations

from dataclasses import dataclass

from coach.session.past import Clause


@dataclass(frozen=True, slots=True)
class Proposal:
    """A step up that the program provides for; the clinician decides."""

    exercise: str
    """Its id."""
    from_level: str
    """Id of the level that is reached."""
    to_level: str
    """Id of the next harder one."""
    clauses: tuple[Clause, ...]
    """All that the program asks for, met or not."""

    @property
    def due(self) -> bool:
        """Whether all clauses are met, so that it waits for the clinician."""
        return bool(self.clauses) and all(clause.met for clause in self.clauses)
