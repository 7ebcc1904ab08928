"""What a terminal shows of standard error; the tests write to the descriptor, as C code does."""

from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[2]

CHILD = """
import os, sys
from coach.audio.foreign import keep_off_the_screen

for _ in range(3):
    keep_off_the_screen()
    os.write(2, b"ALSA lib pcm.c: underrun occurred\\n")
    print("a sentence of ours", file=sys.stderr)
raise RuntimeError("with its traceback")
"""


def error_output(fd: int) -> None:
    subprocess.run([sys.executable, "-c", CHILD], cwd=ROOT, stderr=fd, check=False, timeout=60)


@pytest.mark.skipif(os.name != "posix", reason="there is no pseudo-terminal here")
def test_foreign_lines_stay_off_a_terminal_and_our_lines_and_tracebacks_are_shown() -> None:
    screen, behind = os.openpty()
    error_output(behind)
    shown = os.read(screen, 100_000).decode()
    os.close(screen)
    os.close(behind)

    assert "ALSA" not in shown
    assert shown.count("a sentence of ours") == 3
    assert "RuntimeError: with its traceback" in shown


@pytest.mark.skipif(os.name != "posix", reason="descriptors are left as they are here")
def test_error_output_that_goes_to_a_file_holds_all_of_it(tmp_path: Path) -> None:
    with (tmp_path / "sound.log").open("wb") as log:
        error_output(log.fileno())
    kept = (tmp_path / "sound.log").read_text("utf-8")

    assert kept.count("ALSA lib pcm.c") == kept.count("a sentence of ours") == 3
    assert "RuntimeError: with its traceback" in kept
