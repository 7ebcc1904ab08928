"""What the screens are given of a session."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from coach.program.model import Guide, Hold, Phase, Point, Range, Reps, Route
from coach.showing import way


def reps(slow: str, **phases: float) -> Reps:
    return Reps(Range(5, 5), tuple(Phase(name, seconds) for name, seconds in phases.items()), slow, Guide.TONE)


@pytest.mark.parametrize(
    ("work", "ways"),
    [
        (reps("lower", press=2, hold=1, lower=4), [(0, 1), (1, 1), (1, 0)]),
        (reps("lower", lower=4, pause=1, rise=2), [(1, 0), (0, 0), (0, 1)]),
        (reps("lower", lift=1, top=1, lower=3, rest=1), [(0, 1), (1, 1), (1, 0), (0, 0)]),
        (reps("lower", lower=4), [(1, 0)]),
        (reps("lower", raise_=1, lower=3), [(0, 1), (1, 0)]),
    ],
)
def test_the_weight_falls_in_the_slow_phase_and_comes_up_in_the_longest_other(
    work: Reps, ways: list[tuple[float, float]]
) -> None:
    assert [way(work, number) for number in range(len(work.phases))] == ways


@given(st.lists(st.floats(0.5, 9), min_size=2, max_size=5), st.data())
def test_from_phase_to_phase_and_rep_to_rep_the_weight_never_jumps(seconds: list[float], data: st.DataObject) -> None:
    names = [f"phase_{number}" for number in range(len(seconds))]
    work = reps(data.draw(st.sampled_from(names)), **dict(zip(names, seconds, strict=True)))
    ways = [way(work, number) for number in range(len(names))]

    assert all(ways[number - 1][1] == ways[number][0] for number in range(len(ways)))


def test_a_route_climbs_point_by_point_and_a_hold_stays_up() -> None:
    route = Route((Point("ahead", 2), Point("out", 2), Point("back", 2), Point("home", 1)), Range(3, 3))

    assert [way(route, number) for number in range(4)] == [(0, 0.25), (0.25, 0.5), (0.5, 0.75), (0.75, 1)]
    assert way(Hold(Range(20, 30)), 0) == (1, 1)
