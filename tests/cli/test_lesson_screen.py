from __future__ import annotations

import io

from rich.console import Console

from coach.cli.lesson_screen import LessonScreen
from coach.ears.spoken import LessonStep, MicLevel
from coach.ears.takes import Fault
from coach.voice.pack import load_pack


def shown(*news: LessonStep | MicLevel, terminal: bool) -> str:
    out = io.StringIO()
    with LessonScreen(load_pack("en"), Console(file=out, force_terminal=terminal, width=100)) as screen:
        for each in news:
            screen.tell(each)
    return out.getvalue()


STEP = LessonStep("pain", 2, 3, 4, 9)


def test_each_step_is_a_line_with_the_word_the_take_and_why_it_was_refused() -> None:
    refused = LessonStep("pain", 2, 3, 4, 9, Fault.QUIET)

    assert shown(STEP, refused, terminal=False).splitlines() == [
        "it hurts: take 2 of 3 (word 5 of 9)",
        "it hurts: take 2 of 3 (word 5 of 9) ! That was too quiet. Come nearer.",
    ]


def test_a_terminal_shows_how_loud_it_is_and_how_long_the_room_is_listened_to() -> None:
    out = shown(MicLevel(-35.0, 7.0), terminal=True)

    assert "listening to the room: 7 of 20 s" in out
    assert "############............ -35 dBFS" in out


def test_without_a_terminal_the_meter_prints_nothing() -> None:
    assert shown(MicLevel(-35.0, 7.0), MicLevel(-20.0), terminal=False) == ""
