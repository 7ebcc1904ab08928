"""The diagrams: every state has its place, and every change of state of the table is drawn in one of them."""

from __future__ import annotations

import re
from collections import Counter

from coach.session import halts, table
from coach.session.diagram import PARTS, diagrams
from coach.session.state import State
from coach.session.table import RESUMED, TABLE, targets

ARROW = re.compile(r"^ +(\w+) --> (\w+): (.+)$", re.MULTILINE)
NOTE = re.compile(r"^ +note right of (\w+): (.+)$", re.MULTILINE)


def name(state: State) -> str:
    return state.name.lower()


def test_every_state_is_in_one_diagram() -> None:
    assert Counter(state for states in PARTS.values() for state in states) == Counter(State)


def test_every_change_of_state_is_drawn_once_and_nothing_else() -> None:
    drawn: Counter[tuple[str, str, str]] = Counter()
    for drawing in diagrams().values():
        notes = dict(NOTE.findall(drawing))
        for start, end, events in ARROW.findall(drawing):
            if start != "anywhere":
                drawn.update((start, end, on) for on in events.split(", "))
                continue
            for told in notes[end].split("<br>"):
                on_words, negated, states = re.fullmatch(r"(.+?) (not )?from (.+)", told).groups()  # type: ignore[union-attr]
                named = set(states.split(", "))
                starts = {name(state) for state in State} - named if negated else named
                drawn.update((start, end, on) for start in starts for on in on_words.split(", "))

    rows = {
        (name(row.state), "where_it_was" if takes_up else name(end), str(row.on))
        for row in TABLE
        if row.to is not None
        for takes_up in (row.act is halts.ready and row.state in table.INTERRUPTED,)
        for end in targets(row)
    }
    assert drawn == Counter(rows)


def test_a_note_names_where_ready_leads_after_a_halt() -> None:
    (told,) = (found for drawing in diagrams().values() for at, found in NOTE.findall(drawing) if at == "where_it_was")

    assert told.split(", ") == list(dict.fromkeys(name(state) for _, state in RESUMED))
