"""The last steps before a session: what to lay out, and whether somebody is within reach."""

from __future__ import annotations

from coach.cli.labels import shown
from coach.cli.session_setup import Prepared
from coach.cli.visit.desk import OVER, Desk
from coach.page.screens import Choice, Step, StepLine
from coach.program.model import Reach
from coach.session.plan import Today


def lay_out(desk: Desk, prepared: Prepared) -> None:
    """Show what must be at hand; skip the step if nothing is needed."""
    labels = desk.labels
    needed = needs(prepared.today)
    if not needed:
        return
    lines = tuple(StepLine(shown(need)) for need in needed)
    choices = (Choice("on", labels("page_all_there"), weight="main"), Choice(OVER, labels("page_over"), weight="small"))
    desk.ask(Step("layout", labels("page_layout"), lines=lines, choices=choices))


def needs(today: Today) -> tuple[str, ...]:
    """Return the equipment of today's exercises at today's levels, each thing once."""
    levels = [(planned.exercise, planned.exercise.levels[planned.level]) for planned in today.exercises]
    return tuple(dict.fromkeys(need for exercise, level in levels for need in (*exercise.needs, *level.needs)))


def within_reach(desk: Desk, prepared: Prepared, *, alone: bool) -> None:
    """Ask whether somebody stays within reach; if somebody must, only "yes" leads on.

    `alone`: whether the person's words are heard well enough to train alone with them.
    """
    labels = desk.labels
    must = must_be_reached(prepared.today, alone=alone)
    over = Choice(OVER, labels("page_over"), weight="small")
    yes = Choice("yes", labels("page_reach_yes"), weight="main")
    step = Step(
        "reach",
        labels("page_reach"),
        labels("page_reach_must" if must else "page_reach_lead"),
        (StepLine(labels("page_reach_halt")),),
        (yes, Choice("no", labels("page_reach_no")), over),
    )
    if desk.ask(step).id == "yes" or not must:
        return
    problem = labels("page_reach_refused" if alone else "page_reach_refused_keys")
    found = Choice("yes", labels("page_reach_found"), weight="main")
    desk.ask(Step("reach", labels("page_reach"), choices=(found, over), problem=problem))


def must_be_reached(today: Today, *, alone: bool) -> bool:
    """Tell whether this session requires somebody within reach."""
    reach = today.program.within_reach
    return not alone or reach is Reach.ALWAYS or (reach is Reach.FIRST and today.first_session)
