"""After a session: what was done, when the next one is, how it is going, and what the caregiver wants to add."""

from __future__ import annotations

from collections.abc import Iterator
from itertools import groupby

from coach.cli.labels import Labels, shown
from coach.cli.printed_session import answer_words, ending, needs_a_look, sets_done
from coach.cli.review import reviewed
from coach.cli.session_setup import Ran, not_kept, record_after
from coach.cli.visit.desk import Desk
from coach.errors import CoachError
from coach.logbook.session_record import SessionRecord
from coach.logbook.store import Home, Person
from coach.page.screens import LONGEST_NOTE, Choice, Step, StepLine, TextField
from coach.review.content import short

BY = "caregiver"
"""Author of a note from the page, as the record names them."""


def after(desk: Desk, home: Home, person: Person, ran: Ran) -> None:
    """Show what was done, and take the caregiver's notes until they finish."""
    labels = desk.labels
    record = record_after(home, person.id, ran)
    elsewhere = not_kept(ran.store) or ran.problem
    unkept = [StepLine(labels("clips_unkept", because=ran.unkept), "open")] if ran.unkept else []
    lines = [*_done(record, labels), *unkept, *(() if elsewhere else _going(home, person, labels))]
    kept, problem, typed = "", elsewhere, ""
    note = () if elsewhere else (Choice("keep", labels("page_note_keep")),)
    while True:
        said = [StepLine(labels("page_note_kept", text=kept), "good")] if kept else []
        answer = desk.ask(
            Step(
                "after",
                labels("page_after"),
                ending(record, labels).plain,
                (*said, *lines),
                fields=(TextField("note", labels("page_note"), "text", LONGEST_NOTE, typed),) if note else (),
                choices=(Choice("done", labels("page_done"), weight="main"), *note),
                problem=problem,
            )
        )
        text = shown(answer.fields.get("note", "")).strip()[:LONGEST_NOTE]
        problem, typed = "", ""
        if text:  # text typed before "done" was pressed is kept, too
            try:
                home.note(person.id, ran.session, text, BY)
            except CoachError as error:
                problem, typed = str(error), text
                continue
            kept = text
        elif answer.id == "keep":
            problem = labels("page_note_empty")
        if answer.id == "done":
            return


def _done(record: SessionRecord, labels: Labels) -> Iterator[StepLine]:
    yield StepLine(sets_done(record, labels))
    for exercise, sets in groupby(record.sets, lambda one: one.exercise):
        counted = [one.counted for one in sets]
        known = [count for count in counted if count is not None]
        yield StepLine(labels("page_done_exercise", name=shown(record.name_of(exercise)), sets=len(counted),
                          counted=", ".join(map(str, known)) or "?"))  # fmt: skip
    yield StepLine(f"{labels('log_highest_pain')}: {answer_words(record.highest_pain, labels)}")
    yield from (StepLine(text, "open") for text in needs_a_look(record, labels))


def _going(home: Home, person: Person, labels: Labels) -> Iterator[StepLine]:
    """Yield the short review: what waits for the clinician, and how it is going."""
    try:
        told = short(reviewed(home, person.id), labels)
    except CoachError as error:  # the summary is shown anyway
        told = (str(error),)
    yield from (StepLine(shown(text), "small") for text in told)
