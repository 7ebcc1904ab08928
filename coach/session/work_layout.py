"""Lay out the present set in samples: its lead-in and the work that is left, or that work at another tempo."""

from __future__ import annotations

from coach.program.model import Hold
from coach.session.changed import changed
from coach.session.commands import Command, CutFrom, PlaceCues
from coach.session.events import Event
from coach.session.lines import last_phase, work_of
from coach.session.state import Result, Session
from coach.tempo.timeline import At, Cue, Layout, Mark, Sound, lay_out
from coach.tempo.units import to_samples

LEAD_BEATS = 3
"""Beats counted before the work begins. Our own choice."""

LEAD_BEAT = 1.0
"""Seconds from one beat of the lead-in to the next, and from the last to the work."""

LEAD_GAP = 0.4
"""Seconds between the words of the lead-in and its first beat."""


def place_work(session: Session, event: Event) -> Result:
    """The lead-in was said: place its beats, and after them all the work of the set."""
    beat = to_samples(LEAD_BEAT)
    first = event.at + to_samples(LEAD_GAP)
    go = first + LEAD_BEATS * beat
    cues = [
        Cue(first + index * beat, Sound.SPEECH, "lead", (("n", LEAD_BEATS - index),), beat)
        for index in range(LEAD_BEATS)
    ]
    layout = _rest_of_set(session, go)
    marks = (Mark(go, At.GO), *layout.marks)
    return changed(session, placed=True), (PlaceCues((*cues, *layout.cues), marks),)


def _rest_of_set(session: Session, start: int) -> Layout:
    """Lay out the work left of the present set, from sample `start` on."""
    running = session.open_set
    sides = session.sides
    done, from_side = divmod(running.counted, len(sides)) if running else (0, 0)
    return lay_out(
        work_of(session),
        start=start,
        first=done + 1,
        last=session.target,
        sides=sides,
        from_side=from_side,
        stretch=session.exercise.stretch,
    )


def lay_anew(session: Session, opening: tuple[str, tuple[tuple[str, str | int], ...]]) -> tuple[Command, ...]:
    """Lay out again everything after the present rep, and say `opening` in place of the next number.

    Changes nothing in a hold, in the last rep, or when no phase runs.
    """
    running, work, sides = session.open_set, work_of(session), session.sides
    assert running is not None
    if isinstance(work, Hold) or running.rep >= session.target or running.phase_began is None:
        return ()
    end = running.rep_until  # the present rep may still run at the old tempo
    layout = lay_out(
        work,
        start=end,
        first=running.rep + 1,
        last=session.target,
        sides=sides,
        stretch=session.exercise.stretch,
        opening=opening,
    )
    done = Mark(end, At.REP_DONE, running.rep, last_phase(session), sides[-1])
    return (CutFrom(end), PlaceCues(layout.cues, (done, *layout.marks)))
