from __future__ import annotations

import json
from pathlib import Path

import numpy as np
import pytest

from coach.audio.wavs import write_sound
from coach.cli import main
from coach.ears.enrolment import load_enrolment
from coach.logbook.store import Home
from coach.voice.render import Renderer

WORDS = ("stop", "ready", "yes", "no")
RATES = (140, 155, 170)


@pytest.fixture(scope="module")
def takes(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Three takes of each word that is needed, and one recording of two words to be heard."""
    folder = tmp_path_factory.mktemp("takes")
    for number, rate in enumerate(RATES):
        for word, clip in Renderer("en-us+m3", rate).render(WORDS).items():
            write_sound(folder / f"{word}_0{number}.wav", clip)
    clips = Renderer("en-us+m3", 150).render(["ready", "stop"])
    pause = np.zeros(16000, np.float32)
    both = np.concatenate([clips["ready"], pause, clips["stop"]])
    heard = folder / "heard"
    heard.mkdir()
    write_sound(heard / "two_words.wav", np.stack([both, both], axis=1))
    return folder


@pytest.fixture(scope="module")
def home(takes: Path, tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("home")
    assert main(["enrol", "mira", "--takes", str(takes), "--home", str(folder)]) == 0
    return folder


def test_takes_in_a_folder_teach_the_words_and_end_in_what_that_means(
    takes: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    status = main(["enrol", "mira", "--takes", str(takes), "--home", str(tmp_path)])
    out = capsys.readouterr().out

    assert status == 0
    assert set(load_enrolment(Home(tmp_path).person("mira").takes).takes) == set(WORDS)
    assert "Hands-free is possible here: 12 of 12 takes" in out
    assert "Not taught, so only by key: pause" in out


def test_what_is_heard_comes_as_json_lines_in_order(
    home: Path, takes: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    file = str(takes / "heard" / "two_words.wav")

    status = main(["hear", "--person", "mira", "--home", str(home), file])
    lines = [json.loads(line) for line in capsys.readouterr().out.splitlines()]

    assert status == 0
    assert [line["word"] for line in lines if line["kind"] == "word"] == ["ready", "stop"]
    assert {line["file"] for line in lines} == {file}
    assert all(0 <= line["began_s"] <= line["ended_s"] <= line["at_s"] for line in lines)


def test_a_word_taught_anew_leaves_the_others(home: Path, takes: Path, capsys: pytest.CaptureFixture[str]) -> None:
    before = load_enrolment(Home(home).person("mira").takes)

    status = main(["enrol", "mira", "--takes", str(takes), "--words", "stop", "--home", str(home)])
    capsys.readouterr()
    after = load_enrolment(Home(home).person("mira").takes)

    assert status == 0
    assert set(after.takes) == set(WORDS)
    assert all(
        np.array_equal(old.frames, new.frames) for old, new in zip(before.takes["yes"], after.takes["yes"], strict=True)
    )


def test_too_few_takes_are_not_called_hands_free(
    takes: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    folder = tmp_path / "few"
    folder.mkdir()
    (folder / "stop_01.wav").write_bytes((takes / "stop_00.wav").read_bytes())

    assert main(["enrol", "mira", "--takes", str(folder), "--home", str(tmp_path / "home")]) == 0
    out = capsys.readouterr().out

    assert "Not hands-free yet: stop, ready, yes, no must be taught" in out
    assert "Fewer than 3 takes: stop" in out


def test_a_person_may_answer_by_key_only(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    status = main(["enrol", "mira", "--keys-only", "--home", str(tmp_path)])

    assert status == 0
    assert "mira" in Home(tmp_path).people()
    assert "by key" in capsys.readouterr().out


def test_what_was_taught_can_be_forgotten(takes: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    main(["enrol", "mira", "--takes", str(takes), "--words", "stop", "--home", str(tmp_path)])

    status = main(["enrol", "mira", "--forget", "--home", str(tmp_path)])
    heard = main(["hear", "--person", "mira", "--home", str(tmp_path), str(takes / "stop_00.wav")])

    assert (status, heard) == (0, 2)
    assert "mira has taught no words yet; run: coach enrol mira" in capsys.readouterr().err


@pytest.mark.parametrize(
    ("arguments", "says"),
    [
        (["enrol", "mira", "--words", "stopp"], 'did you mean "stop"'),
        (["enrol", "mira", "--takes", "/nowhere"], "There is no folder /nowhere"),
        (["enrol", "mira", "--language", "xx"], "en"),
        (["enrol", "mira", "--forget"], 'Nobody called "mira"'),
        (["hear", "--person", "mira", "some.wav"], 'Nobody called "mira"'),
    ],
)
def test_bad_input_is_one_sentence_and_leaves_nothing(
    arguments: list[str], says: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    status = main([*arguments, "--home", str(tmp_path)])
    error = capsys.readouterr().err

    assert status == 2
    assert says in error
    assert "Traceback" not in error
    assert Home(tmp_path).people() == ()


def test_a_missing_recording_is_told_before_anything_is_printed(
    home: Path, takes: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    status = main(["hear", "--person", "mira", "--home", str(home), str(takes / "stop_00.wav"), "gone.wav"])
    printed = capsys.readouterr()

    assert (status, printed.out) == (2, "")
    assert "gone.wav" in printed.err
