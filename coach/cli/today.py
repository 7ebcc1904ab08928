"""`coach today`: what today's session would be and why, when the next is due, and what waits for the clinician."""

from __future__ import annotations

import argparse
from collections.abc import Iterable

from rich.console import Console

from coach.cli.choose import chosen
from coach.cli.labels import Labels, shown
from coach.cli.on_hold import holds_now
from coach.cli.reading import home_of
from coach.cli.session_setup import Prepared, told_broken
from coach.history import undated
from coach.logbook.reading import History
from coach.logbook.store import Decisions
from coach.review.hold_words import hold_words
from coach.session.past import Verdict
from coach.session.plan import PlannedExercise, dose
from coach.session.proposals import Proposal, proposals


def add(parser: argparse.ArgumentParser) -> None:
    """Declare the arguments."""
    parser.add_argument("person", metavar="PERSON", help="whose session it would be")
    parser.add_argument(
        "file",
        nargs="?",
        metavar="FILE",
        help="program file, or the id of one in use or shipped (default: that in use)",
    )


def run(args: argparse.Namespace) -> int:
    """Print the plan of today; nothing is written."""
    home = home_of(args.home)
    person = home.person(args.person)
    prepared = chosen(args.file, home, person)
    labels = Labels(prepared.pack.screens)
    console = Console(highlight=False, markup=False)
    history, decided = prepared.history, home.decisions(person.id)
    waiting = proposals(prepared.program, prepared.past, decided.decisions, home.today())
    for line in hold_words(holds_now(home, person.id, history), labels, person.id):
        console.print(shown(line), soft_wrap=True, markup=False)
    for line in page(prepared, waiting, person.id, labels, str(home.today())):
        console.print(line, soft_wrap=True, markup=False)
    for problem in problems(history, decided, labels):
        console.print(f"! {problem}", soft_wrap=True, markup=False)
    return 0


def page(prepared: Prepared, waiting: Iterable[Proposal], person: str, labels: Labels, day: str) -> Iterable[str]:
    """Yield the lines of the plan, from today's work down to what waits for the clinician."""
    today = prepared.today
    yield labels("today_title", title=shown(today.program.title), program=today.program.id, person=person, day=day)
    yield labels("today_first") if today.due is None else labels("today_due", due=today.due)
    if prepared.broken is not None:
        yield told_broken(prepared, labels)
    for because in today.because:
        yield f"  {labels.clause(because)}"
    for planned in today.exercises:
        yield exercise_line(planned, labels, level_id(planned))
        yield from (f"  {labels.clause(because)}" for because in planned.because)
    for proposal in sorted(waiting, key=lambda one: not one.due):
        yield from _proposal(proposal, person, labels)


def level_id(planned: PlannedExercise) -> str:
    """Return the id of today's level."""
    return planned.exercise.levels[planned.level].id


def exercise_line(planned: PlannedExercise, labels: Labels, level: str) -> str:
    """Return today's dose of an exercise on one line; `level` is the name of its level on the screen."""
    its_dose = dose(planned.exercise, planned.level)
    return labels(
        "today_exercise",
        name=shown(planned.exercise.name),
        level=level,
        sets=its_dose.sets,
        n=planned.target,
        unit=labels.word("unit", its_dose.work.unit),
    )


def _proposal(proposal: Proposal, person: str, labels: Labels) -> Iterable[str]:
    """Yield a proposed step up with its clauses: "+" is met, "-" is not."""
    values = {"exercise": proposal.exercise, "before": proposal.from_level, "after": proposal.to_level}
    joins = proposal.verdict is Verdict.ADMIT
    key = "today_waits" if proposal.due else "today_not_yet"
    yield labels(f"{key}_admit" if joins else key, **values)
    yield from clauses(proposal, labels)
    if proposal.due:
        choices = "admit|withdraw" if joins else "up|stay|down"
        yield labels("today_decide", command=f"coach decide {person} {proposal.exercise} {choices} --by NAME")


def clauses(proposal: Proposal, labels: Labels) -> Iterable[str]:
    """Yield the clauses of a step up, one per line: "+" is met, "-" is not."""
    for one in proposal.clauses:
        yield f"  {'+' if one.met else '-'} {labels.clause(one)}"


def problems(history: History, decided: Decisions, labels: Labels) -> Iterable[str]:
    """Yield the problems of the files that the plan uses."""
    yield from (shown(str(problem)) for problem in (*history.problems, *decided.problems))
    yield from (labels("today_undated", session=shown(session)) for session in undated(history.briefs))
