"""The wheel works away from the checkout: everything it needs travels in it."""

from __future__ import annotations

import os
import subprocess
import sys
import sysconfig
from pathlib import Path

import pytest
from test_dependencies import data_files

ROOT = Path(__file__).resolve().parent.parent
PROGRAMS = (
    "ankle_steady",
    "desk_neck_back",
    "desk_neck_back_ko",
    "elbow_lowering",
    "kneecap_steady",
    "older_adult_balance",
)


def _run(command: list[str | Path], cwd: Path, **more: str) -> str:
    """Run a command as from a plain shell, without the checkout in its way; return what it printed."""
    plain = {name: value for name, value in os.environ.items() if not name.startswith(("PYTHON", "COACH"))}
    ran = subprocess.run(command, cwd=cwd, env=plain | more, capture_output=True, text=True, check=False)
    assert ran.returncode == 0, f"{command}\n{ran.stdout}\n{ran.stderr}"
    return ran.stdout


@pytest.fixture(scope="module")
def installed(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Return the folder of commands of a new environment that holds the wheel and sees today's dependencies."""
    folder = tmp_path_factory.mktemp("fresh")
    pip = [sys.executable, "-m", "pip", "-q", "--disable-pip-version-check"]
    _run([*pip, "wheel", ROOT, "--no-deps", "--no-build-isolation", "--no-index", "-w", folder], folder)
    _run([sys.executable, "-m", "venv", "--without-pip", folder / "venv"], folder)
    scheme = sysconfig.get_paths("venv", vars={"base": str(folder / "venv"), "platbase": str(folder / "venv")})
    python = next(Path(scheme["scripts"]).glob("python3*" if os.name != "nt" else "python.exe"))
    wheel = next(folder.glob("*.whl"))
    _run([*pip, "--python", python, "install", "--no-deps", "--no-index", wheel], folder)
    elsewhere = [path for path in sys.path if path.endswith(("site-packages", "dist-packages"))]
    (Path(scheme["purelib"]) / "dependencies.pth").write_text("\n".join(elsewhere))
    return Path(scheme["scripts"])


def test_the_command_is_there_and_tells_what_it_can_do(installed: Path, tmp_path: Path) -> None:
    told = _run([installed / "coach", "--help"], tmp_path)

    assert all(command in told for command in ("demo", "start", "enrol", "check", "rehearse", "log"))


def test_programs_and_voices_travel_in_the_wheel(installed: Path, tmp_path: Path) -> None:
    code = "import coach.resources as r; print(r.folder('programs')); print(r.folder('voices'))"
    programs, voices = map(Path, _run([installed / "python", "-c", code], tmp_path).splitlines())

    assert installed.parent in programs.parents
    assert {path.name for path in programs.iterdir()} == {path.name for path in (ROOT / "programs").iterdir()}
    assert {path.name for path in (voices / "en").iterdir()} == {path.name for path in (ROOT / "voices/en").iterdir()}


def test_every_shipped_program_checks_out_away_from_the_checkout(installed: Path, tmp_path: Path) -> None:
    _run([installed / "coach", "check", *PROGRAMS], tmp_path)


def test_the_page_travels_whole(installed: Path, tmp_path: Path) -> None:
    code = "from coach.page.server import FILES, STATIC; print(*(n for n in FILES.values() if (STATIC / n).is_file()))"

    assert _run([installed / "python", "-c", code], tmp_path).split() == [
        "index.html",
        "page.css",
        "elements.js",
        "page.js",
        "stone.js",
        "stream.js",
    ]


def test_data_files_of_the_package_travel_too(installed: Path, tmp_path: Path) -> None:
    code = (
        "from coach.audio.patient import read_script; from coach.ears.matching import general_mean;"
        "print(read_script('default').about, general_mean().shape)"
    )

    assert "(96,)" in _run([installed / "python", "-c", code], tmp_path)


def test_the_wheel_carries_the_licence_and_no_data_file_whose_origin_is_not_told(
    installed: Path, tmp_path: Path
) -> None:
    code = (
        "from importlib.metadata import distribution as d; one = d('home-session-coach');"
        "print(one.metadata['License-Expression']); print(*one.files, sep='\\n')"
    )
    licence, *carried = _run([installed / "python", "-c", code], tmp_path).splitlines()
    data = {name for name in carried if name.startswith("coach/") and not name.endswith((".py", ".pyc"))}

    assert licence == "Apache-2.0"
    assert any(name.endswith(".dist-info/licenses/coach/LICENSE.txt") for name in carried)
    assert {name.removeprefix("coach/data/") for name in data} == data_files()
