"""Draw the table of states as diagrams, for DIAGRAMS.md: one for each part of a session."""

from __future__ import annotations

from collections.abc import Iterable

from coach.session import halts, table
from coach.session.events import On
from coach.session.state import State
from coach.session.table import RESUMED, TABLE, Row, targets

MANY = 8
"""An event that leads from at least this many states to the same one is drawn once, from "anywhere"."""

ANYWHERE, WHERE_IT_WAS = "anywhere", "where_it_was"
"""Nodes: one stands for many states, one for whatever "ready" takes up after a halt or a pause."""

PARTS: dict[str, tuple[State, ...]] = {
    "The start": table.BEFORE_EXERCISES,
    "Getting ready, and the set": (*table.GETTING_READY, *table.IN_SET),
    "After a set": table.SET_OVER,
    "Halts, pauses, lost devices": (*table.INTERRUPTED, *table.DEVICE_GONE),
    "The end": (State.CLOSING, State.ENDED),
}
"""For each diagram, by title, the states whose ways out it shows."""

Arrows = dict[tuple[str, str], tuple[On, ...]]


def diagrams() -> dict[str, str]:
    """Return a Mermaid diagram of the changes of state for each part of a session, by title.

    One arrow joins two states and names its events; an event that does not leave its state is not drawn. An event that
    leads from many states to one is drawn from "anywhere", in the diagram of the state it leads to.
    """
    arrows = _arrows()
    common = _common(arrows)
    return {title: _diagram(states, arrows, common) for title, states in PARTS.items()}


def _diagram(states: tuple[State, ...], arrows: Arrows, common: dict[tuple[On, str], list[str]]) -> str:
    here = [_name(state) for state in states]
    lines = ["stateDiagram-v2"]
    lines += ["    [*] --> opening"] * (State.OPENING in states)
    lines += _from_anywhere({pair: sources for pair, sources in common.items() if pair[1] in here})
    for (start, end), events in arrows.items():
        own = [on for on in events if (on, end) not in common]
        if start in here and own:
            lines.append(f"    {start} --> {end}: {_words(own)}")
    if State.HALTED in states:
        resumed = dict.fromkeys(_name(state) for _, state in RESUMED)
        lines.append(f"    note right of {WHERE_IT_WAS}: {_words(resumed)}")
    lines += ["    ended --> [*]"] * (State.ENDED in states)
    return "\n".join(lines)


def _arrows() -> Arrows:
    """Return the events that lead from one state to another, in the order of the states."""
    found: Arrows = {}
    for row in TABLE:
        for end in _ends(row):
            events = found.get((_name(row.state), end), ())
            found[_name(row.state), end] = events if row.on in events else (*events, row.on)
    order = [*map(_name, State), WHERE_IT_WAS]
    return dict(sorted(found.items(), key=lambda arrow: (order.index(arrow[0][0]), order.index(arrow[0][1]))))


def _ends(row: Row) -> tuple[str, ...]:
    """Return the nodes that a row leads to; none if it stays."""
    if row.to is None:
        return ()
    if row.act is halts.ready and row.state in table.INTERRUPTED:
        return (WHERE_IT_WAS,)
    return tuple(_name(state) for state in targets(row))


def _common(arrows: Arrows) -> dict[tuple[On, str], list[str]]:
    """Return each event that leads from many states to one, as (event, state), with the states it leads from."""
    sources: dict[tuple[On, str], list[str]] = {}
    for (start, end), events in arrows.items():
        for on in events:
            sources.setdefault((on, end), []).append(start)
    return {pair: states for pair, states in sources.items() if len(states) >= MANY and pair[1] != WHERE_IT_WAS}


def _from_anywhere(common: dict[tuple[On, str], list[str]]) -> list[str]:
    """Draw one arrow to each state; a note lists the states that it does not come from, or does."""
    ends: dict[str, dict[str, list[On]]] = {}
    for (on, end), states in common.items():
        ends.setdefault(end, {}).setdefault(_where(states), []).append(on)
    lines = []
    for end, wheres in ends.items():
        lines.append(f"    {ANYWHERE} --> {end}: {_words(on for events in wheres.values() for on in events)}")
        told = (f"{_words(events)} {where}" for where, events in wheres.items())
        lines.append(f"    note right of {end}: {'<br>'.join(told)}")
    return lines


def _where(states: list[str]) -> str:
    others = [_name(state) for state in State if _name(state) not in states]
    return f"not from {_words(others)}" if len(others) < len(states) else f"from {_words(states)}"


def _name(state: State) -> str:
    return state.name.lower()


def _words(names: Iterable[str]) -> str:
    return ", ".join(str(name) for name in names)
