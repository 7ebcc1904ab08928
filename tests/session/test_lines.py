"""What the lines of a set say: how much was planned, and the time under tension that came of it."""

from __future__ import annotations

import pytest
from scenes import begun, come_to, lines, made, work_until

from coach.program.model import Guide, Hold, Phase, Range, Reps
from coach.session.events import On
from coach.session.state import State
from coach.tempo.units import to_samples

RESTED = Reps(Range(2, 2), (Phase("raise", 1.0), Phase("lower", 3.0), Phase("rest", 2.0)), "lower", Guide.TONE)


@pytest.mark.parametrize(("held", "tension"), [(4, 4.5), (9, 9.5)])
def test_a_hold_that_is_stopped_was_under_tension_up_to_the_halt(held: int, tension: float) -> None:
    run = work_until(begun(made(Hold(Range(10, 10)))), On.SECOND, held)
    run.now += to_samples(0.5)
    run.say(On.TIRED)

    assert [(line["counted"], line["tension_s"]) for line in lines(run, "set_ended")] == [(held, tension)]


def test_a_hold_that_goes_on_after_a_halt_adds_up_what_was_held() -> None:
    run = work_until(begun(made(Hold(Range(10, 10)), sets=(1,))), On.SECOND, 4)
    run.now += to_samples(0.5)
    run.say(On.STOP)
    run.say(On.BREAK)
    run.say(On.READY)
    come_to(run, State.CLOSING)

    assert [(line["counted"], line["tension_s"]) for line in lines(run, "set_ended")] == [(10, 10.5)]


@pytest.mark.parametrize(("phase", "after", "tension"), [(0, 0.5, 4.5), (1, 1.0, 6.0), (2, 1.0, 8.0)])
def test_a_rep_that_is_stopped_was_under_tension_but_in_its_rest(phase: int, after: float, tension: float) -> None:
    run = work_until(begun(made(RESTED)), On.PHASE, 2, phase=phase)
    run.now += to_samples(after)
    run.say(On.TIRED)

    assert [line["tension_s"] for line in lines(run, "set_ended")] == [tension]
    assert [line["tension_planned_s"] for line in lines(run, "set_begun")] == [8.0]
