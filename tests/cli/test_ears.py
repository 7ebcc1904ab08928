from __future__ import annotations

import io
import json
import sys
from pathlib import Path

import pytest
import soundfile
from fake_vosk import FakeVosk, Said
from in_the_room import PERSON, SCRIPT, SMALL, Furnished
from model_files import model_in
from rich.console import Console

from coach.cli import main
from coach.cli.ears import ears_for
from coach.ears.enrolment import Enrolment, load_enrolment
from coach.ears.models import own_folder
from coach.errors import CoachError, HearingError
from coach.logbook.store import Home
from coach.tempo.units import RATE
from coach.voice.pack import load_pack

PACK = load_pack("en")
WORDS = frozenset(" ".join([*(w for r in PACK.replies.values() for w in (r.word, *r.also)), *PACK.decoys]).split())


@pytest.fixture
def vosk(monkeypatch: pytest.MonkeyPatch) -> FakeVosk:
    fake = FakeVosk(WORDS - {"wobbly"})
    monkeypatch.setitem(sys.modules, "vosk", fake)
    return fake


@pytest.fixture
def home(room_home: Path) -> Home:
    """A home with a person who taught words, and a model."""
    model_in(own_folder(room_home, "en"))
    return Home(room_home)


@pytest.fixture
def taught(home: Home) -> Enrolment:
    return load_enrolment(home.person(PERSON).takes)


def names(taught: Enrolment | None, home: Home, chosen: str | None = None) -> tuple[tuple[str, ...], str]:
    """Return the ears that are made, and what was printed meanwhile."""
    told = io.StringIO()
    ears = ears_for(taught, PACK, home, Console(file=told, width=500), chosen)()
    return ears.names, told.getvalue()


def test_all_available_ears_listen_unless_some_are_chosen(vosk: FakeVosk, home: Home, taught: Enrolment) -> None:
    assert names(taught, home)[0] == ("activity", "taught", "vosk", "keys")
    assert names(None, home)[0] == ("activity", "vosk", "keys")
    assert names(taught, home, "keys")[0] == ("activity", "keys")
    assert names(taught, home, "vosk, taught")[0] == ("activity", "taught", "vosk", "keys")
    assert len(vosk.loaded) == 3  # the ear left out takes no memory


def test_the_loading_and_the_words_that_the_model_lacks_are_reported(
    vosk: FakeVosk, home: Home, taught: Enrolment
) -> None:
    assert "wobbly" in WORDS - vosk.vocabulary

    told = names(taught, home)[1]

    assert "Loading the open vocabulary (0 MB)" in told
    assert told.count("The open vocabulary lacks these words and cannot hear them: wobbly") == 1


def test_an_unusable_model_is_reported_and_left_out_unless_it_was_asked_for(home: Home, taught: Enrolment) -> None:
    (own_folder(home.root, "en") / "am" / "final.mdl").unlink()

    there, told = names(taught, home)

    assert there == ("activity", "taught", "keys")
    assert "Going on without the open vocabulary: The speech model in" in told
    with pytest.raises(HearingError, match=r"lacks am/final.mdl"):
        names(taught, home, "vosk")


def test_an_impossible_choice_ends_in_one_sentence(
    furnished: Furnished, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(Path, "home", lambda: tmp_path)
    for chosen, message in (
        ("tought", 'There is no ear "tought"; did you mean "taught"'),
        ("taught", "No words were taught"),
        ("vosk", 'There is no speech model for "en" here; see: coach voices'),
    ):
        with pytest.raises(CoachError, match=message):
            names(None, furnished.home, chosen)


def test_somebody_who_taught_nothing_is_told_that_a_voice_can_only_halt(
    vosk: FakeVosk, home: Home, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    (tmp_path / "small.yaml").write_text(SMALL)
    (tmp_path / "patient.yaml").write_text(SCRIPT)
    home.add_person("jonas")
    vosk.says = [Said(((0, "stop"),), "stop")]

    room = ["--room", str(tmp_path / "patient.yaml"), "--home", str(home.root)]
    assert main(["start", str(tmp_path / "small.yaml"), "--person", "jonas", *room]) == 0

    assert "a voice can only halt" in " ".join(capsys.readouterr().out.split())
    (record,) = home.history("jonas").records
    assert [halt.ear for halt in record.halts] == ["vosk"]
    assert record.sets == ()


def test_what_both_ears_hear_in_a_recording_is_listed(
    vosk: FakeVosk, furnished: Furnished, home: Home, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    soundfile.write(tmp_path / "ready.wav", furnished.said["ready"], RATE)
    vosk.says = [Said(final="ready", confidence=0.7)]

    assert main(["hear", "--person", PERSON, "--home", str(home.root), str(tmp_path / "ready.wav")]) == 0

    lines = [json.loads(line) for line in capsys.readouterr().out.splitlines()]
    assert {(line["ear"], line["word"]) for line in lines if line["kind"] == "word"} == {
        ("taught", "ready"),
        ("vosk", "ready"),
    }
