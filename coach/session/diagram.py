"""Draw the table of states as a diagram, for DIAGRAMS.md."""

from __future__ import annotations

from collections.abc import Iterable

from coach.session.events import On
from coach.session.state import State
from coach.session.table import RESUME, TABLE, targets

MANY = 8
"""Events that lead from so many states or more to the same one are drawn once, from "anywhere"."""

WHERE_IT_WAS = "where_it_was"
"""Node for all that "ready" may take up again after a halt or a pause."""

Arrows = dict[tuple[str, str], tuple[On, ...]]


def mermaid() -> str:
    """Return the changes of state of TABLE in Mermaid's notation: an arrow for each two states, its events on it.

    Events that a state takes without leaving it are not drawn.
    """
    arrows = _arrows()
    sources: dict[tuple[On, str], list[str]] = {}
    for (start, end), events in arrows.items():
        for on in events:
            sources.setdefault((on, end), []).append(start)
    common = {pair: states for pair, states in sources.items() if len(states) >= MANY}
    lines = ["stateDiagram-v2", "    state anywhere <<fork>>", f"    state {WHERE_IT_WAS} <<choice>>"]
    lines += ["    [*] --> opening", *_from_anywhere(common)]
    for (start, end), events in arrows.items():
        own = [on for on in events if (on, end) not in common]
        if own:
            lines.append(f"    {start} --> {end}: {_words(own)}")
    lines += [f"    {WHERE_IT_WAS} --> {end}" for end in dict.fromkeys(state for _, state in RESUME)]
    return "\n".join((*lines, "    ended --> [*]"))


def _arrows() -> Arrows:
    """Return the events between each two states, in the order of the states; staying is left out."""
    found: Arrows = {}
    for row in TABLE:
        if row.to is None:
            continue
        for end in (WHERE_IT_WAS,) if row.to is RESUME else targets(row):
            events = found.get((row.state, end), ())
            found[row.state, end] = events if row.on in events else (*events, row.on)
    order = [*map(str, State), WHERE_IT_WAS]
    return dict(sorted(found.items(), key=lambda arrow: (order.index(arrow[0][0]), order.index(arrow[0][1]))))


def _from_anywhere(common: dict[tuple[On, str], list[str]]) -> list[str]:
    ends: dict[str, list[On]] = {}
    for on, end in common:
        ends.setdefault(end, []).append(on)
    lines = [f"    anywhere --> {end}: {_words(events)}" for end, events in ends.items()]
    lines.append("    note right of anywhere")
    for (on, end), states in common.items():
        others = [state for state in State if state not in states]
        where = f"not from {_words(others)}" if len(others) < len(states) else f"from {_words(states)}"
        lines.append(f"        {on} to {end}: {where}")
    return [*lines, "    end note"]


def _words(names: Iterable[str]) -> str:
    return ", ".join(str(name) for name in names)
