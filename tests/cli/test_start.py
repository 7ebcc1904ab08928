from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest
import soundfile
from in_the_room import PERSON, SCRIPT, SMALL

from coach.cli import main
from coach.ears.enrolment import load_enrolment
from coach.logbook.store import Home

SHORT = SMALL.replace("sets: 2, reps: 3", "sets: 1, reps: 2").replace(
    "effort: each exercise, reps: each set", "effort: never, reps: never"
)


@pytest.fixture
def files(tmp_path: Path) -> Path:
    (tmp_path / "small.yaml").write_text(SHORT)
    (tmp_path / "patient.yaml").write_text(SCRIPT)
    return tmp_path


def test_a_session_in_the_room_ends_with_its_record(
    room_home: Path, files: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    room = ["--room", str(files / "patient.yaml"), "--home", str(room_home)]

    assert main(["start", str(files / "small.yaml"), "--person", PERSON, *room]) == 0

    record = Home(room_home).history(PERSON).records[-1]
    assert (record.why, record.program) == ("done", "small")
    assert [(one.counted, one.pain) for one in record.sets] == [(2, 2)]
    assert record.session in capsys.readouterr().out

    kept = Home(room_home).kept(PERSON, "small", record.digest)
    assert kept is not None
    assert kept.read_bytes() == (files / "small.yaml").read_bytes()
    (version,) = Home(room_home).decisions(PERSON).versions
    assert (version.program, version.digest, version.before) == ("small", record.digest, "")


@pytest.mark.parametrize(
    ("verdict", "says"),
    [
        ("hands_free", "Hands-free: the words should do without the keys."),
        ("within_reach", "With someone within reach of the keys"),
        ("keys_only", "Keys only: do not rely on the voice. Somebody must be at the keyboard; replies go by key."),
        ("", "The words were not checked to the end: somebody must be within reach of the keys."),
    ],
)
def test_what_the_words_are_good_for_is_said_before_the_session(
    verdict: str, says: str, room_home: Path, files: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    takes = Home(room_home).person(PERSON).takes
    replace(load_enrolment(takes), verdict=verdict).save(takes)

    main(["start", str(files / "small.yaml"), "--person", PERSON, "--wav", "x.wav", "--home", str(room_home)])

    assert capsys.readouterr().out.startswith(says)


def test_words_taught_in_another_wording_are_told_before_the_session(
    room_home: Path, files: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    takes = Home(room_home).person(PERSON).takes
    there = load_enrolment(takes)
    replace(there, wordings={**there.wordings, "pain": "ouch"}).save(takes)

    main(["start", str(files / "small.yaml"), "--person", PERSON, "--wav", "x.wav", "--home", str(room_home)])

    assert "for: ouch. It asks for: it hurts. Teach them again" in capsys.readouterr().out


def test_without_a_session_and_a_program_the_programs_are_named(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    Home(tmp_path).add_person("jonas")

    assert main(["start", "--person", "jonas", "--home", str(tmp_path)]) == 2

    assert "name a program file, or one of: ankle_steady" in capsys.readouterr().err


def test_a_recording_of_the_room_instead_of_a_microphone_gives_the_same_session(room_home: Path, files: Path) -> None:
    both, alone = files / "both.wav", files / "alone.wav"
    start = ["start", str(files / "small.yaml"), "--person", PERSON, "--home", str(room_home)]
    assert main([*start, "--room", str(files / "patient.yaml"), "--wav", str(both)]) == 0
    sound, rate = soundfile.read(both)
    soundfile.write(alone, sound[:, 1], rate)

    earlier = room_home / "people" / PERSON / "sessions"
    for path in earlier.iterdir():
        path.unlink()  # so that the second session is a first one too
    assert main([*start, "--recording", str(alone)]) == 0

    (record,) = Home(room_home).history(PERSON).records
    assert (record.why, record.device) == ("done", "recording alone.wav")
    assert [(one.counted, one.pain) for one in record.sets] == [(2, 2)]


def test_the_sound_of_a_real_session_is_never_written(
    room_home: Path, files: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    start = ["start", str(files / "small.yaml"), "--person", PERSON, "--home", str(room_home)]

    assert main([*start, "--wav", str(files / "out.wav")]) == 2

    assert "no sound of a real session is ever stored" in capsys.readouterr().err
    assert not (files / "out.wav").exists()
