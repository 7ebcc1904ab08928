"""What a person trusts it with stays here: no socket leaves the machine, no sound and no name on the disk.

One run in a process of its own, under a permissive umask, without a network where that can be had and with its system
calls traced where they can: words taught by voice, a session in the virtual room, every way to read it, then export
and forget.
"""

from __future__ import annotations

import json
import os
import re
import shutil
import subprocess
import sys
import tempfile
from dataclasses import dataclass
from pathlib import Path

import pytest
from in_the_room import PERSON, SCRIPT, SMALL, Furnished
from lesson_room import record_takes
from once import once
from window import Window

from coach.ears.enrolment import load_enrolment
from coach.logbook.store import Home

ROOT = Path(__file__).resolve().parent.parent
NAME = "Wilhelmina Testperson"
"""What the person likes to be called; in the furnished home they have no name."""
PRIVATE = "Rise and lower like a heron"
"""A sentence of a program that was written for one person."""
SOUND = (b"RIFF", b"fLaC", b"OggS", b"FORM", b".snd")
"""How a sound file begins."""
TAUGHT = ("ready", "yes")
"""Words that are taught by voice."""
LOCAL = re.compile(r"AF_UNIX|AF_NETLINK|127\.0\.0\.1|\"::1\"|sin_addr=inet_addr\(\"127\.")
"""A netlink socket asks the kernel of this machine."""

DRIVER = """
import json, os, sys

os.umask(0)
reached = []

def watch(event, args):
    if event.startswith("socket.") and event not in ("socket.gethostname",):
        reached.append([event, repr(args)])

sys.addaudithook(watch)
import pytest
from lesson_room import Lesson, learn_little
from pathlib import Path
import coach.audio.stream, coach.cli.enrol
from coach.cli import main

learn_little(pytest.MonkeyPatch())
for words in json.loads(sys.argv[1]):
    if "--words" in words:
        lesson = Lesson(Path(sys.argv[3]))
        coach.audio.stream.Stream = lambda *_, **__: lesson
        coach.cli.enrol.coach_voice = lambda *_: lesson
    status = main(words)
    if words[0] == "start":
        left = [os.path.join(where, name) for where, _, names in os.walk(os.environ["TMPDIR"]) for name in names]
        print("left in the folder for temporary files:", left, file=sys.stderr)
    assert status == 0, words
with open(sys.argv[2], "w") as out:
    json.dump(reached, out)
"""


@dataclass
class Traced:
    """What the run did."""

    home: Home
    out: Path
    """Folder of what was written for its user."""
    printed: str
    reached: list[list[str]]
    """Python's own sockets: event and arguments."""
    calls: str | None
    """System calls for the network and to start programs; None where none can be traced."""
    without_network: bool


def works(*command: str) -> bool:
    found = shutil.which(command[0])
    return bool(found) and subprocess.run([*command, "true"], capture_output=True, check=False).returncode == 0


@pytest.fixture(scope="module")
def traced(furnished: Furnished, tmp_path_factory: pytest.TempPathFactory) -> Traced:
    """Run everything, once for all processes of the tests."""

    def run(folder: Path) -> None:
        (folder / "told.json").write_text(json.dumps(run_everything(furnished, folder)), "utf-8")

    folder = once(tmp_path_factory, "private", run)
    told = json.loads((folder / "told.json").read_text("utf-8"))
    return Traced(Home(folder / "home"), folder / "out", **told)


def run_everything(furnished: Furnished, folder: Path) -> dict[str, object]:
    """Return the fields of `Traced` that the run itself tells."""
    home = Home(folder / "home")
    home.add_person(PERSON, NAME)
    home.clips.mkdir(mode=0o700)
    for clip in furnished.home.clips.iterdir():
        shutil.copyfile(clip, home.clips / clip.name)
        (home.clips / clip.name).chmod(0o600)
    shutil.copytree(furnished.home.person(PERSON).takes, home.person(PERSON).takes)
    program, patient = folder / "program.yaml", folder / "patient.yaml"
    program.write_text(SMALL.replace("Rise and lower", PRIVATE), "utf-8")
    patient.write_text(SCRIPT, "utf-8")
    out, temporary = folder / "out", folder / "tmp"
    out.mkdir(mode=0o700)
    temporary.mkdir()
    commands = [
        ("enrol", "otto", "--keys-only"),
        ("enrol", "vera", "--words", ",".join(TAUGHT)),
        ("start", program, "--person", PERSON, "--room", patient, "--wav", out / "room.wav"),
        ("today", PERSON),
        ("decide", PERSON, "heel_lowering", "stay", "--by", "Kim Rivers"),
        ("log", PERSON, "--session", "last"),
        ("review", PERSON, "--html", out / "a.html", "--csv", out / "a.csv", "--fhir", out / "a.json"),
        ("review", "--clinic", home.root, "--html", out / "b.html", "--parquet", out / "columns"),
        ("handout", program, "--html", out / "c.html"),
        ("rehearse", program),
        ("export", PERSON, out / "all.zip"),
    ]
    words = json.dumps([[str(word) for word in (*command, "--home", home.root)] for command in commands])
    reached, calls = folder / "reached.json", folder / "calls.txt"
    before = ["unshare", "-rn"] if works("unshare", "-rn") else []
    tracer = ["strace", "-f", "--seccomp-bpf", "-qq", "-s", "4096", "-e", "trace=network,execve", "-o", str(calls)]
    traces = works(*before, *tracer)
    with tempfile.TemporaryDirectory() as said:
        record_takes(Path(said), TAUGHT)
        ran = subprocess.run(
            [*before, *(tracer if traces else []), sys.executable, "-c", DRIVER, words, str(reached), said],
            cwd=ROOT,
            env={
                "PATH": os.environ["PATH"],
                "PYTHONPATH": f"{ROOT}{os.pathsep}{ROOT / 'tests'}",
                "TMPDIR": str(temporary),
                "HOME": str(folder),
            },
            capture_output=True,
            text=True,
            check=False,
        )
    assert ran.returncode == 0, ran.stdout[-2000:] + ran.stderr[-4000:]
    return {
        "printed": ran.stdout + ran.stderr,
        "reached": json.loads(reached.read_text("utf-8")),
        "calls": calls.read_text("utf-8", "replace") if traces else None,
        "without_network": bool(before),
    }


def test_words_were_taught_by_voice_in_that_run(traced: Traced) -> None:
    taught = load_enrolment(traced.home.person("vera").takes)

    assert (set(taught.takes), taught.verdict != "") == (set(TAUGHT), True)


def test_a_session_and_every_way_to_read_it_open_no_socket_of_pythons(traced: Traced) -> None:
    assert traced.reached == []


def test_no_socket_leaves_the_machine(traced: Traced) -> None:
    if traced.calls is None:
        pytest.skip("strace is not here, or may trace nothing")
    lines = [line for line in traced.calls.splitlines() if re.search(r"\b(connect|bind|send\w*)\(", line)]

    assert "execve(" in traced.calls, "nothing was traced"
    assert [line for line in lines if "AF_" in line and not LOCAL.search(line)] == []


def test_a_visit_with_the_page_uses_this_machines_own_network_alone(furnished: Furnished, tmp_path: Path) -> None:
    tracer = ["strace", "-f", "--seccomp-bpf", "-qq", "-e", "trace=network,execve", "-o", str(tmp_path / "calls")]
    if not works(*tracer):
        pytest.skip("strace is not here, or may trace nothing")
    home, patient, program = tmp_path / "home", tmp_path / "patient.yaml", tmp_path / "program.yaml"
    shutil.copytree(furnished.home.clips, home / "clips", copy_function=os.link)
    patient.write_text(SCRIPT, "utf-8")
    program.write_text(SMALL, "utf-8")
    command = [sys.executable, "-m", "coach", "page", str(program), "--no-browser", "--home", str(home), "--room",
               str(patient), "--pace", "30"]  # fmt: skip
    ran = subprocess.Popen([*tracer, *command], cwd=ROOT, stdout=subprocess.PIPE, text=True,
                           env={"PATH": os.environ["PATH"], "HOME": str(tmp_path), "PYTHONUNBUFFERED": "1",
                                "COLUMNS": "400", "PYTHONPATH": str(ROOT)})  # fmt: skip
    assert ran.stdout is not None
    address = next(found[0] for line in ran.stdout if (found := re.search(r"http://\S+/", line)))
    window = Window(address)
    seen: list[str] = []
    chooses = {"new": "on", "today": "on", "cautions": "on", "teach": "keys", "check": "on", "checked": "on",
               "reach": "yes", "after": "done", "who": "close"}  # fmt: skip
    for screen in window.screens():
        name = screen.get("id", "session")
        if name == "session":
            window.press("f")
        elif name in chooses and (not seen or seen[-1] != name):
            window.choose(screen, chooses[name], name=NAME, note="Went well.")
        seen.append(name)
    ran.communicate(timeout=60)
    calls = (tmp_path / "calls").read_text("utf-8", "replace")
    lines = [line for line in calls.splitlines() if re.search(r"\b(connect|bind|send\w*)\(", line)]

    assert {"session", "after", "who"} <= set(seen)
    assert any("127.0.0.1" in line for line in lines), "the server was not seen"
    assert [line for line in lines if "AF_" in line and not LOCAL.search(line)] == []
    assert "Wilhelmina" not in calls
    assert [path for path in home.rglob("*") if path.is_file() and path.stat().st_mode & 0o077] == []


def test_it_all_works_where_there_is_no_network(traced: Traced) -> None:
    if not traced.without_network:
        pytest.skip("unshare is not here, or may take no network away")
    assert (traced.out / "all.zip").is_file()


def test_no_process_has_a_name_or_a_word_of_a_program_in_its_arguments(traced: Traced) -> None:
    if traced.calls is None:
        pytest.skip("strace is not here, or may trace nothing")
    started = [line for line in traced.calls.splitlines() if "execve(" in line and "child.py" in line]

    assert started, "the speech engine's process was not seen"
    assert [
        line for line in started if "Wilhelmina" in line or "heron" in line or PERSON in line.partition("[")[2]
    ] == []


def test_no_sound_is_on_the_disk_but_the_spoken_clips_and_the_file_that_was_asked_for(traced: Traced) -> None:
    everywhere = traced.home.root.parent.rglob("*")
    sounds = {path for path in everywhere if path.is_file() and path.read_bytes()[:4] in SOUND}

    assert sounds - {traced.out / "room.wav"} == set(traced.home.clips.iterdir())


def test_the_speech_engines_process_leaves_nothing_in_the_folder_for_temporary_files(traced: Traced) -> None:
    assert "left in the folder for temporary files: []" in traced.printed


def test_a_name_is_in_the_persons_own_file_and_nowhere_else_in_the_home(traced: Traced) -> None:
    files = [path for path in traced.home.root.rglob("*") if path.is_file()]

    assert [path.name for path in files if NAME.encode() in path.read_bytes()] == ["person.json"]


def test_everything_that_was_written_is_for_its_owner_alone(traced: Traced) -> None:
    written = [*traced.home.root.rglob("*"), *traced.out.rglob("*")]

    assert len(written) > 100
    assert [path for path in written if path.is_file() and path.stat().st_mode & 0o777 != 0o600] == []
    assert [path for path in written if path.is_dir() and path.stat().st_mode & 0o777 != 0o700] == []
