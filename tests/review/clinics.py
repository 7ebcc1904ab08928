"""A small clinic whose true answers are known, for the tests of its tables, its queries and its page."""

from __future__ import annotations

from dataclasses import replace
from datetime import date, timedelta
from pathlib import Path

from coach.logbook.store import Home
from coach.program_files import read, shipped
from coach.testing.histories import SimulatedCourse, TrueHistory, write_history

TODAY = date(2027, 3, 1)

USUAL = SimulatedCourse(days=56, adherence=1.0, pain=(1, 1), halts=0.0, trouble=0.0)

COURSES = {
    "ana": ("ankle_steady", replace(USUAL, adherence=0.6, halts=0.3, trouble=0.3), 0),
    "bo": ("older_adult_balance", replace(USUAL, adherence=0.8, ladder=True, halts=0.3, trouble=0.3), 0),
    "cy": ("elbow_lowering", USUAL, 20),
    "dot": ("elbow_lowering", replace(USUAL, flare=(50, 6, 3)), 0),
    "eli": ("ankle_steady", replace(USUAL, flare=(55, 1, 6)), 0),
}
"""Program, course, and how many days before today it ended: "cy" stopped coming, the pain of "dot" rises, the last
session of "eli" ended because of pain."""


def make_clinic(root: Path) -> dict[str, TrueHistory]:
    """Write the homes of everybody, and of "fay" who has not begun; return what is true."""
    home = Home(root)
    home.add_person("ana", "Ana Example")
    home.add_person("fay")
    return {
        person: write_history(
            home,
            person,
            read(shipped()[program]),
            course,
            seed=seed,
            begins=TODAY - timedelta(days=course.days - 1 + ended),
        )
        for seed, (person, (program, course, ended)) in enumerate(COURSES.items())
    }
