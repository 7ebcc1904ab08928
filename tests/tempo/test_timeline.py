"""A set in time: to the sample, without drift, never shorter than written."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from coach.program.model import Guide, Hold, Phase, Point, Range, Reps, Route
from coach.tempo.timeline import At, Cue, Layout, Mark, Sound, lay_out
from coach.tempo.units import to_samples

SECOND = 16_000
ANY = Range(1, 200)

seconds = st.floats(0.2, 6.0, allow_nan=False).map(lambda value: round(value, 2))
names = st.lists(
    st.sampled_from(("raise", "hold", "lower", "rest", "ahead", "out")), min_size=1, max_size=4, unique=True
)


@st.composite
def reps(draw: st.DrawFn) -> Reps:
    of = draw(names)
    return Reps(
        ANY, tuple(Phase(name, draw(seconds)) for name in of), draw(st.sampled_from(of)), draw(st.sampled_from(Guide))
    )


@st.composite
def routes(draw: st.DrawFn) -> Route:
    return Route(tuple(Point(name, draw(seconds)) for name in draw(names)), ANY)


works = reps() | routes()
side_modes = st.sampled_from((("",), ("left",), ("right", "left")))
stretches = st.sampled_from((1.0, 1.25, 1.5625, 2.0)) | st.floats(1.0, 2.0)


def lengths(work: Reps | Route, stretch: float) -> list[int]:
    return [to_samples(step.seconds * stretch) for step in (work.phases if isinstance(work, Reps) else work.points)]


def of_kind(layout: Layout, kind: At) -> list[Mark]:
    return [mark for mark in layout.marks if mark.kind is kind]


def spoken(layout: Layout, key: str) -> list[Cue]:
    return [cue for cue in layout.cues if cue.key == key]


@given(works, st.integers(0, 10**6), st.integers(1, 5), st.integers(0, 6), side_modes, stretches)
def test_phases_follow_each_other_to_the_sample(
    work: Reps | Route, start: int, first: int, more: int, sides: tuple[str, ...], stretch: float
) -> None:
    layout = lay_out(work, start=start, first=first, last=first + more, sides=sides, stretch=stretch)

    phases = of_kind(layout, At.PHASE)
    assert [phases[0].at, *(mark.until for mark in phases)] == [*(mark.at for mark in phases), layout.end]
    assert phases[0].at == start
    assert [mark.until - mark.at for mark in phases] == lengths(work, stretch) * (more + 1) * len(sides)


@given(works, side_modes, stretches)
def test_no_phase_is_shorter_than_written(work: Reps | Route, sides: tuple[str, ...], stretch: float) -> None:
    layout = lay_out(work, start=7, first=1, last=3, sides=sides, stretch=stretch)

    written = lengths(work, 1.0)
    assert all(mark.until - mark.at >= written[mark.phase] for mark in of_kind(layout, At.PHASE))


@given(works, st.integers(0, 10**6))
def test_a_hundred_reps_do_not_drift(work: Reps | Route, start: int) -> None:
    layout = lay_out(work, start=start, first=1, last=100)

    once = sum(lengths(work, 1.0))
    assert [mark.at for mark in of_kind(layout, At.REP)] == [start + number * once for number in range(100)]
    assert layout.end == start + 100 * once


@given(works, st.integers(1, 4), side_modes, stretches)
def test_the_count_lands_on_the_first_sample_of_its_rep(
    work: Reps | Route, last: int, sides: tuple[str, ...], stretch: float
) -> None:
    layout = lay_out(work, start=1_000, first=1, last=last, sides=sides, stretch=stretch)

    numbers = spoken(layout, "count" if isinstance(work, Reps) else "round")
    begins = [mark for mark in of_kind(layout, At.REP) if mark.side == sides[0] or isinstance(work, Route)]
    assert [cue.at for cue in numbers] == [mark.at for mark in begins]
    assert [dict(cue.values)["n"] for cue in numbers] == [mark.rep for mark in begins]


@given(works, st.integers(1, 4), side_modes, stretches)
def test_a_cue_lies_in_its_phase(work: Reps | Route, last: int, sides: tuple[str, ...], stretch: float) -> None:
    layout = lay_out(work, start=0, first=1, last=last, sides=sides, stretch=stretch)

    phases = of_kind(layout, At.PHASE)
    for cue in layout.cues:
        around = [mark for mark in phases if mark.at <= cue.at < mark.until]
        assert len(around) == 1
        assert cue.at + cue.length <= around[0].until
        assert cue.length > 0 or cue.sound is Sound.TICK


@given(works, st.integers(1, 4), side_modes, stretches)
def test_a_rep_says_when_it_ends_on_its_last_side(
    work: Reps | Route, last: int, sides: tuple[str, ...], stretch: float
) -> None:
    layout = lay_out(work, start=5, first=1, last=last, sides=sides, stretch=stretch)

    ended = {mark.rep: mark.at for mark in of_kind(layout, At.REP_DONE)}  # of two sides the later stands
    assert all(mark.until == ended[mark.rep] for mark in of_kind(layout, At.REP))


@given(works, st.integers(1, 4), st.integers(0, 3), stretches)
def test_a_set_resumed_on_its_second_side_continues_there(
    work: Reps | Route, first: int, more: int, stretch: float
) -> None:
    both = ("right", "left")
    layout = lay_out(work, start=0, first=first, last=first + more, sides=both, from_side=1, stretch=stretch)

    order = [(mark.rep, mark.side) for mark in of_kind(layout, At.REP_DONE)]
    assert order == [(n, side) for n in range(first, first + more + 1) for side in both][1:]
    parts = len(lengths(work, stretch))
    phases = [(mark.rep, mark.side) for mark in of_kind(layout, At.PHASE)]
    assert phases == [one for one in order for _ in range(parts)]


@given(works, side_modes)
def test_all_marks_are_in_order_and_the_last_is_done(work: Reps | Route, sides: tuple[str, ...]) -> None:
    layout = lay_out(work, start=0, first=2, last=4, sides=sides)

    assert list(layout.marks) == sorted(layout.marks, key=lambda mark: mark.at)
    assert layout.marks[-1] == Mark(layout.end, At.DONE, 4, 0, sides[-1])
    assert len(of_kind(layout, At.DONE)) == 1


def test_an_opening_is_said_in_place_of_the_first_number_only() -> None:
    work = Reps(ANY, (Phase("raise", 1.0), Phase("lower", 2.0)), "lower", Guide.TONE)

    layout = lay_out(work, start=0, first=4, last=6, opening=("left", (("n", 3),)))

    assert [(cue.key, cue.at) for cue in layout.cues if cue.key in ("left", "count")] == [
        ("left", 0), ("count", 3 * SECOND), ("count", 6 * SECOND),
    ]  # fmt: skip


@pytest.mark.parametrize(
    ("guide", "falls", "counts", "ticks"),
    [(Guide.TONE, 1, 0, 3), (Guide.COUNT, 0, 3, 0), (Guide.BOTH, 1, 3, 0), (Guide.QUIET, 0, 0, 0)],
)
def test_the_slow_phase_is_led_as_the_program_says(guide: Guide, falls: int, counts: int, ticks: int) -> None:
    work = Reps(ANY, (Phase("raise", 1.0), Phase("lower", 4.0)), "lower", guide)

    layout = lay_out(work, start=0, first=1, last=1)

    sounds = [cue.sound for cue in layout.cues]
    assert (sounds.count(Sound.FALL), len(spoken(layout, "second")), sounds.count(Sound.TICK)) == (falls, counts, ticks)


@given(st.integers(1, 120), st.data())
def test_a_hold_counts_each_second_where_it_ends(last: int, data: st.DataObject) -> None:
    first = data.draw(st.integers(1, last))

    layout = lay_out(Hold(ANY), start=100, first=first, last=last)

    passed = of_kind(layout, At.SECOND)
    assert [mark.rep for mark in passed] == list(range(first, last + 1))
    assert [mark.at for mark in passed] == [100 + n * SECOND for n in range(1, last - first + 2)]
    assert layout.end == passed[-1].at == layout.marks[-1].at
    assert all(100 < cue.at < layout.end for cue in layout.cues)
    assert all(cue.length <= 0 for cue in layout.cues)


def test_a_hold_announces_its_time_at_intervals_and_its_last_five_seconds() -> None:
    layout = lay_out(Hold(ANY), start=0, first=1, last=30)

    told = [(cue.at // SECOND, cue.key, dict(cue.values)["n"]) for cue in layout.cues if cue.sound is Sound.SPEECH]
    assert told == [(10, "hold_passed", 10), (20, "hold_passed", 20), (25, "hold_left", 5)]


def test_a_resumed_hold_is_laid_out_for_its_remaining_seconds() -> None:
    layout = lay_out(Hold(ANY), start=100, first=2, last=8)

    ends = [100 + n * SECOND for n in range(1, 8)]
    seconds_of_it = [Mark(at, At.SECOND, number) for number, at in enumerate(ends, start=2)]
    assert layout.marks == (
        Mark(100, At.PHASE, 2, 0, "", ends[-1]), *seconds_of_it, Mark(ends[-1], At.DONE, 8)
    )  # fmt: skip
    assert layout.cues == tuple(
        Cue(at, Sound.SPEECH, "hold_left", (("n", 5),)) if at == ends[1] else Cue(at, Sound.TICK) for at in ends[:-1]
    )


@pytest.mark.parametrize(
    ("first", "last", "told"),
    [
        (1, 6, []),  # whoever has just begun is not told that five are left
        (10, 15, []),
        (1, 16, [(10, "hold_passed"), (11, "hold_left")]),
    ],
)
def test_a_hold_tells_each_time_once(first: int, last: int, told: list[tuple[int, str]]) -> None:
    layout = lay_out(Hold(ANY), start=0, first=first, last=last)

    said = [(first - 1 + cue.at // SECOND, cue.key) for cue in layout.cues if cue.sound is Sound.SPEECH]
    assert said == told
    assert len(layout.cues) == last - first


def test_a_phase_at_the_persons_own_pace_is_named_and_left_in_peace() -> None:
    work = Reps(ANY, (Phase("raise", 4.0, own_pace=True), Phase("lower", 3.0)), "lower", Guide.TONE)

    layout = lay_out(work, start=0, first=1, last=1)

    within = [cue for cue in layout.cues if cue.at < 4 * SECOND]
    assert [(cue.at, cue.sound, cue.key) for cue in within] == [(0, Sound.SPEECH, "count")]
    assert layout.end == 7 * SECOND


def test_from_the_fourth_rep_on_the_slow_phase_alone_is_named_and_a_tick_marks_the_others() -> None:
    work = Reps(ANY, (Phase("raise", 1.0), Phase("stay", 1.0), Phase("lower", 1.0)), "lower", Guide.QUIET)

    layout = lay_out(work, start=0, first=3, last=7)

    named = [(cue.at // SECOND, dict(cue.values).get("name")) for cue in layout.cues if cue.key != "count"]
    three = [(1, "stay"), (2, "lower"), (4, "stay"), (5, "lower"), (7, "stay"), (8, "lower")]
    assert named == [*three, (10, None), (11, "lower"), (13, None), (14, "lower")]


def test_each_point_of_a_route_is_named_in_each_round() -> None:
    layout = lay_out(Route((Point("ahead", 1.0), Point("out", 1.0)), ANY), start=0, first=1, last=5)

    named = [(cue.at // SECOND, dict(cue.values)["name"]) for cue in spoken(layout, "phase")]
    assert named == [(1, "out"), (3, "out"), (5, "out"), (7, "out"), (9, "out")]


@pytest.mark.parametrize(("length", "sound"), [(0.59, Sound.TICK), (0.6, Sound.SPEECH)])
def test_a_phase_too_short_for_its_name_is_marked_by_a_tick(length: float, sound: Sound) -> None:
    work = Reps(ANY, (Phase("raise", 1.0), Phase("stay", length), Phase("lower", 1.0)), "lower", Guide.QUIET)

    layout = lay_out(work, start=0, first=1, last=1)

    assert [cue.sound for cue in layout.cues if cue.at == SECOND] == [sound]


def test_a_slower_rep_is_laid_out_whole_and_its_last_second_is_said_only_as_long_as_it_lasts() -> None:
    work = Reps(ANY, (Phase("raise", 1.0), Phase("lower", 2.5)), "lower", Guide.BOTH)

    layout = lay_out(work, start=0, first=1, last=1, stretch=1.5)

    turn, end = to_samples(1.5), to_samples(5.25)
    assert layout.cues == (
        Cue(0, Sound.SPEECH, "count", (("n", 1),), turn),
        Cue(turn, Sound.SPEECH, "phase", (("name", "lower"),), end - turn),
        Cue(turn, Sound.FALL, length=end - turn),
        Cue(2 * turn, Sound.SPEECH, "second", (("n", 2),), turn),
        Cue(3 * turn, Sound.SPEECH, "second", (("n", 3),), end - 3 * turn),
    )
    assert layout.marks == (
        Mark(0, At.REP, 1, 0, "", end),
        Mark(0, At.PHASE, 1, 0, "", turn),
        Mark(turn, At.PHASE, 1, 1, "", end),
        Mark(end, At.REP_DONE, 1, 1, ""),
        Mark(end, At.DONE, 1, 0, ""),
    )


def test_a_phase_shorter_than_written_is_refused() -> None:
    with pytest.raises(ValueError, match="never shorter"):
        lay_out(Hold(ANY), start=0, first=1, last=2, stretch=0.99)
