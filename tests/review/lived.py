"""Histories whose right answers are known, made once for all tests of the review."""

from __future__ import annotations

from dataclasses import dataclass, replace
from datetime import UTC, date, datetime, time, timedelta
from functools import cache
from pathlib import Path
from tempfile import TemporaryDirectory

from coach.logbook import SessionRecord
from coach.logbook.store import Home
from coach.program.model import Program
from coach.program_files import read, shipped
from coach.review.figures import Review
from coach.review.measures import review
from coach.session.past import Decision
from coach.testing.histories import SimulatedCourse, TrueHistory, write_history

BUSY = SimulatedCourse(days=60, adherence=0.7, pain=(4, 2), flare=(20, 8, 2), halts=0.4, trouble=0.5)
CALM = SimulatedCourse(days=30, adherence=1.0, pain=(0, 0), halts=0, trouble=0, fewer=0)

Files = tuple[tuple[str, SessionRecord], ...]


@dataclass(frozen=True)
class Lived:
    """A history, its files read back, and the evening after its last day."""

    true: TrueHistory
    files: Files
    programs: dict[str, Program]

    @property
    def now(self) -> datetime:
        return datetime.combine(self.true.until + timedelta(days=1), time(20), UTC).astimezone()

    def review(
        self,
        files: Files | None = None,
        programs: dict[str, Program] | None = None,
        since: date | None = None,
        decisions: tuple[Decision, ...] = (),
    ) -> Review:
        return review(
            self.true.person,
            self.files if files is None else files,
            programs=self.programs if programs is None else programs,
            now=self.now,
            since=since,
            decisions=decisions,
        )


@cache
def lived(
    program: str, course: SimulatedCourse = BUSY, seed: int = 1, person: str = "ada", *, kept: bool = True
) -> Lived:
    known = read(shipped()[program])
    with TemporaryDirectory() as folder:
        home = Home(Path(folder))
        true = write_history(home, person, known, course, seed=seed)
        history = home.history(person, sound=True)
    assert history.problems == ()
    names = [path.name for path in history.paths]
    files = tuple(zip(names, history.records, strict=True))
    return Lived(true, files, {known.digest: known} if kept else {})


def ladder(course: SimulatedCourse) -> SimulatedCourse:
    return replace(course, ladder=True)
