"""A signal to end or stop is handled in order: one sentence, a closed record, nothing half-written."""

from __future__ import annotations

import io
import signal
import subprocess
import sys
from collections.abc import Callable, Iterable, Iterator
from pathlib import Path
from threading import Event
from typing import Any

import numpy as np
import pytest
import soundfile
from in_the_room import PERSON, SMALL
from rich.console import Console

from coach.cli import decide, main, sounding
from coach.cli.signals import INSISTS, Signals, heeded, told
from coach.cli.view import View
from coach.errors import ToldToEndError
from coach.logbook.store import Home
from coach.logbook.writing import SessionStore
from coach.loglines.kinds import SessionBegun
from coach.ports import Block
from coach.snapshot import Snapshot
from coach.voice.pack import load_pack

HUP = getattr(signal, "SIGHUP", None)
ENDS = [signal.SIGINT, signal.SIGTERM, *([HUP] if HUP else [])]
WHY = {signal.SIGINT: "quit", signal.SIGTERM: "told_to_end", HUP: "hung_up"}


@pytest.fixture(autouse=True)
def shown() -> Iterator[None]:
    """Restore the streams that a closed terminal replaces."""
    before = sys.stdout, sys.stderr
    yield
    sys.stdout, sys.stderr = before


class Hum:
    """A voice whose clips are all the same short hum; nothing is rendered."""

    unkept = ""

    def prepare(self, texts: Iterable[str], *_: object) -> int:
        return len(list(texts))

    def clip(self, _text: str) -> Block:
        return (0.3 * np.cos(np.arange(1600) / 10)).astype(np.float32)


@pytest.fixture
def home(tmp_path: Path) -> Home:
    home = Home(tmp_path / "home")
    home.add_person(PERSON)
    return home


@pytest.fixture
def begin(home: Home, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Callable[[], int]:
    """Return a function that runs a session in which nobody answers, and returns its exit status."""
    program, quiet = tmp_path / "small.yaml", tmp_path / "quiet.wav"
    program.write_text(SMALL, "utf-8")
    soundfile.write(quiet, np.zeros(1600), 16_000)
    monkeypatch.setattr(sounding, "coach_voice", lambda *_: Hum())
    words = ["start", str(program), "--person", PERSON, "--recording", str(quiet), "--ears", "keys"]
    return lambda: main([*words, "--home", str(home.root)])


@pytest.mark.parametrize("number", ENDS)
def test_a_session_ended_while_a_line_is_written_has_a_whole_record_with_the_reason(
    number: signal.Signals, begin: Callable[[], int], home: Home, monkeypatch: pytest.MonkeyPatch
) -> None:
    take = SessionStore.take

    def told_in(store: SessionStore, *line: Any) -> None:
        if isinstance(line[-1], SessionBegun):
            signal.raise_signal(number)
            signal.raise_signal(number)  # a second Ctrl-C tears nothing either
        take(store, *line)

    monkeypatch.setattr(SessionStore, "take", told_in)

    status = begin()
    history = home.history(PERSON)

    assert status == 128 + number
    assert history.problems == ()
    (record,) = history.records
    assert record.why == WHY[number]
    assert record.program == "small"
    with home.one_session():  # the lock is released
        pass


@pytest.mark.parametrize("number", ENDS)
def test_a_command_ended_before_its_session_prints_one_sentence_and_leaves_no_record(
    number: signal.Signals,
    begin: Callable[[], int],
    home: Home,
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
) -> None:
    def prepare(*_: object) -> int:
        signal.raise_signal(number)
        raise AssertionError("it goes no further")

    monkeypatch.setattr(Hum, "prepare", prepare)
    before = sorted(home.root.rglob("*"))

    status = begin()

    assert status == 128 + number
    err = capsys.readouterr().err
    assert err.count("\n") == (0 if number == HUP else 1), "a closed terminal gets no sentence"
    assert sorted(home.root.rglob("*")) == before


def test_a_session_ended_before_its_first_sound_leaves_no_record(
    begin: Callable[[], int], home: Home, monkeypatch: pytest.MonkeyPatch
) -> None:
    create = Home.begin

    def begun(home: Home, person: str) -> SessionStore:
        store = create(home, person)
        with told().noting():
            signal.raise_signal(signal.SIGTERM)
        return store

    monkeypatch.setattr(Home, "begin", begun)

    assert begin() == 128 + signal.SIGTERM
    assert list(home.person(PERSON).sessions.iterdir()) == []


def test_any_command_says_who_ended_it(monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]) -> None:
    monkeypatch.setattr(decide, "run", lambda _: signal.raise_signal(signal.SIGTERM))

    status = main(["decide", "mira", "heel", "up", "--by", "Kim"])

    assert (status, capsys.readouterr().err) == (143, "coach decide: told to end by the system.\n")


def test_a_signal_whose_error_a_library_wraps_still_gives_one_sentence(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    def query(_: object) -> None:
        try:
            signal.raise_signal(signal.SIGINT)
        except KeyboardInterrupt as error:
            raise RuntimeError("Query interrupted") from error

    monkeypatch.setattr(decide, "run", query)

    status = main(["decide", "mira", "heel", "up", "--by", "Kim"])

    assert (status, capsys.readouterr().err) == (130, "coach decide: ended from the keyboard.\n")


def test_only_the_first_signal_raises_unless_another_follows_much_later() -> None:
    now = [0.0]
    one = Signals(lambda: now[0])

    with pytest.raises(ToldToEndError):
        one.to_end(signal.SIGTERM)
    one.to_end(signal.SIGTERM)
    now[0] = INSISTS
    with pytest.raises(ToldToEndError) as insisted:
        one.to_end(signal.SIGINT)

    assert insisted.value.by == "system", "the first signal is the reason"


def test_during_a_session_a_signal_is_only_noted_until_the_loop_looks() -> None:
    one = Signals()

    with one.noting():
        assert not one.look()
        one.to_end(signal.SIGTERM)
        with pytest.raises(ToldToEndError):
            one.look()


@pytest.mark.skipif(HUP is None, reason="no such signal here")
def test_a_closed_terminal_gets_no_more_output_and_ends_no_command_that_outlives_it() -> None:
    assert HUP is not None
    left: list[str] = []
    shown = sys.stdout
    with heeded() as one:
        one.at_hang_up = lambda: left.append("left")
        one.to_end(HUP)

    assert left == ["left"]
    assert sys.stdout is not shown, "the flush at exit would fail, too"
    assert one.end is None


class Last:
    """An object whose finaliser gets the signal, where Python swallows any error."""

    def __del__(self) -> None:
        signal.raise_signal(signal.SIGTERM)


@pytest.mark.skipif(not hasattr(signal, "setitimer"), reason="no timer here: the next signal ends it")
def test_a_signal_whose_error_python_swallows_still_ends_the_command(capsys: pytest.CaptureFixture[str]) -> None:
    last = [Last()]
    with pytest.raises(ToldToEndError), heeded():  # noqa: PT012  it comes while the block waits
        last.clear()
        Event().wait(10)

    assert capsys.readouterr().err == ""


@pytest.mark.skipif(HUP is None, reason="no such signal here")
def test_a_signal_ignored_from_the_start_stays_ignored() -> None:
    assert HUP is not None
    before = signal.signal(HUP, signal.SIG_IGN)
    try:
        with heeded():
            assert signal.getsignal(HUP) is signal.SIG_IGN
    finally:
        signal.signal(HUP, before)


AT_THE_START = """
import runpy, signal, sys
class AtImport:
    def find_spec(self, name, *_):
        if name == "coach.cli":
            signal.raise_signal(signal.SIGINT)
sys.meta_path.insert(0, AtImport())
"""
AT_THE_END = """
import atexit, runpy, signal, sys
atexit.register(signal.raise_signal, signal.SIGINT)
sys.argv[1:] = ["words", "--help"]
"""


@pytest.mark.skipif(sys.platform == "win32", reason="Windows cannot send Ctrl-C to one process")
@pytest.mark.parametrize("when", [AT_THE_START, AT_THE_END])
def test_ctrl_c_while_python_starts_or_ends_prints_nothing(when: str) -> None:
    code = f"{when}runpy.run_module('coach', run_name='__main__', alter_sys=True)"

    ran = subprocess.run([sys.executable, "-c", code], check=False, capture_output=True, text=True)

    assert ran.stderr == ""
    assert ran.returncode == -signal.SIGINT


@pytest.mark.skipif(not hasattr(signal, "SIGCONT"), reason="no such signal here")
def test_after_a_stop_the_screen_is_taken_again_and_the_loop_is_told_once() -> None:
    seen: list[str] = []
    one = Signals()
    with one.screen(lambda: seen.append("left"), lambda: seen.append("taken")), one.noting():
        one.to_go_on()
        assert seen == []
        told_of = [one.look(), one.look()]

    assert told_of == [True, False]
    assert seen == ["taken"]


@pytest.mark.parametrize("error", [OSError(5, "Input/output error"), SystemExit(1)])
@pytest.mark.parametrize("terminal", [True, False])
def test_a_screen_that_cannot_be_written_to_ends_nothing(terminal: bool, error: BaseException) -> None:
    class Gone(io.StringIO):
        broken = False

        def write(self, text: str) -> int:
            if self.broken:
                raise error
            return len(text)

    file = Gone()
    with View(load_pack("en").screens, Console(file=file, force_terminal=terminal, markup=False)) as view:
        file.broken = True
        view.show(Snapshot(at=0, state="working"))
        view.show(Snapshot(at=16_000, state="halted"))
