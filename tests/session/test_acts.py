"""What single acts say and lay out, on their edges."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import replace
from typing import Any

import pytest
from scenes import DAY, RAISE, made

from coach.program.model import Hold, Program, Range, Sides
from coach.session import acts, sound_check
from coach.session.commands import HUSH, Command, CutFrom, PlaceCues, Say
from coach.session.events import Event, On, RoomFacts
from coach.session.plan import plan
from coach.session.rules import SLOWEST
from coach.session.state import OpenExercise, OpenSet, Screening, Session, State, begin
from coach.session.work_layout import LEAD_BEAT, LEAD_GAP, lay_anew, place_work
from coach.tempo.timeline import At
from coach.tempo.units import to_samples

NOW = Event(On.READY, 1_000, ear="keys")
RUNS = OpenSet(1, counted=0, rep=1, rep_until=64_000, phase=0, phase_began=0, phase_until=16_000)


def now(program: Program | None = None, **changes: Any) -> Session:
    return replace(begin(plan(program or made(RAISE), (), DAY)), **changes)


def keys(commands: Iterable[Command]) -> list[str]:
    return [command.phrase.key for command in commands if isinstance(command, Say)]


@pytest.mark.parametrize(("state", "again"), [(State.OPENING, []), (State.CHECKING, ["check_ready"])])
def test_behind_the_cautions_the_question_is_put_again_where_there_is_one(state: State, again: list[str]) -> None:
    commands = acts.say_cautions(now(state=state), NOW)[1]

    assert [key for key in keys(commands) if key != "text"] == ["cautions_general", *again]


@pytest.mark.parametrize(
    ("exercise", "left"), [(OpenExercise(), 1), (OpenExercise(turn=1), 0), (OpenExercise(over="tired"), 0)]
)
def test_in_a_rest_the_sets_left_are_those_after_the_one_just_done(exercise: OpenExercise, left: int) -> None:
    (said,) = acts.sets_left_in_rest(now(exercise=exercise), NOW)[1]

    assert isinstance(said, Say)
    assert said.phrase.values == (("n", left),)


@pytest.mark.parametrize("state", [State.RESTING, State.WAITING])
@pytest.mark.parametrize("stretch", [1.0, SLOWEST])
def test_slower_and_easier_between_sets_cut_the_words_short_but_for_those_of_a_rest(
    state: State, stretch: float
) -> None:
    session = now(made(RAISE, RAISE), state=state, exercise=OpenExercise(stretch=stretch))
    slower, easier = acts.slower(session, NOW)[1], acts.ease_between(session, NOW)[1]

    assert keys(slower) == ["slower_now"] * (stretch < SLOWEST)
    assert [commands[: len(HUSH)] == HUSH for commands in (slower, easier)] == [state is State.WAITING] * 2


@pytest.mark.parametrize(("stretch", "laid_out"), [(1.0, True), (SLOWEST, False)])
def test_slower_in_a_set_lays_out_only_what_gets_slower(stretch: float, laid_out: bool) -> None:
    session = now(exercise=OpenExercise(stretch=stretch), open_set=RUNS)

    assert any(isinstance(command, CutFrom) for command in acts.slower_in_set(session, NOW)[1]) is laid_out


@pytest.mark.parametrize(("counted", "told"), [(24, [("n", 5)]), (25, [("n", 5)]), (26, None), (30, None)])
def test_what_is_left_of_a_hold_is_told_in_fives_as_long_as_there_is_one(
    counted: int, told: list[tuple[str, int]] | None
) -> None:
    session = now(made(Hold(Range(30, 40))), open_set=replace(RUNS, counted=counted))

    assert [list(said.phrase.values) for said in acts.left_in_set(session, NOW)[1] if isinstance(said, Say)] == (
        [] if told is None else [told]
    )


@pytest.mark.parametrize(("why", "key"), [("It helps.", "text"), ("", "no_why")])
def test_why_is_told_as_the_therapist_wrote_it_or_that_nothing_is_written(why: str, key: str) -> None:
    today = plan(made(RAISE), (), DAY)
    planned = today.exercises[0]
    today = replace(today, exercises=(replace(planned, exercise=replace(planned.exercise, why=why)),))

    assert keys(acts.say_why(begin(today), NOW)[1]) == [key]


def test_a_lead_in_counts_its_beats_down_and_the_work_begins_a_beat_after_the_last() -> None:
    session, (placed,) = place_work(now(), NOW)
    beat, first = to_samples(LEAD_BEAT), NOW.at + to_samples(LEAD_GAP)

    assert session.placed
    assert isinstance(placed, PlaceCues)
    assert [(cue.at, cue.values) for cue in placed.cues[:3]] == [
        (first, (("n", 3),)), (first + beat, (("n", 2),)), (first + 2 * beat, (("n", 1),)),
    ]  # fmt: skip
    assert (placed.marks[0].at, placed.marks[0].kind) == (first + 3 * beat, At.GO)


@pytest.mark.parametrize(
    ("program", "opened"),
    [
        (made(Hold(Range(3, 4))), RUNS),
        (made(RAISE), replace(RUNS, rep=3)),
        (made(RAISE), replace(RUNS, phase_began=None)),
    ],
)
def test_nothing_is_laid_out_anew_in_a_hold_in_the_last_rep_or_where_no_phase_runs(
    program: Program, opened: OpenSet
) -> None:
    assert lay_anew(now(program, open_set=opened), ("left", ())) == ()


def test_what_is_laid_out_anew_ends_the_present_rep_on_its_last_side() -> None:
    session = now(made(RAISE, sides=Sides.ALTERNATING), open_set=RUNS)
    _, placed = lay_anew(session, ("left", ()))

    assert isinstance(placed, PlaceCues)
    assert placed.marks[0].side == session.sides[-1]


@pytest.mark.parametrize(
    ("on", "voices", "told"),
    [
        (On.SPOKE, 0.5, ["not_understood", "check_voices", "check_ready"]),
        (On.SPOKE, 0.4, ["not_understood", "check_ready"]),
        (On.TIME_UP, 0.5, ["nothing_heard", "check_ready"]),
    ],
)
def test_talk_is_named_where_it_was_not_understood_and_there_was_much_of_it(
    on: On, voices: float, told: list[str]
) -> None:
    event = Event(on, 0, room=RoomFacts(voices=voices))

    assert keys(sound_check.ask_again(now(state=State.CHECKING), event)[1]) == told


@pytest.mark.parametrize(("louder", "told"), [(10.0, []), (10.5, ["check_louder"])])
def test_a_room_is_louder_from_above_ten_decibels_on(louder: float, told: list[str]) -> None:
    event = Event(On.READY, 0, room=RoomFacts(floor=-50.0 + louder, taught=-50.0, echo=True))

    assert keys(sound_check.heard(now(screening=Screening()), event)[1]) == told
