"""Whatever is wrong: one sentence that says what to do, exit status 2, no traceback, nothing half-written."""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path
from types import ModuleType
from typing import Any

import pytest
from in_the_room import PERSON, SCRIPT, SMALL

from coach.cli import main
from coach.logbook.store import Home

ROOT = Path(__file__).resolve().parents[2]


def replaced(old: str, new: str) -> str:
    assert old in SMALL
    return SMALL.replace(old, new)


TWICE = "      - {id: one, setup: Stand up., cue: Rise and lower.}\n"

PROGRAMS = {
    "malformed YAML": (replaced("limits:", "limits: ["), "a bracket is open"),
    "a misspelt field": (replaced("cautions:", "cautoins:"), 'did you mean "cautions"?'),
    "zero reps": (replaced("reps: 3,", "reps: 0,"), "reps must be"),
    "negative sets": (replaced("{sets: 2", "{sets: -3"), "sets must be"),
    "a phase without time": (replaced("raise: 1 s", "raise: "), "raise"),
    "phases without any": (replaced("phases: {raise: 1 s, lower: 3 s}", "phases: {}"), "names with times"),
    "a level twice": (replaced(TWICE, TWICE + TWICE), "one"),
    "a level that is not there": (replaced("sides: both", "start_level: two\n    sides: both"), "two"),
    "a language without a voice": (replaced("language: en", "language: xx"), "xx"),
    "a word that halts": (replaced("Rise and lower.", "Rise and stop."), "stop"),
    "nothing": ("", ""),
}


def contents(folder: Path) -> set[Path]:
    return {path for path in folder.rglob("*") if path.is_file()}


def one_sentence(capsys: pytest.CaptureFixture[str], command: str) -> str:
    """Return the complaint; check that it is one line on standard error and the only output."""
    out, err = capsys.readouterr()
    assert out == ""
    assert err.startswith(f"coach {command}: ")
    assert err.count("\n") == 1, err
    assert "Traceback" not in err
    return err


@pytest.mark.parametrize("what", PROGRAMS)
@pytest.mark.parametrize("command", ["start", "demo", "rehearse"])
def test_a_program_that_cannot_be_used(
    what: str, command: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    text, told = PROGRAMS[what]
    program, home = tmp_path / "mine.yaml", tmp_path / "home"
    program.write_text(text)
    Home(home).add_person(PERSON)
    before = contents(home)
    arguments = {"start": [str(program), "--person", PERSON], "demo": ["--program", str(program)]}

    status = main([command, *arguments.get(command, [str(program)]), "--home", str(home)])

    said = one_sentence(capsys, command)
    assert status == 2
    assert told in said
    assert contents(home) == before


@pytest.mark.parametrize("what", [name for name in PROGRAMS if "language" not in name])
def test_a_program_error_names_file_line_and_column(
    what: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    program = tmp_path / "mine.yaml"
    program.write_text(PROGRAMS[what][0])

    main(["rehearse", str(program), "--home", str(tmp_path)])

    place = capsys.readouterr().err.removeprefix(f"coach rehearse: {program}:").split(":")
    assert int(place[0]) >= 1
    assert int(place[1]) >= 1


@pytest.mark.parametrize("command", [["start", "ankle_steady", "--person"], ["log"]])
def test_an_unknown_person(command: list[str], tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    Home(tmp_path).add_person("mira")

    assert main([*command, "mirja", "--home", str(tmp_path)]) == 2

    said = one_sentence(capsys, command[0])
    assert "mira" in said.replace("mirja", "")
    assert not (tmp_path / "people" / "mirja").exists()


class NoDevices(ModuleType):
    PortAudioError = RuntimeError
    default = type("Default", (), {"hostapi": 0})()

    def query_hostapis(self, index: int | None = None) -> Any:
        host = {"name": "Core", "default_input_device": -1, "default_output_device": -1}
        return [host] if index is None else host

    def query_devices(self) -> list[dict[str, Any]]:
        return []

    def _terminate(self) -> None:
        pass

    def _initialize(self) -> None:
        pass


def start(home: Path, *more: str) -> int:
    Home(home).add_person(PERSON)
    return main(["start", "ankle_steady", "--person", PERSON, "--home", str(home), *more])


def test_a_machine_without_a_device(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.setitem(sys.modules, "sounddevice", NoDevices("sounddevice"))

    assert start(tmp_path) == 2

    assert "No microphone was found" in one_sentence(capsys, "start")
    assert list(tmp_path.rglob("*.jsonl")) == []


def test_a_machine_without_portaudio(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    library = tmp_path / "library"
    library.mkdir()
    (library / "sounddevice.py").write_text('raise OSError("PortAudio library not found")\n')
    monkeypatch.delitem(sys.modules, "sounddevice", raising=False)
    monkeypatch.syspath_prepend(library)

    assert start(tmp_path / "home") == 2

    assert "libportaudio2" in one_sentence(capsys, "start")


def test_a_room_whose_script_is_not_there(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert start(tmp_path, "--room", "nobody.yaml") == 2

    assert "There is no patient script nobody.yaml" in one_sentence(capsys, "start")


@pytest.mark.skipif(sys.platform == "win32", reason="Windows has no limit on the size of files")
def test_a_disk_that_refuses_even_the_first_line(room_home: Path, tmp_path: Path) -> None:
    (tmp_path / "small.yaml").write_text(SMALL)
    (tmp_path / "patient.yaml").write_text(SCRIPT)
    before = contents(room_home)
    full = (
        "import resource, sys; resource.setrlimit(resource.RLIMIT_FSIZE, (0, 0)); sys.path.insert(0, sys.argv.pop(1));"
        "from coach.cli import main; sys.exit(main(sys.argv[1:]))"
    )
    command = ["start", "small.yaml", "--person", PERSON, "--room", "patient.yaml", "--home", str(room_home)]

    ran = subprocess.run(
        [sys.executable, "-c", full, str(ROOT), *command], cwd=tmp_path, capture_output=True, text=True, check=False
    )

    assert ran.returncode == 2
    assert ran.stderr.startswith("coach start: Cannot write ")
    assert ran.stderr.count("\n") == 1
    assert "free some space" in ran.stderr
    assert contents(room_home) == before
