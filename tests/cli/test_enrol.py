from __future__ import annotations

import contextlib
import io
import json
import re
import shutil
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest
import soxr
from budget import draws
from heard_rooms import as_version
from lesson_room import Lesson, record_takes
from once import once
from sound_files import write_sound

from coach.audio.wavs import read_sound
from coach.cli import main
from coach.ears.cohort import cohort
from coach.ears.enrolment import FILE, load_enrolment
from coach.logbook.store import Home
from coach.ports import Block
from coach.voice.render import Renderer

WORDS = ("stop", "ready", "yes", "no")


pytestmark = pytest.mark.usefixtures("learns_little")  # `taught` is made earlier, from all the talk


@pytest.fixture(scope="module")
def takes(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Three takes of each word that is needed, and one recording of two words to be heard."""
    return once(tmp_path_factory, "enrol_takes", record)


def record(folder: Path) -> None:
    record_takes(folder, WORDS)
    clips = Renderer("en-us+m3", 150).render(["ready", "stop"])
    pause = np.zeros(16000, np.float32)
    both = np.concatenate([clips["ready"], pause, clips["stop"]])
    heard = folder / "heard"
    heard.mkdir()
    write_sound(heard / "two_words.wav", np.stack([both, both], axis=1))


@pytest.fixture(scope="module")
def taught(takes: Path, tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, str]:
    """Return a home with taught words and what the teaching printed; slow, so made once."""

    def teach(folder: Path) -> None:
        out = io.StringIO()
        with contextlib.redirect_stdout(out), pytest.MonkeyPatch.context() as patch:
            patch.setattr("coach.ears.augment.A_WORD", draws(18, 72))
            assert main(["enrol", "mira", "--takes", str(takes), "--home", str(folder / "home")]) == 0
        (folder / "told").write_text(out.getvalue(), "utf-8")

    folder = once(tmp_path_factory, "enrol_taught", teach)
    return folder / "home", (folder / "told").read_text("utf-8")


@pytest.fixture
def home(taught: tuple[Path, str], tmp_path: Path) -> Path:
    """Return a copy of the home with taught words, for one test to change."""
    return Path(shutil.copytree(taught[0], tmp_path / "home"))


def test_takes_in_a_folder_teach_the_words_and_the_verdict_is_printed(taught: tuple[Path, str]) -> None:
    home, out = taught

    assert set(load_enrolment(Home(home).person("mira").takes).takes) == set(WORDS)
    assert "Not taught, so answered by key only: hang on" in out
    assert '"stop": heard 3 of 3 times here; expected to be heard 98 times of 100, and falsely < 1 an hour' in out
    assert "With someone within reach of the keys" in out
    assert "The coach has not listened to the room. In that room, run: coach enrol mira --room-only" in out
    assert "50 minutes of synthesised talk" in out
    assert load_enrolment(Home(home).person("mira").takes).verdict == "within_reach"


def test_what_is_heard_is_printed_as_json_lines_in_order(
    home: Path, takes: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    file = str(takes / "heard" / "two_words.wav")

    status = main(["hear", "--person", "mira", "--home", str(home), file])
    lines = [json.loads(line) for line in capsys.readouterr().out.splitlines()]

    assert status == 0
    assert [line["word"] for line in lines if line["kind"] == "word"] == ["ready", "stop"]
    assert {line["file"] for line in lines} == {file}
    assert all(0 <= line["began_s"] <= line["ended_s"] <= line["at_s"] for line in lines)


def test_more_takes_are_added_to_a_word_and_the_same_recording_only_once(
    home: Path, takes: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    before = load_enrolment(Home(home).person("mira").takes)
    clip = Renderer("en-us+m3", 148).render(["stop"])["stop"]
    write_sound(tmp_path / "stop_01.wav", clip)
    write_sound(tmp_path / "stop_02.wav", clip)

    for folder in (takes, tmp_path):
        assert main(["enrol", "mira", "--takes", str(folder), "--words", "stop", "--home", str(home)]) == 0
    capsys.readouterr()
    after = load_enrolment(Home(home).person("mira").takes)

    assert {word: len(own) for word, own in after.takes.items()} == {"stop": 4, "ready": 3, "yes": 3, "no": 3}
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

    assert "Keys only: do not rely on the voice." in out
    assert "- Not taught: no, ready, yes." in out
    assert "- Too few takes: stop. Each needs 3" in out


def test_a_person_may_answer_by_key_only(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    status = main(["enrol", "mira", "--keys-only", "--home", str(tmp_path)])

    assert status == 0
    assert "mira" in Home(tmp_path).people()
    assert "by key" in capsys.readouterr().out


def test_everything_taught_can_be_forgotten(takes: Path, home: Path, capsys: pytest.CaptureFixture[str]) -> None:
    status = main(["enrol", "mira", "--forget", "--home", str(home)])
    heard = main(["hear", "--person", "mira", "--home", str(home), str(takes / "stop_00.wav")])

    assert (status, heard) == (0, 2)
    assert "mira has taught no words yet; run: coach enrol mira" in capsys.readouterr().err


def test_a_single_word_can_be_forgotten(home: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["enrol", "mira", "--forget", "--words", "stop", "--home", str(home)]) == 0

    rest = load_enrolment(Home(home).person("mira").takes)
    assert (set(rest.takes), rest.verdict) == (set(WORDS) - {"stop"}, "")
    assert "Forgotten: stop." in capsys.readouterr().out


def by_voice(lesson: Lesson, home: Path, monkeypatch: pytest.MonkeyPatch, *more: str) -> int:
    monkeypatch.setattr("coach.ears.forecast.cohort", cohort)  # little talk never gives a good verdict
    monkeypatch.setattr("coach.audio.stream.Stream", lambda *_, **__: lesson)
    monkeypatch.setattr("coach.cli.enrol.coach_voice", lambda *_: lesson)
    return main(["enrol", "mira", "--home", str(home), *more])


def test_a_lesson_by_voice_can_be_stopped_and_taken_up_again_and_ends_in_a_verdict(
    takes: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    stopped = by_voice(Lesson(takes, stops_at=4), tmp_path, monkeypatch, "--words", "stop,ready,yes,no")
    out, err = capsys.readouterr()

    assert stopped == 130
    assert "stop: take 3 of 3 (word 1 of 4)" in out
    assert "The words said so far are kept. Go on with: coach enrol mira" in out
    assert "Traceback" not in err
    kept = load_enrolment(Home(tmp_path).person("mira").takes)
    assert ({word: len(own) for word, own in kept.takes.items()}, kept.verdict) == ({"stop": 3, "ready": 1}, "")

    done = by_voice(Lesson(takes), tmp_path, monkeypatch, "--words", "ready,yes,no")
    out = capsys.readouterr().out

    assert done == 0
    assert "ready: take 2 of 3 (word 1 of 3)" in out
    assert "Hands-free: the words should be enough, without the keys." in out
    made = load_enrolment(Home(tmp_path).person("mira").takes)
    assert {word: len(own) for word, own in made.takes.items()} == dict.fromkeys(WORDS, 3)
    assert made.verdict == "hands_free"


def test_the_room_alone_can_be_listened_to_for_words_from_a_folder(
    home: Path, takes: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    assert by_voice(Lesson(takes), home, monkeypatch, "--room-only") == 0
    assert by_voice(Lesson(takes), tmp_path / "other", monkeypatch, "--room-only") == 2

    out, err = capsys.readouterr()
    assert "Hands-free: the words should be enough, without the keys." in out
    assert "mira has taught no words yet" in err
    assert load_enrolment(Home(home).person("mira").takes).noise is not None


SECOND = np.zeros(16000, np.float32)


def loud(takes: Path) -> Block:
    return np.clip(read_sound(takes / "stop_00.wav") * 40, -1, 1)


@pytest.mark.parametrize(
    ("name", "sound", "says"),
    [
        ("stop_01.wav", lambda _: SECOND, "No take in .* is usable .*no word is in it"),
        ("stop_01.wav", loud, "the word is distorted; turn the microphone down"),
        ("stop_01.wav", lambda _: np.tile(SECOND, 3600), "it is too long for one word"),
        ("stop_01.wav", lambda _: np.tile(SECOND, 3700), "lasts 61.7 minutes"),
        ("stop_01.wav", lambda _: SECOND[:0], "holds no sound"),
        ("stpo_01.wav", lambda _: SECOND, 'stpo_01.wav: "stpo" is no reply; did you mean "stop"'),
    ],
)
def test_a_folder_of_bad_recordings_is_one_sentence_and_loses_nothing(
    name: str,
    sound: Callable[[Path], Block],
    says: str,
    home: Path,
    takes: Path,
    tmp_path: Path,
    capsys: pytest.CaptureFixture[str],
) -> None:
    write_sound(tmp_path / name, sound(takes))
    file = Home(home).person("mira").takes / FILE
    before = file.read_bytes()

    status = main(["enrol", "mira", "--takes", str(tmp_path), "--home", str(home)])
    out, err = capsys.readouterr()

    assert (status, out, err.count("\n")) == (2, "", 1)
    assert re.search(says, err)
    assert file.read_bytes() == before


def test_a_file_that_is_no_sound_is_one_sentence(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    (tmp_path / "stop_01.wav").write_bytes(b"not a sound")

    assert main(["enrol", "mira", "--takes", str(tmp_path), "--home", str(tmp_path / "home")]) == 2

    assert "cannot be read as sound" in capsys.readouterr().err
    assert not (tmp_path / "home").exists()


def test_another_rate_and_two_channels_teach_the_same_word(
    takes: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    for number, rate in enumerate((8000, 44100, 48000)):
        sound = soxr.resample(read_sound(takes / f"stop_0{number}.wav"), 16000, rate)
        write_sound(tmp_path / f"stop_0{number}.wav", np.stack([sound, sound], axis=1), rate=rate)

    assert main(["enrol", "mira", "--takes", str(tmp_path), "--home", str(tmp_path / "home")]) == 0

    assert '"stop": heard 3 of 3 times' in capsys.readouterr().out


def other_version(path: Path) -> None:
    as_version(path, 1)


def damaged(path: Path) -> None:
    path.write_bytes(path.read_bytes()[:500])


@pytest.mark.parametrize(("spoil", "says"), [(other_version, "has format 1"), (damaged, "is damaged")])
def test_an_enrolment_that_cannot_be_used_stays_until_the_words_are_taught_again(
    spoil: Callable[[Path], None],
    says: str,
    home: Path,
    takes: Path,
    tmp_path: Path,
    capsys: pytest.CaptureFixture[str],
) -> None:
    there = ["--home", str(home)]
    file = Home(home).person("mira").takes / FILE
    spoil(file)
    old = file.read_bytes()

    heard = main(["hear", "--person", "mira", str(takes / "stop_00.wav"), *there])
    started = main(["start", "ankle_steady", "--person", "mira", "--room", "default", *there])
    nothing = main(["enrol", "mira", "--takes", str(tmp_path), *there])
    out, err = capsys.readouterr()

    assert (heard, started, nothing) == (2, 2, 2)
    assert err.count(says) == 2
    assert err.count("teach the words again: coach enrol mira") == 2
    assert "The old file stays until a new word is kept." in out
    assert file.read_bytes() == old

    assert main(["enrol", "mira", "--takes", str(takes), "--words", "stop", *there]) == 0
    assert set(load_enrolment(file.parent).takes) == {"stop"}


def test_an_enrolment_of_a_later_version_is_never_written_over(
    home: Path, takes: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    file = Home(home).person("mira").takes / FILE
    as_version(file, 99)
    old = file.read_bytes()

    assert main(["enrol", "mira", "--takes", str(takes), "--home", str(home)]) == 2

    assert "later version wrote" in capsys.readouterr().err
    assert file.read_bytes() == old


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


def test_a_missing_recording_is_reported_before_anything_is_printed(
    home: Path, takes: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    status = main(["hear", "--person", "mira", "--home", str(home), str(takes / "stop_00.wav"), "gone.wav"])
    printed = capsys.readouterr()

    assert (status, printed.out) == (2, "")
    assert "gone.wav" in printed.err
