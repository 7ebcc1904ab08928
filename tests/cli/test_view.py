"""The live view: readable at 80 and at 40 columns, without colour, on a terminal and in a pipe."""

from __future__ import annotations

import io
from dataclasses import replace
from itertools import pairwise
from typing import Any, get_args, get_type_hints

import pytest
from hypothesis import given
from hypothesis import strategies as st
from rich.console import Console

from coach.cli.labels import Labels, clock
from coach.cli.view import REDRAW, Screen, View, changes, summary
from coach.errors import VoicePackError
from coach.logbook import Line, assemble
from coach.loglines import hearing, kinds, reasons
from coach.session.state import State
from coach.snapshot import Snapshot
from coach.voice.pack import load_pack

SCREENS = load_pack("en").screens
LABELS = Labels(SCREENS)

WORKING = Snapshot(
    at=16_000 * 65, state="working", person="Mira", title="Steadier ankle, weeks 1-4", said="Lower slowly.",
    exercise="Heel raise with slow lowering", set=2, sets=3, side="left", unit="reps", count=6, of=12, phase="lower",
    phase_done=0.5, phase_left=2.0, may_say=("stop", "pause"), heard="ready", heard_ear="taught", heard_at=16_000,
    time_left=420.0, mic=0.5, keys=(("space", "stop"),),
)  # fmt: skip


def drawn(snapshot: Snapshot, width: int = 80, encoding: str = "utf-8") -> list[str]:
    out = io.TextIOWrapper(io.BytesIO(), encoding=encoding, write_through=True)
    Console(file=out, width=width, no_color=True).print(Screen(snapshot, LABELS))
    out.seek(0)
    return out.read().splitlines()


def test_a_set_shows_where_it_is_and_what_is_said() -> None:
    text = "\n".join(drawn(WORKING))
    parts = (
        "Mira", "Working", "Heel raise with slow lowering", "Set 2 of 3", "left side", "of 12 reps", "lower", "2.0 s",
        "Lower slowly.", "stop", '"ready" (taught words)', "about 7 min left", "space: stop",
    )  # fmt: skip

    assert [part for part in parts if part not in text] == []


def test_the_count_is_drawn_five_rows_high() -> None:
    six, seven = drawn(WORKING), drawn(replace(WORKING, count=7))

    assert sum(one != other for one, other in zip(six, seven, strict=True)) >= 4


@pytest.mark.parametrize("width", [40, 80, 200])
@pytest.mark.parametrize("encoding", ["utf-8", "ascii"])
def test_the_screen_fits_24_rows_and_its_width(width: int, encoding: str) -> None:
    full = replace(WORKING, said="word " * 80, warnings=("microphone_gone", "speaker_gone"), exercise="long name " * 9)

    lines = drawn(full, width, encoding)

    assert len(lines) < 24
    assert max(map(len, lines)) <= width


@given(
    st.builds(
        Snapshot, at=st.integers(0), state=st.sampled_from([state.value for state in State]), said=st.text(),
        exercise=st.text(), phase=st.text(), count=st.integers(0, 999), phase_done=st.floats(-1, 2),
        phase_left=st.floats(-1, 99), rest_left=st.none() | st.floats(-9, 999), heard=st.text(), heard_ear=st.text(),
        mic=st.floats(0, 1), time_left=st.none() | st.floats(0, 9999), title=st.text(), person=st.text(),
    )
)  # fmt: skip
def test_any_moment_can_be_drawn_and_the_rows_never_jump(snapshot: Snapshot) -> None:
    assert len(drawn(snapshot)) == len(drawn(replace(WORKING, keys=())))


def test_the_bar_fills_as_the_phase_runs() -> None:
    def bar(done: float) -> str:
        return next(line for line in drawn(replace(WORKING, phase_done=done)) if line.startswith("  lower"))

    assert [bar(done).count("━") for done in (0.0, 0.5, 1.0)] == [0, 20, 40]


def test_a_rest_shows_its_seconds_instead_of_the_count() -> None:
    text = "\n".join(drawn(replace(WORKING, state="resting", rest_left=34.2, phase="")))

    assert "seconds of rest" in text
    assert "of 12 reps" not in text


def test_speech_that_nobody_understood_says_so() -> None:
    text = "\n".join(drawn(replace(WORKING, heard="", heard_ear="activity")))

    assert "not understood (voice detector)" in text


def test_a_lost_microphone_is_reported_in_words_in_place_of_the_count() -> None:
    lines = drawn(replace(WORKING, warnings=("microphone_gone",)))

    assert " !! The coach cannot hear" in [line.rstrip() for line in lines]
    assert any("There is no microphone" in line for line in lines)
    assert len(lines) == len(drawn(WORKING))


def test_without_a_terminal_an_alarm_is_one_line_when_it_begins() -> None:
    halted = replace(WORKING, state="halted")

    assert any("Halted. Nothing goes on" in text.plain for text in changes(WORKING, halted, LABELS))
    assert not any("Nothing goes on" in text.plain for text in changes(halted, replace(halted, at=1), LABELS))


def test_in_a_pipe_only_changes_are_printed() -> None:
    out = io.StringIO()
    with View(SCREENS, Console(file=out, width=80)) as view:
        view.show(WORKING)
        view.show(replace(WORKING, at=16_000 * 66, phase_done=0.75, mic=0.1))
        view.show(replace(WORKING, at=16_000 * 70, count=7))

    lines = out.getvalue().splitlines()
    assert [line.split()[:2] for line in lines] == [
        ["1:05", "State"], ["1:05", "Exercise"], ["1:05", "Now"], ["1:05", "Count"], ["1:05", "Heard"],
        ["1:10", "Count"],
    ]  # fmt: skip
    assert lines[-1].endswith("7 of 12 reps")
    assert "\x1b" not in out.getvalue()


def test_the_same_word_heard_twice_is_printed_twice() -> None:
    again = replace(WORKING, heard_at=32_000)

    assert [text.plain.split()[1] for text in changes(WORKING, again, LABELS)] == ["Heard"]


def test_a_hold_prints_every_fifth_second_only() -> None:
    moments = [replace(WORKING, unit="seconds", count=second) for second in range(1, 16)]

    printed = [line for one, two in pairwise(moments) for line in changes(one, two, LABELS)]

    assert [line.plain.split()[2] for line in printed] == ["5", "10", "15"]


def test_a_terminal_is_redrawn_ten_times_a_second_at_most() -> None:
    now = 0.0
    out = io.StringIO()
    console = Console(file=out, width=80, height=24, force_terminal=True)
    written = 0
    with View(SCREENS, console, now=lambda: now) as view:
        for step in range(100):
            now = step * 0.02
            before = len(out.getvalue())
            view.show(replace(WORKING, count=step))
            written += len(out.getvalue()) > before

    assert 10 < written <= 100 * 0.02 / REDRAW


def test_no_thread_is_started_by_the_view() -> None:
    import threading

    before = threading.active_count()
    with View(SCREENS, Console(file=io.StringIO(), force_terminal=True, width=80, height=24)) as view:
        view.show(WORKING)

        assert threading.active_count() == before


def test_the_summary_names_the_end_the_halt_and_the_sets(told: list[tuple[str, int, dict[str, Any]]]) -> None:
    record = assemble([Line(n, "2027-01-11T09:30:00Z", at, kind, f) for n, (kind, at, f) in enumerate(told, 1)])
    for width in (80, 40):
        out = io.StringIO()
        Console(file=out, width=width).print(summary(record, LABELS))
        text = " ".join(out.getvalue().split())

        for part in ("it felt unsteady", "Sets in full: 1 of 3", "Highest pain stated: 5", '"stop"', "halt, unsteady"):
            assert part in text
        assert max(map(len, out.getvalue().splitlines())) <= width


def test_every_word_of_a_record_has_a_label() -> None:
    wanted = {
        "why": get_args(reasons.SetWhy),
        "end": get_args(reasons.SessionWhy),
        "halt": get_args(reasons.HaltWhy),
        "state": [state.value for state in State],
        "device": get_args(get_type_hints(hearing.DeviceChanged)["what"]),
        "eased": get_args(get_type_hints(kinds.Eased)["what"]),
    }

    assert all(wanted.values())
    assert [
        f"{group}_{word}" for group, words in wanted.items() for word in words if f"{group}_{word}" not in SCREENS
    ] == []


def test_a_label_that_is_missing_is_named() -> None:
    with pytest.raises(VoicePackError, match='"nothing_like_it"'):
        LABELS("nothing_like_it")


def test_a_word_from_a_newer_record_is_shown_as_it_is() -> None:
    assert LABELS.word("why", "struck_by_lightning") == "struck by lightning"


@pytest.mark.parametrize(
    ("seconds", "said"), [(0, "0:00"), (59.9, "0:59"), (60, "1:00"), (3600, "60:00"), (-1, "0:00")]
)
def test_times_are_minutes_and_seconds(seconds: float, said: str) -> None:
    assert clock(seconds) == said
