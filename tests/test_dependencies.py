"""`coach/PROVENANCE.md` names every library and data file, and no library is newer than what was looked at."""

from __future__ import annotations

import re
import subprocess
import sys
import tomllib
from contextlib import suppress
from hashlib import sha256
from importlib.metadata import PackageNotFoundError, requires
from pathlib import Path
from tempfile import mkdtemp

import pytest
from known_good import LOCKS, PYTHONS, SYSTEMS, System, locked, wanted_on
from packaging.requirements import Requirement

ROOT = Path(__file__).resolve().parent.parent
PROJECT = tomllib.loads((ROOT / "pyproject.toml").read_text("utf-8"))
EXTRAS: dict[str, list[str]] = PROJECT["project"]["optional-dependencies"]
WANTED: dict[str, list[str]] = {
    "": PROJECT["project"]["dependencies"],
    "to build": PROJECT["build-system"]["requires"],
    **EXTRAS,
}
"""Requirements by extra; "": always."""


def named(requirement: str) -> str:
    """Return the name in a requirement, as pip compares names."""
    found = re.match(r"[A-Za-z0-9._-]+", requirement)
    assert found, requirement
    return re.sub(r"[-_.]+", "-", found[0]).lower()


MADE_OF = ROOT / "coach" / "PROVENANCE.md"


def table(heading: str) -> list[list[str]]:
    """Return the cells of each row below a heading of the file on what this is made of."""
    text = MADE_OF.read_text("utf-8").partition(f"## {heading}\n")[2].partition("\n## ")[0]
    lines = [line.removeprefix("| ").removesuffix(" |").split(" | ") for line in text.splitlines() if line[:2] == "| "]
    return lines[1:]


def rows() -> dict[str, list[str]]:
    """Return the cells of each package."""
    return {
        named(name): cells for cells in table("The dependencies") for name in cells[0].partition(" (")[0].split(", ")
    }


def data_files() -> set[str]:
    """Return what is no Python in the folders that the wheel carries, from the top of the repository."""
    found = (path for folder in ("coach", "voices", "programs") for path in (ROOT / folder).rglob("*"))
    return {
        path.relative_to(ROOT).as_posix()
        for path in found
        if path.is_file() and path.suffix != ".py" and "__pycache__" not in path.parts
    }


def test_every_data_file_is_named_once_with_how_it_was_made_and_its_licence() -> None:
    cells = table("The data files")
    names = [name for row in cells for name in re.findall(r"`([^`]+)`", row[0])]

    assert {len(row) for row in cells} == {4}
    assert all(len(cell) > 4 for row in cells for cell in row)
    assert sorted(names) == sorted(data_files())


def test_numeric_files_are_those_whose_making_is_documented() -> None:
    told = {row[0].strip("`"): row for row in table("The data files") if ".np" in row[0]}

    assert set(told) == {name for name in data_files() if Path(name).suffix in {".npy", ".npz"}}
    for name, row in told.items():
        digest = sha256((ROOT / name).read_bytes()).hexdigest()
        assert f"SHA-256 begins `{digest[:16]}`" in row[1], f"{name} begins {digest[:16]}: was its row made anew too?"
        (script,) = re.findall(r"`python (tests/bench/\w+\.py)", row[2])
        assert (ROOT / script).is_file()


def test_one_licence_is_stated_and_its_text_travels_with_the_package() -> None:
    assert PROJECT["project"]["license"] == "Apache-2.0"
    assert PROJECT["project"]["license-files"] == ["coach/LICENSE.txt"]
    assert "Version 2.0, January 2004" in (ROOT / "coach" / "LICENSE.txt").read_text("utf-8")


ALL = sorted({(extra, one) for extra, several in WANTED.items() for one in several})


@pytest.mark.parametrize(("extra", "requirement"), ALL, ids=lambda one: one.partition(";")[0])
def test_a_dependency_has_its_reason_its_licence_and_what_happens_without_it(extra: str, requirement: str) -> None:
    cells = rows()[named(requirement)]

    assert len(cells) == 4
    assert all(len(cell) > 2 for cell in cells)
    assert not extra or (f"extra `{extra}`" in cells[0] or extra in cells[0])


def test_the_table_holds_nothing_that_is_not_used() -> None:
    assert set(rows()) == {named(requirement) for _, requirement in ALL}


@pytest.mark.parametrize(("extra", "requirement"), ALL, ids=lambda one: one.partition(";")[0])
def test_no_dependency_is_open_upwards(extra: str, requirement: str) -> None:
    assert re.search(r"<\d|==\d", requirement.partition(";")[0]), f"{requirement} (extra {extra!r}) has no upper bound"


EVERYWHERE = pytest.mark.parametrize(
    ("system", "python"),
    [(system, python) for system in SYSTEMS for python in PYTHONS],
    ids=lambda one: one if isinstance(one, str) else one.name,
)


@EVERYWHERE
def test_the_versions_known_to_be_good_are_all_that_an_install_needs_on_every_system(
    system: System, python: str
) -> None:
    """Those that come with others too, as far as their own needs can be read here."""
    good = {named(one.name): one.specifier for one in wanted_on(system, python)}
    environment = system.environment(python)
    needed = [Requirement(one) for extra in ("", "dev", "to build") for one in WANTED[extra]]
    for name in good:
        with suppress(PackageNotFoundError):  # it is for another system
            needed += map(Requirement, requires(name) or [])

    for one in needed:
        if not one.marker or one.marker.evaluate(environment):
            assert named(one.name) in good, f"{one} is missing"
            version = str(good[named(one.name)]).removeprefix("==")
            assert one.specifier.contains(version), f"{one} does not take {version}"


@pytest.mark.parametrize("mac", [False, True])
def test_each_version_known_to_be_good_has_the_hashes_of_its_files_and_comes_from_no_named_place(mac: bool) -> None:
    assert all(hashes for _, hashes in locked(mac))
    assert all(re.fullmatch("sha256:[0-9a-f]{64}", one) for _, hashes in locked(mac) for one in hashes)
    assert "://" not in LOCKS[mac].read_text("utf-8")


def test_no_marker_for_linux_and_windows_asks_for_the_release_of_the_system() -> None:
    """pip 24.1 to 25.3 end with "Invalid version" where the name of the kernel is none."""
    assert not any("platform_release" in str(one.marker) for one, _ in locked(mac=False))


@pytest.mark.parametrize("python", PYTHONS)
def test_the_open_vocabulary_engine_is_installed_on_every_system(python: str) -> None:
    for system in SYSTEMS:
        version = "0.3.44" if system.platform == "darwin" else "0.3.45"
        assert f"vosk=={version}" in map(str, wanted_on(system, python)), system.name


@pytest.mark.index
def test_the_index_has_files_with_these_hashes() -> None:
    said = pip("install", "--require-hashes", "--no-deps", "--ignore-installed", "-r", str(LOCKS[False]))

    assert said.returncode == 0, said.stderr


@pytest.mark.index
@pytest.mark.parametrize("system", [one for one in SYSTEMS if one.platform == "darwin"], ids=lambda one: one.name)
def test_the_index_has_a_wheel_of_what_hears_and_speaks_on_macos(system: System) -> None:
    wanted = [one for one in wanted_on(system, "3.13") if one.name in ("vosk", "pywebrtc-audio", "soundfile", "soxr")]
    tags = [word for tag in system.tags for word in ("--platform", tag)]
    where = ["--python-version", "3.13", "--implementation", "cp", "--only-binary=:all:", "--target", "unused", *tags]

    said = pip("install", "--no-deps", *where, *map(str, wanted))

    assert said.returncode == 0, said.stderr


def pip(*words: str) -> subprocess.CompletedProcess[str]:
    """Run pip without installing anything; skip where no index answers."""
    command = [sys.executable, "-m", "pip", "-q", "--disable-pip-version-check", *words, "--dry-run"]
    patience = ["--retries=1", "--timeout=20"]
    asked = [*command[:4], "download", "--no-deps", "-d", mkdtemp(), "h11==0.16.0", *patience]
    if subprocess.run(asked, capture_output=True, check=False).returncode:
        pytest.skip("no package index answers")
    return subprocess.run([*command, *patience], capture_output=True, text=True, check=False)
