from __future__ import annotations

import os
import tempfile
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from pathlib import Path
from random import Random

import pytest
import soundfile
from in_the_room import PERSON, SCRIPT, SMALL

from coach.cli import main, start
from coach.cli.session_setup import keep, prepare
from coach.ears.enrolment import load_enrolment
from coach.errors import RecordError
from coach.history import past
from coach.logbook.reading import read_history
from coach.logbook.store import Home
from coach.logbook.writing import SessionStore
from coach.session.state import State
from coach.testing import RandomPerson, StoredRun, begin_in, live_in

SHORT = SMALL.replace("sets: 2, reps: 3", "sets: 1, reps: 2").replace(
    "effort: each exercise, reps: each set", "effort: never, reps: never"
)


@pytest.fixture
def files(tmp_path: Path) -> Path:
    (tmp_path / "small.yaml").write_text(SHORT)
    (tmp_path / "patient.yaml").write_text(SCRIPT)
    return tmp_path


def start_without_ears(home: Path, files: Path) -> None:
    """Come as far as the ears, of which there is none like that."""
    quiet = files / "quiet.wav"
    soundfile.write(quiet, [0.0] * 160, 16_000)
    who = ["--person", PERSON, "--home", str(home)]
    assert main(["start", str(files / "small.yaml"), *who, "--recording", str(quiet), "--ears", "none"]) == 2


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
        ("hands_free", "Hands-free: the words should be enough, without the keys."),
        ("within_reach", "With someone within reach of the keys"),
        (
            "keys_only",
            "Keys only: do not rely on the voice. Somebody must be at the keyboard and give every reply by key.",
        ),
        ("", "The check of the words was not finished: somebody must be within reach of the keys."),
    ],
)
def test_the_verdict_on_the_words_is_printed_before_the_session(
    verdict: str, says: str, room_home: Path, files: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    takes = Home(room_home).person(PERSON).takes
    replace(load_enrolment(takes), verdict=verdict).save(takes)

    start_without_ears(room_home, files)

    assert capsys.readouterr().out.startswith(says)


def test_words_taught_in_another_wording_are_reported_before_the_session(
    room_home: Path, files: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    takes = Home(room_home).person(PERSON).takes
    there = load_enrolment(takes)
    replace(there, wordings={**there.wordings, "pain": "ouch"}).save(takes)

    start_without_ears(room_home, files)

    assert "taught: it hurts instead of ouch. Teach the new ones" in capsys.readouterr().out


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
        path.unlink()  # so that the second session is a first session, too
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


class TestBrokenOff:
    """A session of today that broke off in the work."""

    @pytest.fixture
    def broken(self, room_home: Path, files: Path) -> list[str]:
        """Let a session die after its first set; return the command that starts the next."""
        home = Home(room_home)
        (files / "small.yaml").write_text(SHORT.replace("sets: 1", "sets: 2"))
        ready = prepare(str(files / "small.yaml"), home, PERSON)
        keep(ready, home, PERSON)
        store = begin_in(home, PERSON, ready.today)
        run = StoredRun(ready.today, store.append)
        person = RandomPerson(Random(2), odd=0.0, silent=0.0)
        while run.session.state is not State.RESTING:
            person.move(run)
        os.close(store._handle or 0)  # as a kill does: only the lines are left
        return ["start", "--person", PERSON, "--room", str(files / "patient.yaml"), "--home", str(room_home)]

    def test_if_nobody_can_be_asked_nothing_begins_and_the_flags_are_named(
        self, broken: list[str], room_home: Path, capsys: pytest.CaptureFixture[str]
    ) -> None:
        assert main(broken) == 2

        told = capsys.readouterr()
        main(["today", PERSON, "--home", str(room_home)])
        assert "broke off. Sets begun in it: 1; sets left: 1." in capsys.readouterr().out
        assert "Sets begun in it: 1; sets left: 1. Say which: --take-up" in " ".join(told.err.split())
        assert [one.why for one in Home(room_home).history(PERSON).records] == ["interrupted"]

    def test_the_program_that_broke_off_comes_before_another_that_is_due(
        self, broken: list[str], room_home: Path, capsys: pytest.CaptureFixture[str]
    ) -> None:
        week_ago = Home(room_home, lambda: datetime.now(UTC) - timedelta(days=8))
        live_in(week_ago, PERSON, prepare("ankle_steady").today, RandomPerson(Random(2), odd=0.0, silent=0.0))

        assert main(broken) == 2

        assert "Sets begun in it: 1; sets left: 1. Say which: --take-up" in " ".join(capsys.readouterr().err.split())

    def test_a_session_taken_up_does_the_rest_and_counts_as_one(self, broken: list[str], room_home: Path) -> None:
        assert main([*broken, "--take-up"]) == 0

        home = Home(room_home)
        first, then = home.history(PERSON).records
        assert then.continues == first.session
        assert then.plan[0].because == "as it was planned for the session that broke off, or easier"
        assert (then.why, [one.set for one in first.sets], [one.set for one in then.sets]) == ("done", [1], [2])
        (whole,) = past(home.history(PERSON).records, "small")
        assert [(one.sets_planned, one.sets_in_full) for one in whole.exercises] == [(2, 2)]
        assert main([*broken[:3], "--take-up", *broken[3:]]) == 2, "nothing broke off any more"

    @pytest.mark.parametrize(("answer", "sets"), [("1", [2]), ("2", [1, 2]), ("", None), ("3", None)])
    def test_on_a_terminal_the_person_chooses(
        self, broken: list[str], room_home: Path, monkeypatch: pytest.MonkeyPatch, answer: str, sets: list[int] | None
    ) -> None:
        monkeypatch.setattr(start, "asked_in_person", lambda: True)
        monkeypatch.setattr("builtins.input", lambda *_: answer)

        assert main(broken) == 0

        later = Home(room_home).history(PERSON).records[1:]
        assert [[one.set for one in record.sets] for record in later] == ([] if sets is None else [sets])


def test_a_record_that_cannot_be_kept_is_shown_and_told(
    room_home: Path, files: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    real = SessionStore.flush
    begun: list[SessionStore] = []

    def refuses(store: SessionStore) -> None:
        if not begun:
            begun.append(store)
            return real(store)
        raise RecordError("Cannot write: the disk is full.")

    (files / "elsewhere").mkdir()
    monkeypatch.setattr(tempfile, "tempdir", str(files / "elsewhere"))
    monkeypatch.setattr(Home, "decide", lambda *_: None)
    monkeypatch.setattr(SessionStore, "flush", refuses)
    room = ["--room", str(files / "patient.yaml"), "--home", str(room_home)]

    assert main(["start", str(files / "small.yaml"), "--person", PERSON, *room]) == 2

    told = capsys.readouterr()
    (kept,) = (files / "elsewhere").rglob("*.jsonl")
    assert str(kept) in told.err.replace("\n", "")
    (record,) = read_history([kept]).records
    assert (record.why, [one.counted for one in record.sets]) == ("done", [2])
    assert "Heel lowering" in told.out
    assert "cannot be written now" in " ".join(told.out.split())
