"""What the lines of a set say: how much was planned, and the time under tension that came of it."""

from __future__ import annotations

from dataclasses import replace

import pytest
from scenes import DAY, begun, come_to, lines, made, work_until

from coach.logbook import plain
from coach.program.model import Guide, Hold, Phase, Point, Range, Reps, Route, Sides, Work
from coach.session.events import On
from coach.session.lines import session_begun
from coach.session.plan import plan
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


ROUNDS = Route((Point("ahead", 1.0), Point("out", 2.0)), Range(1, 2))


@pytest.mark.parametrize(
    ("work", "sides", "side", "kind", "unit", "amounts", "tension"),
    [
        (RESTED, Sides.BOTH, "", "reps", "reps", (2, 2), 8.0),
        (RESTED, Sides.ALTERNATING, "right+left", "reps", "reps", (4, 4), 16.0),
        (ROUNDS, Sides.EACH, "right", "route", "rounds", (1, 1), 3.0),
        (
            replace(ROUNDS, points=(*ROUNDS.points, Point("rest", 4.0))),
            Sides.EACH,
            "right",
            "route",
            "rounds",
            (1, 1),
            3.0,
        ),
        (Hold(Range(5, 9)), Sides.BOTH, "", "hold", "seconds", (5, 5), 5.0),
    ],
)
def test_both_lines_of_a_set_say_which_it_is_how_much_was_planned_and_how_it_ended(
    work: Work, sides: Sides, side: str, kind: str, unit: str, amounts: tuple[int, int], tension: float
) -> None:
    run = come_to(begun(made(work, work, sides=sides)), State.SET_END)

    common = {"exercise": "exercise_0", "level": "level_1", "set": 1, "side": side, "set_id": 1, "kind": kind}
    common |= {"planned_low": amounts[0], "planned_high": amounts[1]}
    assert lines(run, "set_begun") == [common | {"unit": unit, "tension_planned_s": tension}]
    assert lines(run, "set_ended") == [common | {"counted": amounts[1], "tension_s": tension, "why": "done"}]


@pytest.mark.parametrize(
    ("work", "kind", "number", "phase", "name"),
    [
        (RESTED, On.PHASE, 2, 1, "lower"),
        (ROUNDS, On.PHASE, 1, 1, "out"),
        (Hold(Range(5, 9)), On.SECOND, 2, 0, ""),
    ],
)
def test_the_line_of_a_halt_names_its_rep_and_phase(work: Work, kind: On, number: int, phase: int, name: str) -> None:
    run = work_until(begun(made(work)), kind, number, phase=phase)
    run.say(On.STOP)

    (line,) = lines(run, "halted")
    assert (line.get("phase", ""), line["set_id"], line["state"]) == (name, 1, "working")
    assert kind is On.SECOND or line["rep"] == number


def test_a_set_that_was_asked_to_be_slower_plans_and_takes_more_time() -> None:
    run = come_to(begun(made(RESTED)), State.WAITING)
    run.say(On.SLOWER)
    come_to(run, State.SET_END)

    assert [line["tension_planned_s"] for line in lines(run, "set_begun")] == [10.0]
    assert [line["tension_s"] for line in lines(run, "set_ended")] == [10.0]


def test_ten_rests_add_not_one_sample_of_tension() -> None:
    run = come_to(begun(made(replace(RESTED, count=Range(10, 10)))), State.SET_END)

    assert [line["tension_s"] for line in lines(run, "set_ended")] == [40.0]


def test_times_are_written_in_thousandths_of_a_second() -> None:
    work = replace(RESTED, phases=(Phase("raise", 1.3), Phase("lower", 3.0)))
    run = come_to(begun(made(work)), State.WAITING)
    for _ in range(3):
        run.say(On.SLOWER)
    come_to(run, State.SET_END)

    assert [line["tension_planned_s"] for line in lines(run, "set_begun")] == [16.797]  # 16.796875
    assert [line["tension_s"] for line in lines(run, "set_ended")] == [16.797]


def test_a_range_is_planned_from_its_least_to_the_target_and_never_from_more_than_the_target() -> None:
    run = come_to(begun(made(replace(RESTED, count=Range(3, 4)))), State.WAITING)
    run.say(On.EASIER)
    come_to(run, State.SET_END)

    assert [(line["planned_low"], line["planned_high"]) for line in lines(run, "set_begun")] == [(2, 2)]


def test_so_many_sets_cut_short_as_the_program_says_end_the_exercise_and_a_whole_one_does_not_count() -> None:
    run = begun(made(RESTED, sets=(4,), cut_sets=2))
    for cut in (True, False, True):
        work_until(run, On.PHASE, 1)
        if cut:
            run.say(On.ENOUGH)
        come_to(run, State.SET_END)
    come_to(run, State.CLOSING)

    assert [line["why"] for line in lines(run, "set_ended")] == ["cut", "done", "cut"]
    assert lines(run, "exercise_ended") == [{"exercise": "exercise_0", "why": "cut_sets"}]
    assert (run.session.sets_done, run.session.sets_begun) == (1, 3)


@pytest.mark.parametrize("heard", [True, False])
def test_the_first_line_of_a_session_says_who_does_what_with_which_ears_and_why(heard: bool) -> None:
    program = made(ROUNDS, Hold(Range(5, 9)), exercises=1, sides=Sides.EACH)
    today = replace(plan(program, (), DAY), numbers_heard=heard)

    begun = session_begun(
        today, session="s1", person="p1", ears=("keys", "taught"), voice="v", device="d", app_version="0",
        in_words=lambda clause: clause.key,
    )  # fmt: skip

    assert plain(begun) == {
        "session": "s1", "person": "p1", "program": program.id, "title": program.title, "digest": program.digest,
        "written_by": program.written_by.who, "language": program.language,
        "plan": [
            {
                "exercise": "exercise_0", "level": "level_1", "sets": 4,
                "because": "because_start_level; because_bottom", "name": program.exercises[0].name,
                "kind": "hold", "low": 5, "high": 9, "target": 5, "unit": "seconds", "sides": str(Sides.EACH),
            }
        ],
        "ears": ["keys", "taught"], "voice": "v", "device": "d", "rate": 16_000, "app_version": "0",
        "numbers": "spoken" if heard else "ladder", "continues": "",
    }  # fmt: skip
