"""`coach forget`: delete everything that is kept about a person."""

from __future__ import annotations

import argparse

from coach.cli.export import labels_for
from coach.cli.labels import shown
from coach.cli.reading import home_of
from coach.errors import CoachError
from coach.logbook.forgetting import finish, forget, left_over, naming
from coach.voice.render import tidy_up


def add(parser: argparse.ArgumentParser) -> None:
    """Declare the arguments."""
    parser.add_argument("person", metavar="PERSON", help="who is to be forgotten")
    parser.add_argument("--yes", metavar="ID", help="the id once more, instead of typing it when asked")


def run(args: argparse.Namespace) -> int:
    """Finish interrupted deletions; then ask for the id once more and delete everything."""
    home = home_of(args.home)
    home.check_id(args.person)
    tidy_up()  # a killed rendering may have left text of programs in the system's temporary folder
    begun = left_over(home)
    for leaving in begun:
        finish(home, leaving)
    if args.person in begun.values() and args.person not in home.people():
        labels = labels_for(home)
        print(labels("forget_done"))
        return 0
    person = home.person(args.person)
    labels = labels_for(home, person.id)
    typed = args.yes
    if typed is None:
        print(labels("forget_what", person=person.id))
        try:
            typed = input(labels("forget_type")).strip()
        except EOFError:
            typed = ""
    if typed != person.id:
        raise CoachError(f'Nothing was deleted: to forget {person.id}, type "{person.id}" or add --yes {person.id}.')
    forget(home, person.id)
    print(labels("forget_done"))
    for path in naming(home, person.id):
        print("! " + labels("forget_elsewhere", path=shown(str(path))))
    return 0
