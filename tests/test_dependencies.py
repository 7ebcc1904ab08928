"""Every library that is used has its reason written down, and none comes in newer than what was looked at."""

from __future__ import annotations

import re
import tomllib
from pathlib import Path

import pytest

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


def rows() -> dict[str, list[str]]:
    """Return the table of DEVELOPERS.md: the cells of each package."""
    text = (ROOT / "DEVELOPERS.md").read_text("utf-8").partition("## Dependencies")[2].partition("\n## ")[0]
    lines = [line.strip("| ").split(" | ") for line in text.splitlines() if line.startswith("| ")]
    return {named(name): cells for cells in lines[1:] for name in cells[0].partition(" (")[0].split(", ")}


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


def test_the_known_good_versions_are_within_the_bounds() -> None:
    from packaging.requirements import Requirement

    lines = (ROOT / ".known-good.txt").read_text("utf-8").splitlines()
    good = dict(line.split("==") for line in lines if not line.startswith("#"))

    for _, requirement in [one for one in ALL if one[0] in ("", "dev", "to build")]:
        assert Requirement(requirement).specifier.contains(good[named(requirement)]), requirement
