from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from in_the_room import SMALL

from coach.audio.sounds import tick
from coach.audio.wavs import read_sound
from coach.cli import main
from coach.cli.rehearse import crowded
from coach.session.ideal import rehearse
from coach.tempo.units import RATE


def test_the_table_and_the_sound_tell_the_same_times(
    room_home: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    program, wav = tmp_path / "small.yaml", tmp_path / "out.wav"
    program.write_text(SMALL)

    assert main(["rehearse", str(program), "--table", "--wav", str(wav), "--home", str(room_home)]) == 0

    out = capsys.readouterr().out
    rows = [line.split(" s  ") for line in out.splitlines() if " s  " in line and line[:9].strip()[:1].isdigit()]
    ticks = [float(row[0]) for row in rows if row[-1] == "(tick)"]
    assert len(ticks) == 2 * 3 * 2  # two sets of three reps; a lowering of 3 s has two seconds inside
    sound = read_sound(wav)
    for at in ticks:
        begin = round(at * RATE)
        around = sound[begin - 160 : begin + 160 + len(tick())]
        assert abs(int(np.argmax(np.correlate(around, tick(), "valid"))) - 160) <= RATE // 1000  # the table has ms
    assert "24 s" in out  # time under tension: 2 sets of 3 reps of 1 s and 3 s


def test_a_count_that_runs_into_the_next_cue_is_reported() -> None:
    from in_the_room import prepared

    ready = prepared(SMALL.replace("raise: 1 s", "raise: 0.5 s"))
    laid_out = rehearse(ready.today, lambda said: RATE if said.key == "count" else RATE // 10)

    assert any("Rep one." in note and "0.5 s into the next cue" in note for note in crowded(ready, laid_out))
