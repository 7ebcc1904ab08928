from __future__ import annotations

import errno
import os
import sys
import tempfile
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from sound_files import onset

from coach.errors import SpeechError
from coach.logbook import files
from coach.ports import Block
from coach.tempo.units import RATE
from coach.voice import child, render, shape
from coach.voice.render import LONGEST_TEXT, Renderer, clean

CHILD = str(Path(child.__file__))

# A substitute for the engine's process. Its argument is its folder, whose name counts the processes from 0.
PRELUDE = f"""
import json, os, pathlib, runpy, sys, threading
folder = pathlib.Path(sys.argv[1])
batch = json.loads((folder / "batch.json").read_text())
def tell(**line):
    with open(folder / "done.jsonl", "a") as file:
        file.write(json.dumps(line) + chr(10))
def real():
    sys.argv = ["child.py", *sys.argv[1:]]
    runpy.run_path({CHILD!r}, run_name="__main__")
def real_but_only(texts):
    batch["texts"] = batch["texts"][:texts]
    (folder / "batch.json").write_text(json.dumps(batch))
    try:
        real()
    except SystemExit:
        pass
def hang():
    threading.Event().wait()
"""


def fake(code: str) -> list[str]:
    return [sys.executable, "-P", "-c", PRELUDE + code]


def with_child(code: str, deadline: float = 0.3) -> Renderer:
    return Renderer("en-us", deadline=deadline, command=fake(code))


# --- real speech


def test_a_clip_begins_with_its_first_audible_sample(rendered: dict[str, Block]) -> None:
    within = {text: onset(clip) for text, clip in rendered.items()}

    assert max(within.values()) <= 0.005 * RATE, within


def test_a_clip_ends_soon_after_its_last_audible_sample(rendered: dict[str, Block]) -> None:
    for text, clip in rendered.items():
        audible = np.flatnonzero(np.abs(clip) > shape.AUDIBLE * np.abs(clip).max())

        assert len(clip) - audible[-1] <= 0.021 * RATE, text


def test_all_clips_are_equally_loud_and_none_is_clipped(rendered: dict[str, Block]) -> None:
    for text, clip in rendered.items():
        assert abs(20 * np.log10(shape.loudness(clip) / shape.LOUDNESS)) < 1, text
        assert shape.true_peak(clip) <= shape.CEILING * 1.001, text


def test_a_longer_sentence_takes_longer(rendered: dict[str, Block]) -> None:
    seconds = {text: len(clip) / RATE for text, clip in rendered.items()}

    assert 0.1 < seconds["Four"] < 0.8
    assert 1.5 < seconds["Lower slowly, and keep your heel over your toes."] < 5


def test_a_slower_rate_takes_longer(rendered: dict[str, Block]) -> None:
    text = "Lower slowly, and keep your heel over your toes."

    slow = Renderer("en-us", 120).render([text])[text]

    assert 1.15 < len(slow) / len(rendered[text]) < 1.6


def test_another_voice_is_another_sound(rendered: dict[str, Block]) -> None:
    other = Renderer("en-us+m3", 160, pitch=30).render(["Hold."])["Hold."]

    assert len(other) != len(rendered["Hold."]) or not np.allclose(other, rendered["Hold."])


def test_the_same_batch_sounds_the_same_in_every_run(rendered: dict[str, Block]) -> None:
    again = Renderer("en-us", 160).render(rendered)

    for text, clip in rendered.items():
        np.testing.assert_array_equal(again[text], clip)


def test_a_large_batch_in_two_processes_is_complete_and_reports_every_clip() -> None:
    texts = [f"Number {number}" for number in range(60)]
    told: list[tuple[int, int]] = []

    clips = Renderer("en-us", 200).render(texts, lambda done, of: told.append((done, of)))

    assert set(clips) == set(texts)
    assert told == [(done, 60) for done in range(1, 61)]


@pytest.mark.parametrize(
    "text",
    [
        'Say "ready", then breathe.',
        "It's <b>bold</b> & [[h@'loU]] {curly} \\n %s",
        "Well done \N{GRINNING FACE}",
        "first line\nsecond line\ttab",
        "a\0b",
        "Knie beugen - größer, plus lent: élève",
        "lower slowly. " * 42,
        "7",
        "130",
        "--help",
    ],
)
def test_unusual_text_is_said(text: str) -> None:
    clips = Renderer("en-us").render([text])

    assert onset(clips[text]) == 0
    assert len(clips[text]) > 0.1 * RATE


def test_a_repeated_text_is_rendered_once() -> None:
    assert [text for text, _ in Renderer("en-us").each(["Hold.", "Hold."])] == ["Hold."]


# --- what never reaches the engine


@pytest.mark.parametrize("text", ["", "   ", "\n\t", "...", "\N{GRINNING FACE}", "\0"])
def test_a_text_without_a_word_is_refused_before_anything_starts(text: str) -> None:
    renderer = Renderer("en-us", command=["/no/such/command"])

    with pytest.raises(SpeechError, match="nothing to say"):
        renderer.render(["Hold.", text])


def test_an_empty_batch_starts_nothing() -> None:
    assert Renderer("en-us", command=["/no/such/command"]).render([]) == {}


def test_a_text_too_long_is_refused_before_anything_starts() -> None:
    with pytest.raises(SpeechError, match="too long to be said at once"):
        Renderer("en-us", command=["/no/such/command"]).render(["long " * LONGEST_TEXT])


@pytest.mark.parametrize(("rate", "pitch"), [(0, None), (-1, None), (1000, None), (160, 100), (160, -1)])
def test_a_rate_or_pitch_out_of_range_is_refused(rate: int, pitch: int | None) -> None:
    with pytest.raises(SpeechError, match="not usable; choose"):
        Renderer("en-us", rate, pitch)


@settings(deadline=None)
@given(st.text())
def test_any_text_is_either_refused_or_cleaned_for_good(text: str) -> None:
    try:
        plain = clean(text)
    except SpeechError:
        return

    assert plain == clean(plain)
    assert plain.isprintable()
    assert [c for c in text if c.isalnum()] == [c for c in plain if c.isalnum()]


# --- when the engine fails


def test_a_hanging_phrase_is_tried_again_in_a_new_process() -> None:
    renderer = with_child('if folder.name == "0":\n    tell(ready="x"); hang()\nreal()', deadline=1)

    assert set(renderer.render(["Hold.", "One"])) == {"Hold.", "One"}


def test_a_phrase_that_always_hangs_is_named_and_its_process_is_gone(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    pids = tmp_path / "pids"
    monkeypatch.setenv("PIDS", str(pids))
    code = 'open(os.environ["PIDS"], "a").write(f"{os.getpid()}\\n"); tell(ready="x"); hang()'

    with pytest.raises(SpeechError, match=r'failed at "Hold\." \(no answer within 0\.3 s\)'):
        with_child(code).render(["Hold.", "One"])
    started = pids.read_text().split()
    assert len(started) == 2
    if sys.platform == "linux":
        assert not [pid for pid in started if Path(f"/proc/{pid}").exists()]


def test_a_crash_in_mid_batch_loses_nothing() -> None:
    code = """
if folder.name == "0":
    real_but_only(2)
    os._exit(139)
real()
"""

    clips = with_child(code, deadline=5).render(["One", "Two", "Three", "Four"])

    assert set(clips) == {"One", "Two", "Three", "Four"}


def test_a_phrase_that_always_crashes_the_engine_is_named() -> None:
    code = 'tell(ready="x"); os._exit(139)'

    with pytest.raises(SpeechError, match=r'failed at "One" \(its process ended with status 139\)'):
        with_child(code).render(["One", "Two"])


@pytest.mark.parametrize(
    ("made", "why"),
    [
        ("pass", "no readable sound file"),
        ("open(path, 'wb').write(b'not a sound file')", "no readable sound file"),
        ("wav(b'')", "no sound"),
        ("wav(bytes(44100))", "hardly any sound"),
        ("wav((b'\\xff\\x7f' * 9 + b'\\x01\\x80' * 9) * 2000)", "clipped sound"),
        ("wav(b'\\x00\\x10\\x00\\xf0' * 100)", "0.0 s of sound"),
    ],
)
def test_a_file_that_is_not_speech_is_an_error_that_names_the_phrase(made: str, why: str) -> None:
    code = f"""
import wave
path = str(folder / "0.wav")
def wav(data):
    with wave.open(path, "wb") as file:
        file.setnchannels(1); file.setsampwidth(2); file.setframerate(22050); file.writeframes(data)
tell(ready="x")
{made}
tell(done=0)
"""

    with pytest.raises(SpeechError, match=rf'failed at "Keep your heel high\." \({why}'):
        with_child(code).render(["Keep your heel high."])


# An engine of another system: its voices have other names and no pitch, and sometimes it cuts a text off.
OTHER_ENGINE = """
import types, wave
class Voice:
    def __init__(self, id, language):
        self.id, self.languages = id, [language]
class Engine:
    runs = 0
    voice = "com.maker.voice.Alva"
    def connect(self, topic, cb):
        self.finished = cb
    def getProperty(self, name):
        voices = [Voice("com.maker.voice.Alva", "sv_SE"), Voice("com.maker.voice.Bob", "en_GB")]
        return {"voices": voices, "voice": self.voice, "rate": batch["rate"], "pitch": None}[name]
    def setProperty(self, name, value):
        if name == "voice":
            self.voice = value
    def save_to_file(self, text, path):
        self.path = path
    def runAndWait(self):
        Engine.runs += 1
        frames = 3000 if Engine.runs == 2 else 20000 if "Bob" in self.voice else 15000
        with wave.open(self.path, "wb") as file:
            file.setnchannels(1); file.setsampwidth(2); file.setframerate(22050)
            file.writeframes(b"\\x00\\x10\\x00\\xf0" * (frames // 2))
        self.finished(name=None, completed=Engine.runs != 2)
sys.modules["pyttsx3"] = types.ModuleType("pyttsx3")
sys.modules["pyttsx3"].init = Engine
sys.platform = "win32"
real()
"""


def test_a_text_that_was_cut_off_is_said_again() -> None:
    clip = with_child(OTHER_ENGINE, deadline=5).render(["Hold."])["Hold."]

    assert len(clip) > 0.8 * RATE


@pytest.mark.parametrize(("voice", "seconds"), [("en-us", 20000 / 22050), ("sv", 15000 / 22050)])
def test_an_engine_with_names_of_its_own_gives_a_voice_of_the_language(voice: str, seconds: float) -> None:
    renderer = Renderer(voice + "+m3", pitch=40, command=fake(OTHER_ENGINE))

    assert len(renderer.render(["Hold."])["Hold."]) / RATE == pytest.approx(seconds, abs=0.03)


def test_a_missing_engine_is_one_sentence() -> None:
    renderer = with_child('sys.modules["pyttsx3"] = None\nreal()')

    with pytest.raises(SpeechError, match="speech engine does not start") as told:
        renderer.render(["Hold."])
    assert "install" in str(told.value)
    assert "\n" not in str(told.value)


def test_an_unknown_voice_is_named_with_a_near_one() -> None:
    with pytest.raises(SpeechError, match=r'no voice "en-uss\+m3"; did you mean "en-us"\?'):
        Renderer("en-uss+m3").render(["Hold."])


def test_an_unknown_variant_of_a_voice_is_named() -> None:
    with pytest.raises(SpeechError, match=r'no voice "en-us\+nobody"'):
        Renderer("en-us+nobody").render(["Hold."])


@pytest.mark.skipif(sys.platform != "linux", reason="only on Linux does the library come from two places")
def test_a_failing_system_library_is_skipped(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    (tmp_path / "libespeak-ng.so.1").write_bytes(b"no library at all")
    (tmp_path / "libespeak.so.1").symlink_to(_any_library())
    monkeypatch.setenv("LD_LIBRARY_PATH", str(tmp_path))

    assert set(Renderer("en-us").render(["Hold."])) == {"Hold."}


def _any_library() -> str:
    with Path("/proc/self/maps").open() as maps:
        return next(line.split()[-1] for line in maps if "/libc.so" in line or "/libc-" in line)


def test_a_folder_that_takes_no_files_is_one_sentence(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    monkeypatch.setattr(tempfile, "tempdir", str(tmp_path / "gone"))
    monkeypatch.setattr(render, "_OTHER_PLACES", ())

    with pytest.raises(SpeechError, match=r"Speech cannot be rendered in .*gone"):
        Renderer("en-us").render(["Hold."])


def test_leaving_a_rendering_early_ends_its_processes(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    pid = tmp_path / "pid"
    monkeypatch.setenv("PID", str(pid))
    code = 'open(os.environ["PID"], "w").write(str(os.getpid())); real_but_only(1); hang()'
    clips = with_child(code, deadline=5).each(["One", "Two"])
    next(iter(clips))

    clips.close()  # type: ignore[attr-defined]  # a generator

    if sys.platform == "linux":
        assert not Path(f"/proc/{pid.read_text()}").exists()


def test_what_a_clip_depends_on_is_in_its_identity(monkeypatch: pytest.MonkeyPatch) -> None:
    base = Renderer("en-us", 160).identity
    others = [Renderer("en-gb", 160), Renderer("en-us", 150), Renderer("en-us", 160, 40)]

    identities = {base, *(other.identity for other in others)}
    monkeypatch.setattr(shape, "CLIP_FORMAT", shape.CLIP_FORMAT + 1)
    identities.add(Renderer("en-us", 160).identity)
    monkeypatch.setattr(render, "_engine", lambda: "another engine")
    identities.add(Renderer("en-us", 160).identity)

    assert len(identities) == 6


def test_speech_is_rendered_elsewhere_if_the_temporary_folder_is_not_usable(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    full, free = tmp_path / "full", tmp_path / "free"
    full.mkdir()
    free.mkdir()
    write = Path.write_bytes

    def refuse(path: Path, data: bytes) -> int:
        if path.is_relative_to(full):
            raise OSError(errno.ENOSPC, "No space left on device")
        return write(path, data)

    monkeypatch.setattr(tempfile, "tempdir", str(full))
    monkeypatch.setattr(render, "_OTHER_PLACES", (str(tmp_path / "nowhere"), str(free)))
    monkeypatch.setattr(Path, "write_bytes", refuse)

    assert list(Renderer("en-us").render(["Hold."])) == ["Hold."]
    assert not [path for path in full.iterdir() if not path.name.startswith("pulse-")]

    monkeypatch.setattr(render, "_OTHER_PLACES", ())
    with pytest.raises(SpeechError, match="No space left on device"):
        Renderer("en-us").render(["Hold."])


def test_the_next_rendering_deletes_the_folders_of_a_killed_one(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(tempfile, "tempdir", str(tmp_path))
    for name in ("coach-killed", "coach-at-work", "other-killed"):
        (tmp_path / name / "0").mkdir(parents=True)
        (tmp_path / name / "0" / "batch.json").write_text("words of somebody", "utf-8")
    (tmp_path / "coach-not-ours").mkdir()
    for name in ("coach-killed", "other-killed", "coach-not-ours"):
        os.utime(tmp_path / name, (0, 0))
    (tmp_path / "coach-linked").symlink_to(tmp_path / "other-killed")

    with files.locked_folder(tmp_path / "coach-at-work"):
        Renderer("en-us").render(["Hold."])

    kept = {"coach-at-work", "other-killed", "coach-not-ours", "coach-linked"}
    assert {path.name for path in tmp_path.iterdir() if not path.name.startswith("pulse-")} == kept
