"""Whatever a file holds: it is refused in plain words or used, at once, and steers neither a screen nor a page."""

from __future__ import annotations

import io
import random
import warnings
import zipfile
from collections.abc import Callable
from datetime import date
from pathlib import Path
from time import perf_counter
from typing import Any

import numpy as np
import pytest
from budget import draws
from hostile import DOORS, SESSION, VALUES, check_page, check_terminal, sealed, worse
from hypothesis import given, settings
from hypothesis import strategies as st
from in_the_room import SCRIPT, SMALL

from coach.audio.patient import parse_script
from coach.audio.wavs import read_sound
from coach.cli import main
from coach.ears.enrolment import FILE, UnusableEnrolmentError, load_enrolment
from coach.errors import CoachError, DeviceError, ProgramError, RecordError, RoomError, VoicePackError
from coach.logbook.store import Home
from coach.program.load import load
from coach.review.clinic import look
from coach.review.columns import open_clinic
from coach.review.markup import tag

EXAMPLES = {"arrays": draws(25, 150), "enrolment": draws(50, 150), "clinic": 10, "commands": 5, "review": 25} | {
    "program": draws(30, 60),
    "pack": draws(30, 60),
    "script": draws(30, 60),
    "session": 40,
    "row": 40,
}
"""Inputs at doors that take their time; tests/bench/fuzz.py lets in many more."""


@pytest.mark.parametrize("name", DOORS)
def test_a_door_takes_what_is_honest(name: str) -> None:
    for seed in DOORS[name].seeds():
        if name != "pack":  # its files stand there in part, to be read quickly
            DOORS[name].take(seed)


@pytest.mark.filterwarnings("error::RuntimeWarning")
@pytest.mark.parametrize("name", DOORS)
def test_a_hostile_file_is_used_or_refused_and_nothing_else(name: str) -> None:
    door = DOORS[name]
    seeds = door.seeds()

    @settings(max_examples=EXAMPLES.get(name, 150), database=None)
    @given(st.integers(0, 2**32), st.binary(max_size=60), st.booleans())
    def let_in(seed: int, raw: bytes, honest: bool) -> None:
        chance = random.Random(seed)
        whole = chance.choice(seeds)
        at = chance.randrange(len(whole) + 1)
        spoilt = worse(whole, chance) if door.text else whole[:at] + raw + whole[at + len(raw) :]
        try:
            door.take(spoilt if honest else raw)
        except CoachError as refused:
            check_terminal(str(refused).replace("\n", " "))

    let_in()


@pytest.mark.parametrize("value", [one for one in VALUES if len(one) > 500 or one.startswith(("&", "*", "!!", '"\\U'))])
@pytest.mark.parametrize("what", ["program", "script", "pack"])
def test_bombs_are_refused_at_once(what: str, value: str, tmp_path: Path) -> None:
    refuse: dict[str, Callable[[], object]] = {
        "program": lambda: load(SMALL.replace("A short one", value), "small.yaml"),
        "script": lambda: parse_script(SCRIPT.replace("0.5 s", value), "script.yaml", tmp_path),
        "pack": lambda: DOORS["pack"].take(b"\x03voice: en\nrate: " + value.encode() + b"\npause: 0\n"),
    }
    began = perf_counter()

    with pytest.raises((ProgramError, RoomError, VoicePackError)):
        refuse[what]()

    assert perf_counter() - began < 5  # a hundredth of it here


def test_a_bomb_of_aliases_is_no_bomb(tmp_path: Path) -> None:
    bomb = "a: &a [x, x]\n" + "".join(f"{chr(98 + n)}: &{chr(98 + n)} [{f'*{chr(97 + n)}, ' * 9}]\n" for n in range(9))

    for refuse in (lambda: load(bomb, "a.yaml"), lambda: parse_script(bomb, "a.yaml", tmp_path)):
        with pytest.raises(CoachError, match="anchor"):
            refuse()


def test_an_enrolment_that_would_fill_the_memory_is_damaged(tmp_path: Path) -> None:
    folder = tmp_path / "mira" / "takes"
    folder.mkdir(parents=True)
    header = np.lib.format.magic(1, 0)
    for name, size in (("huge", 8_000_000_000_000), ("told", 700_000_000)):
        with zipfile.ZipFile(folder / FILE, "w", zipfile.ZIP_DEFLATED) as archive:
            told = f"{{'descr': '<f8', 'fortran_order': False, 'shape': ({size},), }}".ljust(117) + "\n"
            archive.writestr("format.npy", header + len(told).to_bytes(2, "little") + told.encode() + bytes(1000))
            if name == "told":
                with archive.open("bomb.npy", "w", force_zip64=True) as bomb:
                    for _ in range(600):
                        bomb.write(bytes(1024 * 1024))

        with pytest.raises(UnusableEnrolmentError, match="is damaged; teach the words again"):
            load_enrolment(folder)


def test_nothing_in_an_enrolment_is_ever_run(tmp_path: Path) -> None:
    folder = tmp_path / "mira" / "takes"
    folder.mkdir(parents=True)
    held: dict[str, Any] = {"format": np.array([{"a": 1}], dtype=object)}
    np.savez(folder / FILE, **held)

    with pytest.raises(UnusableEnrolmentError):
        load_enrolment(folder)


@pytest.mark.parametrize(("channels", "rate"), [(1, 2_000_000_000), (1000, 16_000)])
def test_a_recording_whose_second_would_fill_the_memory_is_refused(channels: int, rate: int, tmp_path: Path) -> None:
    sound = bytes(4 * channels)
    header = b"fmt " + (16).to_bytes(4, "little") + b"\x01\x00" + channels.to_bytes(2, "little")
    header += rate.to_bytes(4, "little") + bytes(4) + (2 * channels).to_bytes(2, "little") + b"\x10\x00"
    body = b"WAVE" + header + b"data" + len(sound).to_bytes(4, "little") + sound
    path = tmp_path / "a.wav"
    path.write_bytes(b"RIFF" + len(body).to_bytes(4, "little") + body)

    with pytest.raises(DeviceError, match=r"which no microphone gives|cannot be read as sound"):
        read_sound(path)


def test_a_recording_with_samples_that_are_no_numbers_is_heard_without_them(tmp_path: Path) -> None:
    import soundfile

    path = tmp_path / "a.wav"
    soundfile.write(path, np.array([[np.inf, -np.inf], [np.nan, 1.0], [3e38, 3e38], [0.5, 0.5]]), 16_000, "FLOAT")

    with warnings.catch_warnings():
        warnings.simplefilter("error")
        heard = read_sound(path)

    assert np.isfinite(heard).all()
    assert heard[3] == 0.5


@pytest.mark.parametrize(
    "name", ["..", ".", "../mira", "a/b", "a\\b", "a\0b", "A", "mira ", "", "x" * 41, "mirá", "a\nb"]
)
@pytest.mark.parametrize("command", [("start", "--person"), ("log",), ("review",), ("today",), ("forget",), ("enrol",)])
def test_an_id_that_would_leave_its_folder_is_refused(
    command: tuple[str, ...], name: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    with pytest.raises(RecordError, match="cannot be the id of a person"):
        Home(tmp_path).check_id(name)
    (tmp_path / "mira").mkdir()

    assert main([*command, name, "--home", str(tmp_path / "home")]) == 2
    err = capsys.readouterr().err
    assert err.count("\n") == 1
    check_terminal(err)
    assert sorted(path.name for path in tmp_path.iterdir()) == ["mira"]


def test_a_refusal_shows_what_would_steer_the_terminal_as_its_code() -> None:
    assert str(CoachError("no \x1b[2J\u202e\udcff\nhere")) == "no U+001B[2JU+202EU+DCFFU+000Ahere"
    assert str(ProgramError("one\ntwo")) == "one\ntwo"


def test_a_program_that_turns_its_text_round_is_refused() -> None:
    with pytest.raises(ProgramError, match=r"control character U\+202E; take it out"):
        load(SMALL.replace("Stand up.", "Stand\u202e up."), "small.yaml")


def test_a_page_shows_a_name_as_text_whatever_it_holds() -> None:
    names = ("<script>x</script>", '" onload="x', "a\u202eb", "a\x1bb", "&lt;", "\udcff", "x" * 5000, "مها", "👩‍🦽")

    for name in names:
        html = tag("p", name, title=name)
        check_page(html)
        html.encode("utf-8")
    assert "مها" in tag("p", "مها")


def test_a_terminal_that_lacks_a_letter_gets_its_code(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    raw = io.BytesIO()
    monkeypatch.setattr("sys.stdout", io.TextIOWrapper(raw, encoding="ascii", write_through=True))

    assert main(["handout", "desk_neck_back_ko", "--home", str(tmp_path)]) == 0
    assert b"\\u" in raw.getvalue()


def test_no_console_of_a_command_takes_text_for_markup() -> None:
    folder = Path(__file__).resolve().parent.parent / "coach" / "cli"
    made = [(path.name, line) for path in folder.glob("*.py") for line in path.read_text("utf-8").splitlines()]

    consoles = [(name, line.strip()) for name, line in made if "Console(" in line and "def " not in line]
    assert len(consoles) > 10
    assert [one for one in consoles if "markup=False" not in one[1]] == []


@pytest.mark.parametrize("odd", ["NaN", "-Infinity", "1e400", "9" * 4000, '"\\ud800"', "[" * 900 + "]" * 900, "00"])
def test_a_line_that_was_forged_with_what_is_no_json_hides_nobody_in_a_clinic(odd: str, tmp_path: Path) -> None:
    honest = DOORS["session"].seeds()[0]
    begun = b'"line":"session_begun"'
    for name, data in (("mira", honest.replace(begun, begun + b',"odd":' + odd.encode())), ("otto", honest)):
        sessions = tmp_path / "people" / name / "sessions"
        sessions.mkdir(parents=True)
        told = data.replace(b'"person":"mira"', f'"person":"{name}"'.encode())
        (sessions / f"{SESSION}.jsonl").write_bytes(sealed(told))

    clinic = open_clinic(tmp_path)
    seen = {str(person) for (person,) in clinic.engine.execute("SELECT DISTINCT person FROM sets").fetchall()}
    left = look(clinic, date(2027, 1, 20)).left_out
    clinic.engine.close()

    assert seen == {"mira", "otto"}
    assert {one.file.split("/")[1] for one in left} <= {"mira"}
