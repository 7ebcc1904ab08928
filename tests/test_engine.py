"""The loop itself, with a fake device, voice and store: no speech, no room, only samples."""

from __future__ import annotations

import signal
import threading
from collections import deque
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, field, replace
from itertools import pairwise
from typing import Any

import numpy as np
import pytest
from budget import draws
from hypothesis import given, settings
from hypothesis import strategies as st
from in_the_room import PERSON, SMALL, prepared

from coach.audio.mixer import Mixer
from coach.cli.session_setup import Prepared, first_line
from coach.cli.signals import heeded
from coach.cli.snapshot_words import alarm
from coach.device_watch import LAST_WORDS, STALLS
from coach.ears.front import Ears
from coach.ears.keys import Keys
from coach.engine import Assignment, Engine, Equipment, Hooks
from coach.errors import DeviceError, RecordError, ToldToEndError
from coach.logbook import plain
from coach.loglines.kinds import KIND_OF, Fact, SessionBegun, SetEnded
from coach.measuring import Measured
from coach.ports import Block, Captured, Ear, Hearing
from coach.session.events import On
from coach.session.plan import Today
from coach.session.state import Session, State
from coach.snapshot import Snapshot
from coach.tempo.units import BLOCK, RATE, to_samples
from coach.words.phrases import VoicePack

LENGTH = to_samples(0.4)
"""Samples of every clip."""

ANSWERS = {
    State.CHECKING: "r",
    State.SCREENING: "n",
    State.SCREEN_CHECK: "y",
    State.WAITING: "r",
    State.RECOVERING: "r",
    State.PAUSED: "r",
    State.ASKING: "0",
    State.CONFIRMING: "y",
    State.HALTED: "b",
}
"""The key that an untroubled person presses in each state once the coach is silent."""


class Clips:
    """A voice whose every clip is a hum of the same length that begins at once."""

    def clip(self, _text: str) -> Block:
        return (0.3 * np.cos(np.arange(LENGTH) / 10)).astype(np.float32)


class NoEcho:
    """Replaces the echo canceller, which is most of the work of a session: nothing echoes here."""

    delay = 0

    def process(self, captured: Captured) -> Captured:
        return captured


@pytest.fixture(scope="module", autouse=True)
def no_echo() -> Iterator[None]:
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr("coach.engine.Canceller", NoEcho)
        yield


@dataclass
class Lines:
    """A store in memory whose disk may refuse every line from some line on, and accept them later."""

    breaks_at: int = -1
    mends_at: int = -1
    """Once this many lines wait, the disk takes them all."""
    waiting: list[tuple[str, int, dict[str, Any]]] = field(default_factory=list)
    lines: list[tuple[str, int, dict[str, Any]]] = field(default_factory=list)
    closed: bool = False

    def take(self, at: int, it: Fact) -> None:
        self.waiting.append((KIND_OF[type(it)], at, plain(it)))

    def flush(self) -> None:
        while self.waiting:
            mended = 0 <= self.mends_at <= len(self.waiting)
            self.breaks_at = -1 if mended else self.breaks_at
            if 0 <= self.breaks_at <= len(self.lines):
                raise RecordError("The disk is full; free some space.")
            self.lines.append(self.waiting.pop(0))

    def close(self, *, reachable: bool = True) -> None:
        self.closed = reachable

    def of(self, kind: str) -> list[dict[str, Any]]:
        return [fields for name, _, fields in self.lines if name == kind]

    def at(self, kind: str) -> list[int]:
        return [at for name, at, _ in self.lines if name == kind]


LIVE = np.resize(np.array([1e-4, -1e-4], np.float32), BLOCK)
"""The sound of a live microphone in a silent room."""


class Desk:
    """A device that delivers the silence of a live microphone, and a person with a keyboard."""

    rate = RATE

    def __init__(self, act: Callable[[Desk], str | None] | None = None, *, answers: bool = True) -> None:
        """`act` is called before each stretch and returns a key to press, "stall", or None; it may raise."""
        self.act = act
        self.answers = answers
        self.keys = Keys()
        self.now = 0
        self.quiet_for = 0
        self.mute_mic = False
        self.stuck = 0.0
        """The sound of a mute microphone."""
        self.holes: list[int] = []
        """Samples at which the device stood still."""
        self.blocks: list[Block] = []
        self.opened = self.closed = 0
        self.engine: Engine

    def open(self, render: Callable[[int, int], Block]) -> None:
        self.render = render
        self.opened += 1

    def read(self, timeout: float = 1.0) -> Captured | None:  # noqa: ARG002
        key = self.act(self) if self.act else None
        if key == "stall":
            self.holes.append(self.now)
            return None
        if key:
            self.keys.press(key)
        elif self.answers and self.quiet_for == RATE and (reply := ANSWERS.get(self.state)):
            self.keys.press(reply)
        played = self.render(self.now, BLOCK)
        self.blocks.append(played)
        self.quiet_for = 0 if played.any() else self.quiet_for + BLOCK
        mic = np.full(BLOCK, self.stuck, np.float32) if self.mute_mic else LIVE
        self.now += BLOCK
        return Captured(self.now - BLOCK, mic, played, mic.copy())

    def close(self) -> None:
        self.closed += 1

    @property
    def state(self) -> State:
        return self.engine.session.state

    @property
    def played(self) -> Block:
        return np.concatenate(self.blocks)

    def phase(self) -> tuple[int, int]:
        """Return rep (from 1) and phase (from 0) that run; (0, -1) outside."""
        running = self.engine.session.open_set
        if running is None or running.phase_began is None or self.state is not State.WORKING:
            return 0, -1
        return running.rep, running.phase


@dataclass
class Ran:
    why: str
    lines: Lines
    desk: Desk
    measured: Measured


QUIET = SMALL.replace("guide: tone", "guide: quiet").replace(
    "effort: each exercise, reps: each set", "effort: never, reps: never"
)


def brief(text: str = QUIET) -> Prepared:
    """Return the short program without its opening words."""
    ready = prepared(text)
    return replace(ready, today=replace(ready.today, first_session=False))


class Names:
    """An ear that reports a word, as the sound of the last half second, the first time that `when` holds."""

    def __init__(self, name: str, word: str, when: Callable[[], bool]) -> None:
        self.name, self.word, self.when = name, word, when
        self.done = False

    def open(self, words: frozenset[str]) -> None:
        pass

    def feed(self, captured: Captured) -> list[Hearing]:
        if self.done or not self.when():
            return []
        self.done, now = True, captured.at + BLOCK
        return [Hearing(self.name, "word", self.word, 0.9, now - RATE // 2, now, now)]


def engine(
    desk: Desk,
    lines: Lines,
    ready: Prepared,
    measured: Measured | None,
    *,
    ears: Sequence[Ear] = (),
    mixer: Mixer | None = None,
    **hooks: Any,
) -> Engine:
    equipment = Equipment(desk, Clips(), Ears([desk.keys, *ears]), lines, mixer or Mixer())
    made = Engine(Assignment(ready.today, ready.pack), equipment, Hooks(**hooks, measured=measured))
    desk.engine = made
    return made


def begun(ready: Prepared) -> SessionBegun:
    return first_line(ready, session="s", person=PERSON, ears=("keys",), device="desk")


def run(
    act: Callable[[Desk], str | None] | None = None,
    *,
    answers: bool = True,
    lines: Lines | None = None,
    ready: Prepared | None = None,
    **more: Any,
) -> Ran:
    """Run a session to its end."""
    desk, lines, ready, measured = Desk(act, answers=answers), lines or Lines(), ready or brief(), Measured()
    why = engine(desk, lines, ready, measured, **more).run(begun(ready))
    return Ran(why, lines, desk, measured)


class Once:
    """Presses a key the first time that `when` holds."""

    def __init__(self, key: str, when: Callable[[Desk], bool]) -> None:
        self.key, self.when = key, when
        self.at = -1

    def __call__(self, desk: Desk) -> str | None:
        if self.at < 0 and self.when(desk):
            self.at = desk.now
            return self.key
        return None


def test_a_session_runs_to_its_end_and_every_started_set_has_one_record() -> None:
    ran = run()

    assert ran.why == "done"
    assert [fields["counted"] for fields in ran.lines.of("set_ended")] == [3, 3]
    assert [fields["set_id"] for fields in ran.lines.of("set_begun")] == [1, 2]
    assert ran.lines.lines[0][0] == "session_begun"
    assert ran.lines.lines[-1][0] == "session_ended"
    assert ran.lines.closed
    assert ran.desk.closed == 1


def onsets(sound: Block) -> list[int]:
    """Return the samples at which sound begins after at least 20 ms of silence."""
    loud = np.flatnonzero(np.abs(sound) > 1e-4)
    return [int(at) for at, gap in zip(loud, np.diff(loud, prepend=-RATE), strict=True) if gap > to_samples(0.02)]


def places(ran: Ran, key: str) -> set[int]:
    """Return the samples at which phrases whose key begins with `key` were to begin."""
    return {s.at for s in ran.measured.soundings if s.phrase is not None and s.phrase.key.startswith(key)}


def test_every_count_begins_on_the_sample_that_the_programs_seconds_give() -> None:
    ran = run()
    starts = [event.at for _, event in ran.measured.events if event.on == "go"]
    heard = set(onsets(ran.desk.played))
    rep = to_samples(1.0 + 3.0)  # the phases of the program

    counts = [go + number * rep for go in starts for number in range(3)]
    assert len(counts) == 6
    assert [at for at in counts if at not in heard] == []


def test_a_key_halts_within_one_block_and_only_the_halts_words_sound_until_ready() -> None:
    halt = Once(" ", lambda desk: desk.phase() == (2, 1))
    ran = run(halt)

    halted, ready = ran.lines.at("halted")[0], next(at for at in ran.lines.at("ready") if at > halt.at)
    assert halted - halt.at == BLOCK
    heard = {at for at in onsets(ran.desk.played) if halted <= at < ready}
    assert heard
    assert heard <= places(ran, "halt_")
    assert ran.why == "done"
    assert [fields["counted"] for fields in ran.lines.of("set_ended")] == [3, 3]


def test_a_halt_cuts_what_sounds_within_one_block_and_the_fade() -> None:
    def when(desk: Desk) -> bool:
        return desk.phase() == (1, 0) and bool(desk.blocks[-1].any())

    halt = Once(" ", when)
    ran = run(halt, ready=brief())

    halted = ran.lines.at("halted")[0]
    begins = min(at for at in places(ran, "halt_") if at >= halted)
    assert begins == halted  # the halt's words come at once; what fades under them takes 5 ms
    after = slice(to_samples(0.005), LENGTH)
    assert np.allclose(ran.desk.played[halted : halted + LENGTH][after], Clips().clip("")[after], atol=1e-5)


def test_pain_above_the_limit_ends_the_session() -> None:
    ran = run(lambda desk: "7" if desk.state is State.ASKING and desk.quiet_for == to_samples(0.5) else None)

    assert ran.why == "pain"
    assert len(ran.lines.of("set_begun")) == 1
    assert ran.lines.of("session_ended")[0]["why"] == "pain"


def test_silence_never_begins_a_set() -> None:
    ran = run(answers=False)

    assert ran.why == "not_heard"
    assert ran.lines.of("set_begun") == []


@pytest.mark.parametrize("value", [0.0, -1 / 32768])
def test_a_dead_microphone_holds_the_set_within_a_second_and_work_waits_for_ready(value: float) -> None:
    began: list[int] = []

    def act(desk: Desk) -> None:
        desk.stuck = value
        if not began and desk.phase() == (2, 0):
            began.append(desk.now)
        desk.mute_mic = bool(began) and began[0] <= desk.now < began[0] + to_samples(5)

    ran = run(act)

    lost, back = ran.lines.at("device")[:2]
    assert [fields["what"] for fields in ran.lines.of("device")[:2]] == ["mic_lost", "mic_back"]
    assert lost - began[0] <= RATE
    assert back - began[0] - to_samples(5) <= BLOCK
    assert {at for at in onsets(ran.desk.played) if lost <= at < back} <= places(ran, "deaf")
    ready = next(at for at in ran.lines.at("ready") if at > back)
    assert [at for at in ran.lines.at("resumed") if back < at <= ready] == []
    assert ran.why == "done"


def test_the_session_waits_for_a_device_that_stands_still_and_then_for_ready() -> None:
    stalls = iter(["stall"] * 5)

    def act(desk: Desk) -> str | None:
        return next(stalls, None) if desk.phase() == (2, 0) or desk.state is State.MUTE else None

    ran = run(act)

    assert [fields["what"] for fields in ran.lines.of("device")] == ["speaker_lost", "speaker_back"]
    assert ran.why == "done"
    lost = ran.lines.at("device")[0]
    assert any(at > lost for at in ran.lines.at("ready"))


def test_one_gap_in_the_sound_stops_the_set_and_a_whole_second_without_another_brings_the_speaker_back() -> None:
    """A device that gives 0.1 s of sound now and then must not count as one that works."""
    holes: list[int] = []

    def act(desk: Desk) -> str | None:
        begun = desk.phase() == (2, 0) or holes
        if begun and len(holes) < 12 and (not holes or desk.now - holes[-1] >= to_samples(0.1)):
            holes.append(desk.now)
            return "stall"
        return None

    ran = run(act)

    assert [fields["what"] for fields in ran.lines.of("device")] == ["speaker_lost", "speaker_back"]
    lost, back = ran.lines.at("device")
    assert lost == holes[0]
    assert back - holes[-1] == RATE
    assert {at for at in onsets(ran.desk.played) if lost <= at < back} == set()
    assert [fields["counted"] for fields in ran.lines.of("set_ended")] == [3, 3]


def test_sound_that_stutters_both_ways_is_one_trouble_on_the_screen_and_a_few_lines_in_the_record() -> None:
    """As on a computer that is too busy: now and then a second of sound, and the microphone gives nothing at times."""
    began: list[int] = []
    shown: list[str] = []

    def act(desk: Desk) -> str | None:
        began.extend([desk.now] if not began and desk.phase() == (2, 0) else [])
        since = desk.now - began[0] if began else -1
        busy = 0 <= since < to_samples(30)
        desk.mute_mic = busy and since % to_samples(5) < to_samples(2)
        due = busy and since % to_samples(1.2) == 0 and desk.holes[-1:] != [desk.now]
        return "stall" if due else None

    ran = run(act, show=lambda now: shown.append(alarm(now)))

    device = [fields["what"] for fields in ran.lines.of("device")]
    troubles = [kind for kind, before in zip(shown, ["", *shown], strict=False) if kind != before and kind]
    assert len(ran.desk.holes) >= 25
    assert device.count("speaker_lost") <= 4
    assert device.count("speaker_lost") == device.count("speaker_back")
    assert {"mute", "deaf"} & set(troubles) == set()
    assert troubles.count("sound") <= 4
    assert said(ran).count("paused") <= 4
    assert ran.why == "done"


@given(st.lists(st.tuples(st.integers(0, 4000), st.sampled_from(["stall", "mute", " "])), min_size=1, max_size=6))
@settings(max_examples=draws(6, 20))
def test_a_rep_whose_sound_had_a_gap_is_not_counted(faults: list[tuple[int, str]]) -> None:
    """Faults come at any block of the session; each lasts 1.2 s of silence, or two reads without sound."""
    starts = {block * BLOCK: what for block, what in faults}
    stalls: list[str] = []
    mute_until = [0]

    def act(desk: Desk) -> str | None:
        what = starts.pop(desk.now, None)
        if what == "stall":
            stalls.extend(["stall"] * 2)
        if what == "mute":
            mute_until[0] = desk.now + to_samples(1.2)
        desk.mute_mic = desk.now < mute_until[0]
        return stalls.pop() if stalls else what if what == " " else None

    ran = run(act)

    done = [event.at for state, event in ran.measured.events if event.on is On.REP_DONE and state is State.WORKING]
    rep = to_samples(1.0 + 3.0)
    assert [(end, hole) for end in done for hole in ran.desk.holes if end - rep < hole < end] == []
    assert sum(fields["counted"] for fields in ran.lines.of("set_ended")) <= len(done) + len(ran.lines.of("held"))
    sounding = set(onsets(ran.desk.played))
    assert [end - rep for end in done if end - rep not in sounding] == []


def test_while_the_device_stands_still_the_keys_are_heard_and_a_session_can_be_finished() -> None:
    asked: list[int] = []

    def act(desk: Desk) -> str | None:
        if desk.phase() != (2, 0) and not asked:
            return None
        asked.append(desk.now)
        if len(asked) == 5:
            desk.keys.press("f")
        return "stall"

    ran = run(act)

    assert ran.why == "asked"
    assert len(asked) == LAST_WORDS
    assert [fields["word"] for fields in ran.lines.of("heard")][-1] == "finish"
    assert len(ran.lines.of("set_ended")) == 1


def test_a_device_that_never_comes_back_ends_the_session_with_a_record() -> None:
    asked: list[int] = []

    def act(desk: Desk) -> str | None:
        if desk.phase() == (2, 0) or asked:
            asked.append(desk.now)
            return "stall"
        return None

    ran = run(act)

    assert len(asked) == STALLS
    assert ran.why == "quit"
    assert len(ran.lines.of("set_ended")) == len(ran.lines.of("set_begun")) == 1
    assert ran.lines.closed


def test_a_device_that_gives_moments_of_sound_gets_no_more_time() -> None:
    asked: list[int] = []

    def act(desk: Desk) -> str | None:
        if desk.phase() == (2, 0) or asked:
            asked.append(desk.now)
            assert len(asked) <= 3 * STALLS, "the session waits for ever"
            return "stall" if len(asked) % 2 else None
        return None

    ran = run(act)

    assert len(ran.desk.holes) == STALLS
    assert ran.why == "quit"
    assert len(ran.lines.of("set_ended")) == len(ran.lines.of("set_begun")) == 1
    assert ran.lines.closed


def test_an_interrupt_from_the_keyboard_closes_the_record() -> None:
    def act(desk: Desk) -> None:
        if desk.phase() == (2, 1):
            raise KeyboardInterrupt

    ran = run(act)

    assert ran.why == "quit"
    assert ran.lines.lines[-1][0] == "session_ended"
    assert len(ran.lines.of("set_ended")) == 1
    assert ran.lines.closed
    assert ran.desk.closed == 1


@pytest.mark.parametrize(("by", "why"), [("keyboard", "quit"), ("system", "told_to_end"), ("terminal", "hung_up")])
def test_the_record_names_who_told_the_session_to_end(by: Any, why: str) -> None:
    def act(desk: Desk) -> None:
        if desk.phase() == (2, 1):
            raise ToldToEndError(by, 15)

    ran = run(act)

    assert ran.why == why
    assert ran.lines.lines[-1][0] == "session_ended"
    assert ran.lines.lines[-1][2]["why"] == why
    assert len(ran.lines.of("set_ended")) == 1


@pytest.mark.parametrize("number", [signal.SIGINT, signal.SIGTERM])
def test_a_signal_while_the_end_of_a_set_is_written_loses_no_line_of_it(number: signal.Signals) -> None:
    class Told(Lines):
        def take(self, at: int, it: Fact) -> None:
            if isinstance(it, SetEnded):
                signal.raise_signal(number)
                signal.raise_signal(number)
            super().take(at, it)

    with heeded() as told, told.noting():
        ran = run(lines=Told(), poll=told.look)

    assert [one["counted"] for one in ran.lines.of("set_ended")] == [3]
    assert ran.lines.lines[-1][0] == "session_ended"


def test_a_session_told_to_end_before_its_first_line_does_not_exist() -> None:
    def told() -> bool:
        raise ToldToEndError("system", 15)

    desk, lines, ready = Desk(), Lines(), brief()
    with pytest.raises(ToldToEndError):
        engine(desk, lines, ready, Measured(), poll=told).run(begun(ready))

    assert lines.lines == []
    assert lines.closed
    assert desk.closed == 1


def test_after_the_process_stood_still_work_waits_for_ready_and_the_record_says_so() -> None:
    stopped: list[int] = []

    def poll() -> bool:
        if not stopped and desk.phase() == (2, 1):
            stopped.append(desk.now)
            return True
        return False

    desk, lines, ready = Desk(), Lines(), brief()
    measured = Measured()
    engine(desk, lines, ready, measured, poll=poll).run(begun(ready))
    states = [state for state, event in measured.events if event.at >= stopped[0]]

    assert [one["what"] for one in lines.of("device")] == ["speaker_lost", "speaker_back"]
    assert states.index(State.MUTE) < states.index(State.PAUSED) < states.index(State.LEAD_IN)
    assert [event.on for state, event in measured.events if state is State.PAUSED][-1] is On.READY


def test_a_disk_that_is_full_at_the_first_line_ends_before_anything_sounds() -> None:
    desk, lines, ready = Desk(), Lines(breaks_at=0), brief()

    with pytest.raises(RecordError, match="free some space"):
        engine(desk, lines, ready, Measured()).run(begun(ready))

    assert lines.lines == []
    assert lines.closed
    assert desk.closed == 1
    assert desk.blocks == []


def kinds(lines: list[tuple[str, int, dict[str, Any]]]) -> list[str]:
    return [kind for kind, _, _ in lines]


def said(ran: Ran) -> list[str]:
    return [one.phrase.key for one in ran.measured.soundings if one.phrase is not None]


def held(by: object, seen: set[int]) -> int:
    """Return how many objects `by` holds, except those of the session and of the engine's surroundings."""
    if id(by) in seen or isinstance(by, Session | Today | Desk | Lines | VoicePack | type) or callable(by):
        return 0
    seen.add(id(by))
    parts: list[object] = [*by.items()] if isinstance(by, dict) else []
    if isinstance(by, list | tuple | set | frozenset | deque):
        parts = list(by)
    parts += vars(by).values() if hasattr(by, "__dict__") else []
    parts += [getattr(by, name) for name in getattr(by, "__slots__", ()) if hasattr(by, name)]
    return 1 + sum(held(part, seen) for part in parts)


def test_what_the_engine_holds_does_not_grow_with_the_length_of_a_session() -> None:
    ready = brief(QUIET.replace("sets: 2, reps: 3", "sets: 5, reps: 1"))
    sizes: dict[int, int] = {}

    def act(desk: Desk) -> None:
        if desk.state is State.RESTING and len(lines.of("set_ended")) not in sizes:
            sizes[len(lines.of("set_ended"))] = held(desk.engine, set())

    desk, lines = Desk(act), Lines()
    engine(desk, lines, ready, None).run(begun(ready))

    assert len(sizes) == 4
    assert max(sizes.values()) - sizes[2] <= 5, sizes


@pytest.mark.parametrize("line", [3, 8, 14])
def test_a_full_disk_ends_nothing_and_is_said_once_outside_the_work_and_at_the_end(line: int) -> None:
    whole = run()
    ran = run(lines=Lines(breaks_at=line))

    assert ran.why == "done"
    assert kinds(ran.lines.lines + ran.lines.waiting) == kinds(whole.lines.lines)
    assert len(ran.lines.lines) == line
    assert ran.lines.closed
    told = [state for state, event in ran.measured.events if event.on is On.UNWRITTEN]
    assert len(told) == 1
    assert said(ran).count("trouble_record") == 1
    assert "goodbye_unwritten" in said(ran)
    assert "goodbye" not in said(ran)


def test_a_disk_that_has_room_again_gets_all_lines_in_order_and_the_end_is_as_usual() -> None:
    whole = run()
    ran = run(lines=Lines(breaks_at=6, mends_at=5))

    assert (kinds(ran.lines.lines), ran.lines.waiting) == (kinds(whole.lines.lines), [])
    assert said(ran)[-1] == "goodbye"
    assert [event.on for _, event in ran.measured.events if event.on in (On.UNWRITTEN, On.WRITTEN)] == [
        On.UNWRITTEN,
        On.WRITTEN,
    ]


def test_a_hanging_disk_ends_nothing_is_reported_and_delays_no_end(monkeypatch: pytest.MonkeyPatch) -> None:
    free = threading.Event()

    class Stands(Lines):
        def flush(self) -> None:
            if self.lines:
                assert free.wait(60)
            super().flush()

    monkeypatch.setattr("coach.engine.LAST_WRITE", 0.01)
    ran = run(lines=Stands(closed=True))
    free.set()

    assert ran.why == "done"
    assert not ran.lines.closed, "what is busy with the disk is not closed: the record is kept elsewhere"
    assert said(ran).count("trouble_record") == 1
    assert "goodbye_unwritten" in said(ran)


def test_a_halt_works_while_the_disk_is_full() -> None:
    halt = Once(" ", lambda desk: desk.phase() == (2, 1))
    ran = run(halt, lines=Lines(breaks_at=3))

    assert ran.why == "done"
    assert "halted" in [kind for kind, _, _ in ran.lines.waiting]


def test_a_device_that_does_not_open_leaves_no_line() -> None:
    class Broken(Desk):
        def open(self, _render: Callable[[int, int], Block]) -> None:
            raise DeviceError("No such device.")

    desk, lines, ready = Broken(), Lines(), brief()

    with pytest.raises(DeviceError):
        engine(desk, lines, ready, Measured()).run(begun(ready))

    assert lines.lines == []
    assert lines.closed


def test_a_device_lost_for_good_in_a_set_is_reported_and_the_record_is_closed() -> None:
    def act(desk: Desk) -> None:
        if desk.phase() == (1, 1):
            raise DeviceError("The device is gone.")

    desk, lines, ready = Desk(act), Lines(), brief()

    with pytest.raises(DeviceError):
        engine(desk, lines, ready, Measured()).run(begun(ready))

    assert lines.lines[-1][0] == "session_ended"
    assert len(lines.of("set_ended")) == 1


def test_the_same_replies_give_the_same_record() -> None:
    first, second = run(), run()

    assert first.lines.lines == second.lines.lines
    assert np.array_equal(first.desk.played, second.desk.played)


def test_the_screen_gets_ten_snapshots_a_second_and_shows_the_count() -> None:
    shown: list[Snapshot] = []
    ran = run(show=shown.append)

    assert abs(len(shown) - ran.desk.now / RATE * 10) <= 2
    assert [s.count for s in shown if s.count][-1] == 3
    assert all(one.at < other.at for one, other in pairwise(shown))


def test_keys_are_read_in_every_stretch() -> None:
    asked: list[int] = []
    ran = run(poll=lambda: asked.append(1))

    assert len(asked) == 1 + len(ran.desk.blocks)  # and once before the first line


def test_an_ear_that_contradicts_ready_takes_the_lead_in_back_and_both_are_recorded() -> None:
    desk, lines, ready, measured = Desk(answers=False), Lines(), brief(), Measured()
    came_to: list[State] = []

    def waiting() -> bool:
        return desk.state is State.WAITING and desk.quiet_for > RATE // 2

    def leading_in() -> bool:
        return desk.state is State.LEAD_IN

    def answers(desk: Desk) -> str | None:
        came_to.append(desk.state)
        if desk.state is State.WAITING:
            return "f" if State.LEAD_IN in came_to else None
        return ANSWERS.get(desk.state) if desk.quiet_for == RATE else None

    desk.act = answers
    ears = [Names("taught", "ready", waiting), Names("vosk", "no", leading_in)]
    why = engine(desk, lines, ready, measured, ears=ears).run(begun(ready))

    assert why == "asked"
    assert lines.of("set_begun") == []
    heard = [
        (one["ear"], one["word"], one["used"], one["decision"]) for one in lines.of("heard") if one["ear"] != "keys"
    ]
    assert heard == [("taught", "ready", True, "understood"), ("vosk", "no", False, "disagreed")]


@pytest.mark.parametrize("word", ["ready", "yes", "no", "n3"])
def test_an_ear_that_is_not_trusted_alone_decides_nothing_and_what_it_heard_is_recorded(word: str) -> None:
    desk, lines, ready, measured = Desk(answers=False), Lines(), brief(), Measured()
    first = first_line(ready, session="s", person=PERSON, ears=("vosk",), device="desk")
    ear = Names("vosk", word, lambda: desk.state is State.CHECKING and desk.quiet_for > RATE // 2)

    assert engine(desk, lines, ready, measured, ears=[ear]).run(first) == "not_heard"
    assert [(one["word"], one["used"], one["decision"]) for one in lines.of("heard")] == [(word, False, "unclear")]
    assert lines.of("sound_check")[0]["heard"] is False
