"""`coach goals`: what a person wants to do again, and how near each goal was over the weeks."""

from __future__ import annotations

import argparse
from collections.abc import Iterator

from rich.console import Console

from coach.cli.export import labels_for
from coach.cli.labels import Labels, shown
from coach.cli.reading import home_of
from coach.cli.session_setup import halts_in
from coach.errors import CoachError, did_you_mean
from coach.history import ratings_of
from coach.logbook.store import Decisions, Home
from coach.loglines.goals import GoalDropped, GoalSet
from coach.program.shapes import halt_word_in
from coach.review.blocks import rated_words
from coach.session.goals import MOST_GOALS
from coach.voice.pack import languages

LONGEST_GOAL = 60
"""Characters: it is read aloud before a session."""


def add(parser: argparse.ArgumentParser) -> None:
    """Declare the arguments."""
    parser.add_argument("person", metavar="PERSON", help="whose goals")
    change = parser.add_mutually_exclusive_group()
    change.add_argument("--add", metavar="TEXT", help='a goal in the person\'s words: "carry the shopping upstairs"')
    change.add_argument("--drop", metavar="GOAL", help="the id of a goal that is not asked about any more")


def run(args: argparse.Namespace) -> int:
    """Add or drop a goal if asked to; show all of them."""
    home = home_of(args.home)
    person = home.person(args.person)
    labels = labels_for(home, person.id)
    decided = home.decisions(person.id)
    if args.add is not None:
        home.decide(person.id, _new(args.add, decided))
    if args.drop is not None:
        _check_known(args.drop, decided)
        home.decide(person.id, GoalDropped(args.drop))
    console = Console(highlight=False, markup=False)
    for line in _lines(home, person.id, labels):
        console.print(line, soft_wrap=True, markup=False)
    return 0


def _new(text: str, decided: Decisions) -> GoalSet:
    """Return the line for a new goal. Raises CoachError if there are enough, or if it cannot be read aloud."""
    words = " ".join(text.split())
    if len(decided.goals) >= MOST_GOALS:
        raise CoachError(f"There are {MOST_GOALS} goals, which is enough; drop one first, with --drop.")
    if not words or not words.isprintable():
        raise CoachError("A goal is a few words that can be read aloud; write them after --add.")
    if len(words) > LONGEST_GOAL:
        raise CoachError(f"The goal has {len(words)} characters; say it in {LONGEST_GOAL} at most.")
    for language in languages():
        if halt := halt_word_in(words, halts_in(language)):
            raise CoachError(f'The goal holds "{halt}", which would stop a session when the coach says it; reword it.')
    return GoalSet(f"g{decided.goals_ever + 1}", words)


def _check_known(goal: str, decided: Decisions) -> None:
    known = [one.id for one in decided.goals]
    if goal not in known:
        hint = did_you_mean(goal, known) if known else "there is none."
        raise CoachError(f'No goal is called "{goal}"; {hint}')


def _lines(home: Home, person: str, labels: Labels) -> Iterator[str]:
    goals, ratings = home.decisions(person).goals, ratings_of(home.history(person).briefs)
    if not goals:
        yield labels("goals_none", command=f'coach goals {person} --add "..."')
        return
    yield labels("goals_head")
    for goal in goals:
        yield f"{goal.id}  {shown(goal.text)}: {rated_words(goal, ratings, labels)}"
