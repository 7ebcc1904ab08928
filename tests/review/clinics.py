"""A small clinic whose true answers are known, for the tests of its tables, its queries and its page."""

from __future__ import annotations

from dataclasses import replace
from datetime import date, timedelta
from pathlib import Path
from random import Random

from coach.history import signed
from coach.logbook.store import Home
from coach.loglines.safety import Cleared
from coach.program_files import read, shipped
from coach.testing.histories import SimulatedCourse, TrueHistory, random_course, write_history

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


def random_clinic(root: Path, people: int, chance: Random, today: date) -> None:
    """Write a home with so many people of any kind; some of the holds are cleared."""
    home = Home(root)
    home.add_person("nobody-yet")
    programs = [(read(path), path.read_bytes()) for path in shipped().values()]
    for number in range(people):
        person = f"p{number:04}"
        days = chance.choice((1, 10, 30, 45))
        ended = chance.choice((0, 0, 0, 1, 5, 20))
        for program, source in chance.sample(programs, chance.choice((1, 1, 1, 2))):
            write_history(
                home, person, program, random_course(chance, days), seed=chance.randrange(10**6), source=source,
                begins=today - timedelta(days=days - 1 + ended),
            )  # fmt: skip
        told = signed(home.history(person).briefs)
        if told and chance.random() < 0.5:
            home.decide(person, Cleared(told[: chance.randint(1, len(told))], "Kim Rivers"))
