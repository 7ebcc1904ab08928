"""What another user of this machine can see or do while somebody trains. The table in tests/RISKS.md names these tests.

The other user is a process that gives up root; without root there is none, and every test here is skipped.
"""

from __future__ import annotations

import encodings.idna  # noqa: F401  for an address; another user may have no way to the library
import http.client
import json
import os
import re
import shutil
import signal
import socket
import subprocess
import sys
import tempfile
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any
from urllib.parse import urlsplit

import pytest
from in_the_room import SMALL

from coach.logbook.store import Home
from coach.loglines.kinds import Note
from coach.program.load import load
from coach.testing.histories import SimulatedCourse, write_history

OTHER = 65534
"""Id of a user who owns nothing."""
FREELY = 0o000
"""A umask that hides nothing: what is private is made so."""

pytestmark = pytest.mark.skipif(
    not hasattr(os, "geteuid") or os.geteuid() != 0, reason="only root can become another user"
)


def as_another(look: Callable[[], Any]) -> Any:
    """Return what `look` returns to another user; for what raises an OSError, the name of the error."""
    out, into = os.pipe()
    child = os.fork()
    if not child:
        try:
            os.setgroups([])
            os.setgid(OTHER)
            os.setuid(OTHER)
            found = look()
        except OSError as refused:
            found = type(refused).__name__
        except BaseException as defect:  # noqa: BLE001  it must not come back into the tests
            found = repr(defect)
        os.write(into, json.dumps(found).encode())
        os._exit(0)
    os.close(into)
    with os.fdopen(out, "rb") as pipe:
        told = json.loads(pipe.read())
    os.waitpid(child, 0)
    return told


def readable(folder: Path) -> list[str]:
    """Return what can be read below a folder, or seen there by name."""
    found = [str(Path(where) / name) for where, folders, names in os.walk(folder) for name in (*folders, *names)]
    return found + [str(folder)] * os.access(folder, os.R_OK | os.X_OK)


@pytest.fixture(scope="module")
def place() -> Iterator[Path]:
    """Give a folder that everybody may enter, and let nothing be hidden by a umask."""
    folder = Path(tempfile.mkdtemp(prefix="shared-"))
    folder.chmod(0o755)
    before = os.umask(FREELY)
    yield folder
    os.umask(before)
    shutil.rmtree(folder)


@pytest.fixture(scope="module")
def started(place: Path) -> Iterator[tuple[subprocess.Popen[str], str]]:
    """Give `coach page` with a browser that does nothing but stay, and the address that it printed."""
    (place / "program.yaml").write_text(SMALL, "utf-8")
    (place / "Downloads").mkdir(mode=0o755)
    (place / ".config").mkdir(mode=0o755)
    (place / ".config" / "user-dirs.dirs").write_text('XDG_DOWNLOAD_DIR="$HOME/Downloads"\n', "utf-8")
    browser = f"{sys.executable} -c 'import sys; sys.stdin.read()' %s &"
    command = [sys.executable, "-m", "coach", "page", str(place / "program.yaml"), "--home", str(place / "trained"),
               "--room", "default"]  # fmt: skip
    ran = subprocess.Popen(
        command, stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True, umask=FREELY, start_new_session=True,
        env=os.environ | {"BROWSER": browser, "DISPLAY": ":99", "PYTHONUNBUFFERED": "1", "COLUMNS": "400",
                          "HOME": str(place), "XDG_CONFIG_HOME": str(place / ".config")},
    )  # fmt: skip
    assert ran.stdout is not None
    yield ran, next(found[0] for line in ran.stdout if (found := re.search(r"http://\S+/", line)))
    os.killpg(ran.pid, signal.SIGKILL)
    ran.communicate()


def commands() -> list[list[str]]:
    """Return the command of every process, as everybody can read it."""
    lines = []
    for one in Path("/proc").glob("[0-9]*/cmdline"):
        try:
            lines.append(one.read_bytes().decode("utf-8", "replace").split("\0"))
        except OSError:
            continue  # it has ended
    return lines


def test_nothing_of_a_home_can_be_read_or_listed(place: Path) -> None:
    home = Home(place / "home")
    write_history(home, "mira", load(SMALL, "small.yaml"), SimulatedCourse(days=1, adherence=1.0), seed=1)

    assert len(readable(home.root)) > 4
    assert as_another(lambda: readable(home.root)) == []


def test_a_record_kept_in_the_folder_for_temporary_files_can_not_be_read(
    place: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    temporary = place / "tmp"
    temporary.mkdir(mode=0o1777)
    monkeypatch.setattr(tempfile, "tempdir", str(temporary))
    store = Home(place / "gone").begin(Home(place / "gone").add_person("mira", "Mira").id)
    store.take(0, Note("private", "caregiver"))
    store.close(reachable=False)
    assert store.kept_at is not None
    kept = store.kept_at

    assert kept.is_relative_to(temporary)
    assert as_another(lambda: readable(temporary)) == [str(kept.parent), str(temporary)]
    assert as_another(kept.read_bytes) == "PermissionError"


@pytest.mark.skipif(sys.platform != "linux", reason="other systems list processes in other ways")
def test_the_list_of_processes_shows_a_file_that_only_its_owner_can_open(
    started: tuple[subprocess.Popen[str], str], place: Path
) -> None:
    secret = started[1].split("/")[3]
    (file,) = place.glob("Downloads/coach-page-*/open.html")
    ticket = re.findall(r"/open/([^\"]+)", file.read_text("utf-8"))[0]
    seen = as_another(commands)

    assert any(file.as_uri() in line for line in seen), "the browser was not seen"
    assert [line for line in seen for word in line if secret in word or ticket in word] == []
    assert as_another(file.read_text) == "PermissionError"
    assert as_another(lambda: readable(file.parent)) == []


@pytest.mark.skipif(sys.platform != "linux", reason="other systems list processes in other ways")
@pytest.mark.usefixtures("started")
def test_what_a_command_was_started_with_is_seen(place: Path) -> None:
    assert any(str(place / "program.yaml") in line for line in as_another(commands))


@pytest.mark.skipif(sys.platform != "linux", reason="other systems have no /proc")
def test_memory_files_and_surroundings_of_coach_and_server_are_closed(
    started: tuple[subprocess.Popen[str], str],
) -> None:
    coach = started[0].pid
    children = Path(f"/proc/{coach}/task/{coach}/children").read_text().split()

    def look() -> list[str]:
        opened = []
        for one in (str(coach), *children):
            for name in ("environ", "mem", "maps", "fd/0", "io", "stack", "cwd/x"):
                try:
                    Path(f"/proc/{one}/{name}").open("rb").close()
                    opened.append(f"{one} {name}")
                except PermissionError:
                    continue
            try:
                os.kill(int(one), signal.SIGSTOP)
                opened.append(f"{one} stopped")
            except PermissionError:
                continue
        return opened

    assert len(children) >= 2
    assert as_another(look) == []


def test_the_port_is_found_and_gives_nothing_without_the_secret(
    started: tuple[subprocess.Popen[str], str],
) -> None:
    parts = urlsplit(started[1])

    def knock() -> list[int]:
        found = []
        for method, path in (("GET", "/"), ("GET", "/open/screens"), ("POST", "/open/do"), ("GET", "/open%0A/screens")):
            connection = http.client.HTTPConnection(parts.netloc, timeout=10)
            connection.request(method, path, '{"do":"press","key":"r"}', {"Origin": f"http://{parts.netloc}"})
            found.append(connection.getresponse().status)
        return found

    assert as_another(knock) == [404] * 4


@pytest.mark.skipif(sys.platform != "linux", reason="sockets are read from /proc")
def test_coach_and_server_have_no_other_socket_with_a_name(started: tuple[subprocess.Popen[str], str]) -> None:
    coach = started[0].pid
    ours = {str(path.readlink()) for one in (coach, *Path(f"/proc/{coach}/task/{coach}/children").read_text().split())
            for path in Path(f"/proc/{one}/fd").iterdir() if path.is_symlink()}  # fmt: skip
    local = [line.split() for line in as_another(lambda: Path("/proc/net/unix").read_text()).splitlines()[1:]]
    ports = [line.split() for line in as_another(lambda: Path("/proc/net/tcp").read_text()).splitlines()[1:]]

    assert [row for row in local if len(row) > 7 and f"socket:[{row[6]}]" in ours] == []
    assert len({row[1] for row in ports if row[3] == "0A" and f"socket:[{row[9]}]" in ours}) == 1


def test_the_browsers_own_history_is_closed(place: Path) -> None:
    chromium = shutil.which("chromium") or shutil.which("chromium-browser") or shutil.which("google-chrome")
    started = pytest.importorskip("playwright.sync_api", reason="playwright is not installed").sync_playwright
    if chromium is None:
        pytest.skip("no Chromium on this machine")
    with started() as playwright, socket.create_server(("127.0.0.1", 0)) as silent:
        context = playwright.chromium.launch_persistent_context(
            place / "profile", executable_path=chromium, args=["--no-sandbox", "--disable-background-networking"]
        )
        window = context.new_page()
        window.evaluate(f"() => void (location = 'http://127.0.0.1:{silent.getsockname()[1]}/secret/')")
        context.close()

    assert (place / "profile" / "Default" / "History").is_file()
    assert as_another(lambda: readable(place / "profile")) == []
