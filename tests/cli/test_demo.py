from __future__ import annotations

import shutil
import subprocess
import sys
from pathlib import Path

import pytest
from in_the_room import SMALL

from coach.audio.wavs import read_sound
from coach.cli import main
from coach.logbook.store import Home

ROOT = Path(__file__).resolve().parents[2]

PATIENT = """\
format: 1
answers: {screen: "no", next_day: "no", ready: ready, pain: n2, effort: n5, reps_all: "yes", confirm: "yes",
  why_halt: unsteady}
rules:
  - {during: {set: 1, rep: 2, phase: lower}, say: stop, delay: 0.4 s}
"""


@pytest.fixture
def demo_home(room_home: Path) -> Path:
    """Return a home in which the demo's patient has taught their words already."""
    shutil.copytree(room_home / "people" / "mira", room_home / "people" / "demo")
    return room_home


def test_a_demo_ends_with_the_summary_and_the_place_of_its_record(demo_home: Path, tmp_path: Path) -> None:
    (tmp_path / "small.yaml").write_text(SMALL)
    (tmp_path / "patient.yaml").write_text(PATIENT)
    command = ["demo", "--program", "small.yaml", "--patient", "patient.yaml", "--wav", "heard.wav"]

    ran = subprocess.run(
        [sys.executable, "-m", "coach", *command, "--home", str(demo_home)],
        cwd=tmp_path,
        env={"PYTHONPATH": str(ROOT), "PATH": "", "COLUMNS": "120"},
        capture_output=True,
        text=True,
        check=False,
    )

    assert (ran.returncode, ran.stderr) == (0, "")
    record = Home(demo_home).history("demo").records[-1]
    assert record.why == "unsteady"
    assert [(halt.why, halt.exercise) for halt in record.halts] == [("unsteady", "heel_lowering")]
    assert [(one.planned_high, one.counted) for one in record.sets] == [(3, 1)]
    assert f"people/demo/sessions/{record.session}.jsonl" in ran.stdout
    assert f"coach log demo --session {record.session}" in ran.stdout
    assert "Heel lowering" in ran.stdout
    seconds = len(read_sound(tmp_path / "heard.wav")) / 16_000
    assert seconds > 30


@pytest.mark.parametrize(
    ("option", "sentence"),
    [
        (["--program", "nothing_like_it"], "no such file"),
        (["--patient", "nobody"], "There is no patient script nobody"),
        (["--program", "ankle_stedy"], 'did you mean "ankle_steady"?'),
    ],
)
def test_a_script_that_cannot_be_played_ends_in_one_sentence_and_writes_nothing(
    option: list[str], sentence: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    home = tmp_path / "home"

    assert main(["demo", *option, "--home", str(home)]) == 2

    said = capsys.readouterr().err
    assert sentence in said
    assert said.count("\n") == 1
    assert not home.exists()
