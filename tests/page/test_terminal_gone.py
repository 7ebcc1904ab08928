"""The terminal that started the page is closed during a set: only the terminal ends."""

from __future__ import annotations

import os
import re
import signal
import subprocess
import sys
from pathlib import Path

import pytest
from in_the_room import PERSON, SCRIPT, SMALL
from window import Window

from coach.logbook.store import Home


@pytest.mark.skipif(not hasattr(signal, "SIGHUP"), reason="no such signal here")
def test_a_terminal_closed_during_a_set_ends_nothing_while_somebody_looks(room_home: Path, tmp_path: Path) -> None:
    patient, program = tmp_path / "patient.yaml", tmp_path / "program.yaml"
    patient.write_text(SCRIPT, "utf-8")
    program.write_text(SMALL.replace("sets: 2", "sets: 1"), "utf-8")
    ran = subprocess.Popen(
        [sys.executable, "-m", "coach", "page", str(program), "--no-browser", "--home", str(room_home), "--room",
         str(patient), "--pace", "20"],
        stdout=subprocess.PIPE, text=True, env={**os.environ, "PYTHONUNBUFFERED": "1", "COLUMNS": "400"},
    )  # fmt: skip
    assert ran.stdout is not None
    window = Window(next(found[0] for line in ran.stdout if (found := re.search(r"http://\S+/", line))))
    chooses = {"who": f"person.{PERSON}", "today": "on", "cautions": "on", "teach": "keys", "check": "skip",
               "reach": "yes"}  # fmt: skip
    seen: list[str] = []
    screens = window.screens()
    for screen in screens:
        name = screen.get("id") or screen["state"]
        if name == "working" and "working" not in seen:
            ran.send_signal(signal.SIGHUP)
            ran.stdout.close()
        if name in chooses and (not seen or seen[-1] != name):
            window.choose(screen, chooses[name])
        seen.append(name)
        if name == "after":
            window.choose(screen, "done")
            break
    screens.close()  # and now nobody looks
    status = ran.wait(60)
    (record,) = Home(room_home).history(PERSON).records

    assert (record.why, record.sets_in_full, status) == ("done", 1, 0)
