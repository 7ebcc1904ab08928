"""The first steps: who trains, with which program, and what today holds."""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path

from coach.cli.choose import chosen, in_use
from coach.cli.export import pack_of
from coach.cli.labels import Labels, shown
from coach.cli.on_hold import holds_now, keep_holds
from coach.cli.session_setup import Prepared, begun_and_left, halts_in
from coach.cli.today import exercise_line, level_id, problems
from coach.cli.visit.desk import OVER, Desk
from coach.errors import CoachError
from coach.logbook.files import UnreadableError
from coach.logbook.store import RESERVED, Home, Person
from coach.page.screens import Choice, Step, StepLine, TextField
from coach.program_files import find, open_file, shipped
from coach.review.hold_words import hold_words

MOST_SHOWN = 12
"""Most people for whom the list says what today is; each needs all records of that person to be read."""
LONGEST_NAME = 60


def who(desk: Desk, home: Home, problem: str = "") -> Person | None:
    """Ask who trains; None: the page is to be closed."""
    labels = desk.labels
    people: list[Person] = []
    lines: list[StepLine] = []
    for known in home.people():
        try:
            people.append(home.person(known))
        except UnreadableError as error:  # the others can still train
            lines.append(StepLine(shown(str(error)), "bad"))
    if people or lines:
        told = people if len(people) <= MOST_SHOWN else []
        choices = [Choice(f"person.{one.id}", called(one), _day(one, home, labels) if one in told else "")
                   for one in people]  # fmt: skip
        choices += [Choice("new", labels("page_somebody_new")), Choice("close", labels("page_close"), weight="small")]
        answer = desk.ask(Step("who", labels("page_who"), lines=tuple(lines), choices=tuple(choices), problem=problem))
        if answer.id == "close":
            return None
        if answer.id != "new":
            return home.person(answer.id.removeprefix("person."))
        problem = ""
    return _new(desk, home, problem)


def called(person: Person) -> str:
    """Return a person's name on the screen."""
    return shown(person.name) or person.id


def _day(person: Person, home: Home, labels: Labels) -> str:
    """Return in a few words what today is for a person; empty if a few words cannot say it."""
    try:
        if holds_now(home, person.id):
            return labels("page_on_hold")
        today = chosen(None, home, person).today
    except CoachError:
        return ""
    due = today.due
    if due is None:
        return shown(today.program.title)
    when = labels("page_due_today") if due <= home.today() else labels("page_due_on", day=due)
    return f"{shown(today.program.title)}, {when}"


def _new(desk: Desk, home: Home, problem: str) -> Person | None:
    labels = desk.labels
    last = Choice(OVER, labels("page_over")) if home.people() else Choice("close", labels("page_close"))
    while True:
        step = Step(
            "new",
            labels("page_new"),
            labels("page_new_lead"),
            fields=(TextField("name", labels("page_name"), most=LONGEST_NAME),),
            choices=(Choice("on", labels("page_on"), weight="main"), replace(last, weight="small")),
            problem=problem,
        )
        answer = desk.ask(step)
        if answer.id == "close":
            return None
        name = " ".join(shown(answer.fields.get("name", "")).split())[:LONGEST_NAME].strip()
        if name:
            return home.add_person(free_id(name, home.people()), name)
        problem = labels("page_name_missing")


def free_id(name: str, taken: tuple[str, ...]) -> str:
    """Return an id for a new person, made from a name in any script; a taken or reserved id gets a number.

    >>> free_id("Zoë O'Neil", ("zoe-o-neil",))
    'zoe-o-neil-2'
    """
    plain = unicodedata.normalize("NFKD", name).encode("ascii", "ignore").decode().lower()
    base = re.sub(r"[^a-z0-9]+", "-", plain).strip("-")[:30].strip("-") or "person"
    number, made = 1, base
    while made in taken or RESERVED.fullmatch(made):
        number += 1
        made = f"{base}-{number}"
    return made


def tell_on_hold(desk: Desk, home: Home, person: Person) -> None:
    """If nothing may begin for a person, show why, what to do and whom to call; it leads back to the start alone."""
    holds = holds_now(home, person.id)
    if not holds:
        return
    keep_holds(home, person.id)
    desk.turn_to(pack_of(home, person.id))
    labels = desk.labels
    head, *lines = map(shown, hold_words(holds, labels))
    step = Step(
        "on_hold",
        labels("page_no_session"),
        f"{called(person)}: {head}",
        tuple(StepLine(line) for line in lines),
        (Choice(OVER, labels("page_over"), weight="main"),),
    )
    desk.ask(step)


def today(desk: Desk, home: Home, person: Person, file: str | None) -> Prepared | None:
    """Show today's plan and its reasons; None: not today. `file` is the program file of the command line, if any."""
    name = file if file is not None else ""
    while True:
        prepared = chosen(name, home, person) if name else _program(desk, home, person)
        desk.turn_to(prepared.pack)
        step = _broken(desk, prepared) if prepared.broken else _today(desk, home, person, prepared)
        answer = desk.ask(step).id
        if answer == "program":
            name = _which(desk, home, person)
            continue
        if answer == "off":
            return None
        taken_up = answer == "on" and prepared.broken and prepared.left
        return replace(prepared, today=taken_up) if taken_up else prepared


def _broken(desk: Desk, prepared: Prepared) -> Step:
    """Say that today's session broke off, and ask which part of it is wanted."""
    labels = desk.labels
    begun, left = begun_and_left(prepared)
    anew = Choice("anew", labels("page_anew"), weight="small" if prepared.left else "plain")
    off = Choice("off", labels("page_not_today"), weight="plain" if prepared.left else "main")
    more = _other_program(labels)
    if prepared.left is None:
        lead = labels("page_broken_none", begun=begun)
        return Step("broken", labels("page_broken"), lead, choices=(off, anew, more))
    lead = labels("page_broken_left", begun=begun, left=left)
    on = Choice("on", labels("page_take_up"), weight="main")
    how = (StepLine(labels("page_broken_how")),)
    return Step("broken", labels("page_broken"), lead, how, choices=(on, off, anew, more))


def _other_program(labels: Labels) -> Choice:
    return Choice("program", labels("page_other_program"), weight="small")


def _program(desk: Desk, home: Home, person: Person) -> Prepared:
    """Return the program in use if only one is possible, otherwise the one that the caregiver chooses."""
    if home.history(person.id).sessions:
        try:
            return chosen(None, home, person)
        except UnreadableError:  # their records are unreadable, whatever program is chosen
            raise
        except CoachError:  # several, or one whose file is gone: the caregiver chooses
            pass
    return chosen(_which(desk, home, person), home, person)


def _which(desk: Desk, home: Home, person: Person) -> str:
    labels = desk.labels
    used = [one.id for one in reversed(in_use(home.history(person.id).briefs))]
    names = list(dict.fromkeys([*used, *shipped()]))
    choices = [Choice(f"program.{name}", title, labels("page_in_use") if name in used else "")
               for name in names if (title := _title(name, home, person))]  # fmt: skip
    choices.append(Choice(OVER, labels("page_over"), weight="small"))
    answer = desk.ask(Step("program", labels("page_program"), labels("page_program_lead"), choices=tuple(choices)))
    return answer.id.removeprefix("program.")


def _title(name: str, home: Home, person: Person) -> str:
    """Return the title of a program; empty if it cannot be read."""
    try:
        if name in shipped() and not Path(name).is_file():
            return shown(open_file(find(name), halts_in).program.title)
        return shown(chosen(name, home, person).program.title)
    except CoachError:
        return ""


def _today(desk: Desk, home: Home, person: Person, prepared: Prepared) -> Step:
    labels, plan = desk.labels, prepared.today
    early = plan.due is not None and plan.due > home.today()
    lines = [StepLine(labels.plain_clause(because), "small") for because in plan.because]
    for planned in plan.exercises:
        lines.append(StepLine(exercise_line(planned, labels, labels.word("level", level_id(planned)))))
        lines += [StepLine(labels.plain_clause(because), "small") for because in planned.because]
    history, decided = prepared.history, home.decisions(person.id)
    lines += [StepLine(problem, "bad") for problem in problems(history, decided, labels)]
    first = not prepared.past
    lead = labels("today_first") if first else labels("page_early", due=plan.due) if early else ""
    on = Choice("on", labels("page_early_on" if early else "page_on"), weight="plain" if early else "main")
    off = Choice("off", labels("page_not_today"), weight="main" if early else "small")
    more = _other_program(labels)
    return Step(
        "today",
        labels("page_today", name=called(person)),
        f"{shown(plan.program.title)}. {lead}".strip(),
        tuple(lines),
        (off, on, more) if early else (on, off, more),
    )


def cautions(desk: Desk, prepared: Prepared) -> None:
    """Before a first session, show the cautions of the program and those that always hold."""
    labels = desk.labels
    if not prepared.today.first_session:
        return
    lines = [StepLine(text) for text in _sentences(prepared.program.cautions)]
    lines += [StepLine(labels(key)) for key in ("page_caution_stop", "page_caution_missed", "page_caution_help")]
    choices = (Choice("on", labels("page_read"), weight="main"), Choice(OVER, labels("page_over"), weight="small"))
    desk.ask(Step("cautions", labels("page_cautions"), lines=tuple(lines), choices=choices))


def _sentences(text: str) -> Iterator[str]:
    """Yield a program's cautions sentence by sentence."""
    return (part for part in re.split(r"(?<=[.!?])\s+", " ".join(shown(text).split())) if part)
