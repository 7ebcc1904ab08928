"""A caregiver goes through whole visits: the steps, a session in a simulated room, the record that it leaves."""

from __future__ import annotations

import io
import os
import shutil
from dataclasses import dataclass, replace
from datetime import UTC, datetime
from pathlib import Path
from random import Random
from typing import Any

import pytest
from caregiver import Caregiver, a_place, words_on
from in_the_room import PERSON, SCRIPT, SMALL, Furnished

from coach.cli.session_setup import keep, prepare
from coach.cli.visit.people import free_id
from coach.cli.visit.visit import DESERTED, patience, visits
from coach.errors import DeviceError, RecordError, ToldToEndError
from coach.logbook.store import Home
from coach.page.server_link import Message
from coach.session.events import On
from coach.session.state import State
from coach.testing import RandomPerson, StoredRun, begin_in, live_in
from coach.voice.pack import load_pack

SHORT = SMALL.replace("sets: 2, reps: 3", "sets: 1, reps: 2").replace("effort: each exercise", "effort: never")
SILENT = "format: 1\nanswers: {}\n"
STEPS: dict[str, list[Any]] = {
    "who": [f"person.{PERSON}", "close"], "today": ["on"], "cautions": ["on"], "check": ["on"], "checked": ["on"],
    "teach": ["keys"], "reach": ["yes"], "after": [("done", {"note": "Went well."})],
}  # fmt: skip


@pytest.fixture
def program(tmp_path: Path) -> str:
    path = tmp_path / "short.yaml"
    path.write_text(SHORT, "utf-8")
    return str(path)


@pytest.fixture
def script(tmp_path: Path) -> Path:
    path = tmp_path / "patient.yaml"
    path.write_text(SCRIPT, "utf-8")
    return path


@pytest.fixture
def silent(tmp_path: Path) -> Path:
    path = tmp_path / "silent.yaml"
    path.write_text(SILENT, "utf-8")
    return path


@dataclass
class Visited:
    """A whole visit, its home, and what its terminal was to show."""

    home: Home
    caregiver: Caregiver
    shown: list[Any]


@pytest.fixture(scope="module")
def visited(furnished: Furnished, tmp_path_factory: pytest.TempPathFactory) -> Visited:
    """Return one successful visit, shared by the tests that only look at it."""
    folder, shown = tmp_path_factory.mktemp("visited"), []
    home = furnished.home.root
    shutil.copytree(home / "clips", folder / "home" / "clips", copy_function=os.link)
    shutil.copytree(home / "people", folder / "home" / "people", ignore=shutil.ignore_patterns("*.jsonl"))
    (folder / "short.yaml").write_text(SHORT, "utf-8")
    (folder / "patient.yaml").write_text(SCRIPT, "utf-8")
    caregiver = Caregiver(STEPS)
    place = a_place(folder / "home", caregiver, script=folder / "patient.yaml", file=str(folder / "short.yaml"))
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr("coach.cli.visit.visit.View.show", lambda _self, snapshot: shown.append(snapshot))
        visits(place)
    return Visited(Home(folder / "home"), caregiver, shown)


def test_a_visit_goes_one_step_at_a_time_and_ends_in_a_record_with_the_caregivers_note(visited: Visited) -> None:
    caregiver = visited.caregiver
    (record,) = visited.home.history(PERSON).records

    assert caregiver.steps() == [
        "who", "today", "cautions", "teach", "preparing", "check", "checking", "checked", "reach", "session", "after",
        "who",
    ]  # fmt: skip
    assert (record.why, record.sets_in_full) == ("done", 1)
    assert record.notes == (("Went well.", "caregiver"),)
    assert visited.home.history(PERSON).problems == ()
    assert "understood: ready" in words_on(caregiver.of("checked")[-1])
    after = words_on(caregiver.of("after")[0])
    assert "Ended: all done. Days to the next session: 1." in after
    assert "counted 2" in after
    assert "Highest pain stated: 2" in after


def test_what_the_page_shows_of_a_session_is_what_the_terminal_is_given(visited: Visited) -> None:
    moments = visited.caregiver.moments()

    pairs = [(one["state"], one["said"], one["mic"]) for one in moments]
    assert pairs == [(one.state, one.said, round(one.mic, 2)) for one in visited.shown]
    assert {"working", "asking", "closing"} <= {one["state"] for one in moments}


ANSWERS = {"checking": "r", "screening": "n", "screen_check": "y", "waiting": "r", "confirming": "y"}


class AtTheButtons:
    """Answers everything by button, and halts once in the middle of the lowering."""

    def __init__(self) -> None:
        self.halted = 0
        self.last: tuple[str, str] = ("", "")
        self.moments = 0

    def __call__(self, screen: Message) -> str:
        state, open_keys = screen["state"], {key["key"] for key in screen["keys"]}
        asked = (state, screen["said"])
        self.moments += 1
        assert self.moments < 6000, f"ten minutes, and still {asked}"
        if state == "working" and not self.halted and (screen["phase"] or {}).get("name") == "lower":
            self.halted += 1
            return " "
        if asked == self.last and self.moments % 30:
            return ""
        key = {
            **ANSWERS, "halted": "b", "recovering": "r", "paused": "r", "asking": "2" if "2" in open_keys else "y",
        }.get(state, "")  # fmt: skip
        if key in open_keys:
            self.last = asked
            return key
        return ""


def test_answers_by_button_carry_a_whole_session_with_a_halt_in_mid_rep(
    room_home: Path, program: str, silent: Path
) -> None:
    caregiver = Caregiver(STEPS, AtTheButtons())
    visits(a_place(room_home, caregiver, script=silent, file=program))
    (record,) = Home(room_home).history(PERSON).records

    assert record.why == "done"
    assert [(halt.ear, halt.phase, halt.why) for halt in record.halts] == [("page", "lower", "break")]
    assert any(moment["alarm"] and moment["alarm"]["kind"] == "halted" for moment in caregiver.moments())
    assert {one.ear for one in record.questions} == {"page"}


def test_the_space_bar_of_the_terminal_halts_a_session_of_the_page(room_home: Path, program: str, silent: Path) -> None:
    at_buttons = AtTheButtons()
    at_buttons.halted = 1  # so that the page does not halt
    states: list[str] = []
    halted: list[str] = []

    def press(screen: Message) -> str:
        states.append(screen["state"])
        return at_buttons(screen)

    caregiver = Caregiver(STEPS, press)

    def pressed() -> str:
        if states and states[-1] == "working" and not halted:
            halted.append(" ")
            return " "
        return ""

    visits(a_place(room_home, caregiver, script=silent, file=program, pressed=pressed))
    (record,) = Home(room_home).history(PERSON).records

    assert [halt.ear for halt in record.halts] == ["keys"]


def test_a_first_session_that_needs_somebody_within_reach_does_not_begin_without(
    room_home: Path, tmp_path: Path, script: Path
) -> None:
    file = tmp_path / "reach.yaml"
    file.write_text(SMALL.replace("within_reach: not needed", "within_reach: first session"), "utf-8")
    caregiver = Caregiver(STEPS | {"reach": ["no", "over"], "who": [f"person.{PERSON}", "close"]})
    visits(a_place(room_home, caregiver, script=script, file=str(file)))

    assert "surely enough" in caregiver.of("reach")[-1]["problem"]  # Mira has no verdict yet
    assert [choice["id"] for choice in caregiver.of("reach")[-1]["choices"]] == ["yes", "over"]
    assert caregiver.moments() == []
    assert Home(room_home).history(PERSON).records == ()


def test_a_person_without_taught_words_is_told_that_somebody_must_stay_at_the_buttons(
    room_home: Path, program: str, silent: Path
) -> None:
    new: dict[str, list[Any]] = {
        "who": ["new", "close"],
        "new": [("on", {"name": " "}), ("on", {"name": "Zoë <b>O'Neil</b>\u202e\n"})],
    }
    caregiver = Caregiver(STEPS | new | {"teach": ["keys"], "reach": ["no", "over"]})
    visits(a_place(room_home, caregiver, script=silent, file=program))
    home = Home(room_home)

    assert home.person("zoe-b-o-neil-b").name == "Zoë <b>O'Neil</b>"
    assert caregiver.of("new")[1]["problem"] == "Write a name, so that the sessions can be told apart."
    assert "somebody must stay at the keyboard" in caregiver.of("reach")[-1]["problem"]
    assert "No words were taught" in words_on(caregiver.of("checked")[-1])


@pytest.mark.usefixtures("learns_little")
def test_words_are_taught_beside_the_page_and_a_stop_keeps_what_was_taught(
    room_home: Path, program: str, silent: Path
) -> None:
    class Stops(Caregiver):
        """Stops the lesson once a word is complete."""

        def presses(self) -> list[Message]:
            screen = self.seen[-1]
            if screen.get("id") == "lesson" and "Good: 3 of 3" in words_on(screen):
                return [{"do": "choose", "serial": screen["serial"], "id": "stop", "fields": {}}]
            return super().presses()

    new: dict[str, list[Any]] = {"who": ["new", "close"], "new": [("on", {"name": "Sam"})], "teach": ["teach"]}
    caregiver = Stops(STEPS | new | {"check": ["over"]})
    visits(a_place(room_home, caregiver, script=silent, file=program))
    lesson = caregiver.of("lesson")

    assert "Say: stop" in {screen["head"] for screen in lesson}
    assert any(screen["meter"]["level"] > 0.3 for screen in lesson)
    assert any(screen["progress"] and screen["progress"]["of"] == 20 for screen in lesson), "the room"
    assert (Home(room_home).person("sam").takes / "enrolment.npz").exists()


def test_a_missing_device_is_reported_on_the_page_and_can_be_tried_again(
    room_home: Path, program: str, script: Path
) -> None:
    class Unplugged:
        def session(self, _pack: object) -> Any:
            raise DeviceError("There is no microphone; plug one in.")

        def lesson(self, _pack: object, _say: object) -> Any:
            raise DeviceError("There is no microphone; plug one in.")

    caregiver = Caregiver(STEPS | {"checked": ["again", "on"], "who": [f"person.{PERSON}", "close"]})
    visits(a_place(room_home, caregiver, script=script, file=program, sound=Unplugged()))

    assert [screen["problem"] for screen in caregiver.of("checked")] == ["There is no microphone; plug one in."] * 2
    assert caregiver.of("who")[-1]["problem"] == "There is no microphone; plug one in."
    assert Home(room_home).history(PERSON).records == ()


def test_a_second_session_on_the_day_is_early_and_not_today_is_the_large_choice(
    room_home: Path, program: str, script: Path
) -> None:
    home = Home(room_home)
    ready = prepare(program, home, PERSON)
    keep(ready, home, PERSON)
    live_in(home, PERSON, ready.today, RandomPerson(Random(2), odd=0.0, silent=0.0))
    caregiver = Caregiver(STEPS | {"today": ["off"], "who": [f"person.{PERSON}", "close"]})
    visits(a_place(room_home, caregiver, script=script))
    (today,) = caregiver.of("today")

    assert "It is early" in today["lead"]
    assert [(choice["id"], choice["weight"]) for choice in today["choices"][:2]] == [("off", "main"), ("on", "plain")]
    assert "next on" in words_on(caregiver.of("who")[0])
    assert len(Home(room_home).history(PERSON).records) == 1


def test_the_page_is_in_korean_if_the_first_step_or_the_program_is(tmp_path: Path, silent: Path) -> None:
    caregiver = Caregiver({"new": [("on", {"name": "민서"})], "program": ["program.desk_neck_back_ko"],
                           "today": ["off"], "who": ["close"]})  # fmt: skip
    visits(a_place(tmp_path / "home", caregiver, script=silent, language="ko"))
    korean = load_pack("ko").screens

    assert Home(tmp_path / "home").people() == ("person",)
    assert {screen["lang"] for screen in caregiver.seen} == {"ko"}
    assert caregiver.of("today")[0]["head"] == korean["page_today"].format(name="민서")


@pytest.mark.parametrize(
    ("name", "made"),
    [
        ("Ann", "ann"),
        ("../../etc", "etc"),
        ("민서", "person"),
        ("A" * 200, "a" * 30),
        ("-", "person"),
        ("con", "con-2"),
    ],
)
def test_no_name_gives_an_id_that_is_a_path(name: str, made: str) -> None:
    assert free_id(name, ()) == made
    assert free_id(name, (made,)) == ("con-3" if name == "con" else f"{made}-2")


def test_a_session_that_broke_off_is_offered_beside_other_programs_with_what_is_left_and_taken_up(
    room_home: Path, tmp_path: Path, script: Path
) -> None:
    file = tmp_path / "two.yaml"
    file.write_text(SMALL.replace("reps: 3", "reps: 2"), "utf-8")
    home = Home(room_home)
    ready = prepare(str(file), home, PERSON)
    keep(ready, home, PERSON)
    with begin_in(home, PERSON, ready.today) as store:
        run, person = StoredRun(ready.today, store.append), RandomPerson(Random(2), odd=0.0, silent=0.0)
        while run.session.state is not State.RESTING:
            person.move(run)
        run.say(On.QUIT)
    looks = {"broken": ["program", "on"], "program": ["program.two"], "who": [f"person.{PERSON}", "close"]}
    second = Caregiver(STEPS | looks)
    visits(a_place(room_home, second, script=script, file=str(file)))
    before, after = Home(room_home).history(PERSON).records

    assert "Sets begun: 1. Sets left: 1." in second.of("broken")[0]["lead"]
    assert (before.why, [one.set for one in before.sets]) == ("quit", [1])
    assert (after.why, [one.set for one in after.sets]) == ("done", [2])


def test_after_a_session_whose_record_could_not_be_kept_the_page_says_where_it_is(
    room_home: Path, program: str, script: Path
) -> None:
    def gone(screen: Message) -> str:
        if screen["state"] == "working" and (room_home / "people").exists():
            (room_home / "people").rename(room_home / "moved")
        return ""

    caregiver = Caregiver(STEPS | {"after": ["done"], "new": ["over"]}, gone)
    with pytest.raises(AssertionError, match="nothing is chosen"):  # the emptied home has nobody to choose
        visits(a_place(room_home, caregiver, script=script, file=program))
    after = caregiver.of("after")[0]

    assert "The record could not be written" in after["problem"]
    assert after["fields"] == ()
    assert "Ended: all done." in words_on(after)
    assert any(one["alarm"] and one["alarm"]["kind"] == "unwritten" for one in caregiver.moments())


def test_a_ready_pressed_before_a_halt_and_received_after_it_starts_nothing(
    room_home: Path, program: str, silent: Path
) -> None:
    class Slow(Caregiver):
        """At a page whose "ready" for the first set arrives late."""

        held_up: Message | None = None

        def presses(self) -> list[Message]:
            screen, pressed = self.seen[-1], super().presses()
            if screen["kind"] == "session" and screen["state"] == "waiting":
                self.held_up = self.held_up or next(iter(pressed), None)
                return []
            if screen["kind"] == "session" and screen["state"] == "halted":
                return [self.held_up] if self.held_up else []
            return pressed

    caregiver = Slow(STEPS | {"after": ["done"]}, AtTheButtons())
    halted: list[str] = []

    def pressed() -> str:
        state = caregiver.seen[-1].get("state", "")
        if not halted and caregiver.held_up and state == "waiting":
            halted.append(state)
            return " "
        if halted:
            halted.append(state)
            if len(halted) > 200 or state == "lead_in":
                raise KeyboardInterrupt
        return ""

    visits(a_place(room_home, caregiver, script=silent, file=program, pressed=pressed))

    assert "halted" in halted
    assert "lead_in" not in halted


def test_people_who_cannot_be_read_are_reported_once_and_tried_again_on_request(
    room_home: Path, program: str, script: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def refused(_: Home) -> tuple[str, ...]:
        raise RecordError("The people cannot be read; look after the disk.")

    monkeypatch.setattr(Home, "people", refused)
    caregiver = Caregiver({"who": ["again", "close"]})
    visits(a_place(room_home, caregiver, script=script, file=program))

    assert [screen["problem"] for screen in caregiver.seen] == ["The people cannot be read; look after the disk."] * 2


@pytest.mark.parametrize("refusal", [OSError(28, "No space left on device"), BrokenPipeError(32, "Broken pipe")])
def test_a_terminal_that_cannot_be_written_to_ends_no_session(
    room_home: Path, program: str, script: Path, monkeypatch: pytest.MonkeyPatch, refusal: OSError
) -> None:
    class Refusing(io.StringIO):
        def write(self, text: str) -> int:
            if any(screen.get("state") == "working" for screen in caregiver.seen[-1:]):
                raise refusal
            return len(text)

    monkeypatch.setattr("rich.console.os.dup2", lambda *_: None)  # rich closes the output of a closed pipe
    caregiver = Caregiver(STEPS)
    place = a_place(room_home, caregiver, script=script, file=program)
    place.console.file = Refusing()
    visits(place)
    (record,) = Home(room_home).history(PERSON).records

    assert record.why == "done"
    assert "after" in caregiver.steps()


def test_keys_typed_in_the_terminal_before_the_session_are_dropped(room_home: Path, program: str, script: Path) -> None:
    typed = ["f" * 64, "f"]
    visits(a_place(room_home, Caregiver(STEPS), script=script, file=program,
                   pressed=lambda: typed.pop() if typed else ""))  # fmt: skip
    (record,) = Home(room_home).history(PERSON).records

    assert record.why == "done"


def test_a_device_that_is_gone_for_good_ends_the_session_with_a_record_and_the_reason(
    room_home: Path, program: str, script: Path
) -> None:
    caregiver = Caregiver(STEPS | {"after": ["done"]})
    place = a_place(room_home, caregiver, script=script, file=program)
    room = place.sound

    class Leaves:
        """Passes everything on until the work, and is then gone."""

        lesson = room.lesson

        def session(self, pack: Any) -> Any:
            made = room.session(pack)
            read = made.device.read

            def until_the_work(timeout: float = 1.0) -> Any:
                if caregiver.seen[-1].get("state") == "working":
                    raise DeviceError("The speaker is gone; plug it in.")
                return read(timeout)

            made.device.read = until_the_work  # type: ignore[method-assign]
            return made

    visits(replace(place, sound=Leaves()))
    (record,) = Home(room_home).history(PERSON).records
    (after,) = caregiver.of("after")

    assert after["problem"] == "The speaker is gone; plug it in."
    assert "Ended: stopped from outside." in words_on(after)
    assert (record.why, len(record.sets)) == ("quit", 1)


def test_a_plan_of_yesterday_is_not_begun(room_home: Path, program: str, script: Path) -> None:
    day = [datetime(2027, 1, 11, 12, tzinfo=UTC)]

    class Sleeps(Caregiver):
        """Leaves the page open overnight before the last step."""

        def presses(self) -> list[Message]:
            if self.seen[-1].get("id") == "reach":
                day[0] = datetime(2027, 1, 12, 12, tzinfo=UTC)
            return super().presses()

    caregiver = Sleeps(STEPS | {"who": [f"person.{PERSON}", "close"]})
    visits(a_place(room_home, caregiver, script=script, file=program, now=lambda: day[0]))

    assert caregiver.moments() == []
    assert "The day has changed" in caregiver.of("who")[-1]["problem"]


def test_whoever_is_on_hold_is_told_why_and_whom_to_call_and_nothing_can_be_chosen_but_the_start(
    tmp_path: Path, script: Path
) -> None:
    home = Home(tmp_path / "home")
    home.add_person("maria", "Maria")
    ready = prepare("kneecap_steady", home, "maria")
    with begin_in(home, "maria", ready.today) as store:
        run = StoredRun(ready.today, store.append)
        person = RandomPerson(Random(1), odd=0.0, silent=0.0)
        while run.session.state is not State.SCREENING or run.agenda.talking:
            person.move(run)
        run.say(On.YES)
    caregiver = Caregiver({"who": ["person.maria", "close"], "on_hold": ["over"]})
    visits(a_place(home.root, caregiver, script=script))

    assert caregiver.steps() == ["who", "on_hold", "who"]
    (step,) = {words_on(one) for one in caregiver.of("on_hold")}
    assert "Maria: On hold: no session begins until the therapist has cleared it." in step
    assert 'the answer to "Has the kneecap slipped or the knee given way since last time?" was yes.' in step
    assert "Call the clinic that gave you this program." in step
    assert [one["id"] for one in caregiver.of("on_hold")[-1]["choices"]] == ["over"]
    assert "Maria on hold" in words_on(caregiver.of("who")[-1])


def test_the_page_can_be_closed_in_an_empty_home(tmp_path: Path, script: Path) -> None:
    caregiver = Caregiver({"new": ["close"]})
    visits(a_place(tmp_path / "home", caregiver, script=script))

    assert caregiver.steps() == ["new"]


def test_a_session_ends_without_terminal_and_page_and_a_reloaded_page_ends_nothing() -> None:
    there = [True] * 3 + [False] * (DESERTED - 1) + [True] + [False] * DESERTED
    seen = iter([not one for one in there])
    look = patience(lambda: next(seen, True))
    for _ in there:
        look()

    with pytest.raises(ToldToEndError) as ended:
        look()

    assert ended.value.by == "terminal"
