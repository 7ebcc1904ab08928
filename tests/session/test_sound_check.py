"""The check at the start: only "ready" passes it, and what makes hearing hard is said and written."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import pytest
from scenes import BASE, RAISE, begun, come_to, keys, lines, made

from coach.program.model import Program
from coach.session.events import REPLIES, On, RoomFacts
from coach.session.state import State
from coach.session.table import TABLE, targets
from coach.testing import WatchedRun

QUIET = RoomFacts(level=-30.0, floor=-62.0, taught=-60.0, echo=True, voices=0.1)


def asked(room: RoomFacts | None = QUIET, program: Program | None = None) -> WatchedRun:
    """Return a session whose check has just asked for "ready"."""
    run = begun(program or made(RAISE))
    run.room = room
    while run.session.state is not State.CHECKING or run.agenda.talking:
        run.step()
    return run


def checks(run: WatchedRun) -> dict[str, Any]:
    (line,) = lines(run, "sound_check")
    return line


@pytest.mark.parametrize("screen", [(), BASE.screen])
def test_ready_passes_the_check_and_the_record_says_what_was_measured(screen: Any) -> None:
    run = asked(program=made(RAISE, change=lambda program: replace(program, screen=screen)))
    run.say(On.READY)

    assert run.session.state is (State.SCREENING if screen else State.INTRO)
    assert checks(run) == {
        "heard": True, "ear": "keys", "askings": 1, "level": -30.0, "floor": -62.0, "room_taught": -60.0,
        "echo": True, "voices": 0.1,
    }  # fmt: skip
    assert not [key for key in keys(run) if key.startswith("check_") and key != "check_ready"]


def test_nothing_but_ready_leads_from_the_check_to_what_comes_after_it() -> None:
    onward = {State.SCREENING, State.INTRO}

    assert {row.on for row in TABLE if row.state is State.CHECKING and onward & set(targets(row))} == {On.READY}
    for on in (*REPLIES - {On.READY}, On.SPOKE, On.TIME_UP):
        run = asked()
        run.say(on)
        assert run.session.state not in onward


def test_without_an_answer_the_coach_names_more_to_check_each_time_and_then_ends_the_session() -> None:
    run = asked(RoomFacts(floor=-60.0, taught=-60.0, echo=False))
    while not run.over:
        run.step()

    said = [key for key in keys(run) if key.startswith("check_")]
    assert said == [
        "check_ready",
        "check_ready",
        "check_speaker", "check_microphone", "check_ready",
        "check_speaker", "check_keys", "check_ready",
    ]  # fmt: skip
    assert (checks(run)["heard"], checks(run)["askings"], checks(run)["cautions"]) == (False, 4, ["no_echo"])
    assert lines(run, "session_ended")[0]["why"] == "not_heard"
    assert "end_not_heard" in keys(run)
    assert not lines(run, "set_begun")


def test_headphones_are_no_fault_where_somebody_answers() -> None:
    run = asked(RoomFacts(echo=False))
    run.say(On.READY)

    assert "check_speaker" not in keys(run)
    assert checks(run)["cautions"] == ["no_echo"]


@pytest.mark.parametrize(
    ("room", "caution"),
    [
        (RoomFacts(floor=-48.0, taught=-60.0, echo=True), "louder"),
        (RoomFacts(floor=-60.0, taught=-60.0, echo=True, voices=0.8), "voices"),
    ],
)
def test_a_changed_room_is_said_and_recorded_and_stops_nobody(room: RoomFacts, caution: str) -> None:
    run = asked(room)
    run.say(On.READY)

    assert f"check_{caution}" in keys(run)
    assert checks(run)["cautions"] == [caution]
    assert run.session.state is State.INTRO


@pytest.mark.parametrize("room", [None, RoomFacts(floor=-40.0), RoomFacts(floor=-52.0, taught=-60.0)])
def test_unknown_or_small_differences_are_no_caution(room: RoomFacts | None) -> None:
    run = asked(room)
    run.say(On.READY)

    assert "cautions" not in checks(run)


def test_talk_that_nobody_understands_is_named_and_ends_in_no_session() -> None:
    run = asked(RoomFacts(voices=0.9))
    for _ in range(6):
        run.say(On.SPOKE)
    while not run.over:
        run.step()

    assert "check_voices" in keys(run)
    assert run.session.end_why == "not_heard"


def test_a_halt_in_the_check_is_a_halt_and_the_check_is_asked_again_after_it() -> None:
    run = asked()
    run.say(On.STOP)
    assert run.session.quiet
    run.say(On.BREAK)
    run.say(On.READY)

    assert run.session.state is State.CHECKING
    come_to(run, State.SETUP)
    assert checks(run)["heard"] is True
