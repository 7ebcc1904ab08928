"""The versions known to work, and the systems on which they must install."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

from packaging.requirements import Requirement

ROOT = Path(__file__).resolve().parent.parent
LOCKS = {False: ROOT / ".known-good.txt", True: ROOT / ".known-good-macos.txt"}
"""The lock file of a system, by whether it is macOS."""
PYTHONS = ("3.11", "3.12", "3.13", "3.14")


@dataclass(frozen=True)
class System:
    """A system to install on."""

    name: str
    platform: str
    """sys_platform."""
    machine: str
    tags: tuple[str, ...]
    """The platform tags that pip gets, the best first."""
    release: str = ""

    def environment(self, python: str) -> dict[str, str]:
        """Return the values of the environment markers on the system."""
        return {
            "sys_platform": self.platform,
            "platform_system": {"darwin": "Darwin", "win32": "Windows"}.get(self.platform, "Linux"),
            "os_name": "nt" if self.platform == "win32" else "posix",
            "platform_machine": self.machine,
            "platform_release": self.release,
            "platform_python_implementation": "CPython",
            "implementation_name": "cpython",
            "python_version": python,
            "python_full_version": f"{python}.5",
            "extra": "",
        }


def _linux(machine: str, glibc: int) -> System:
    tags = tuple(f"manylinux_2_{minor}_{machine}" for minor in range(glibc, 4, -1))
    old = ("manylinux2014", "manylinux2010", "manylinux1") if machine == "x86_64" else ("manylinux2014",)
    return System(f"Linux {machine}, glibc 2.{glibc}", "linux", machine, (*tags, *(f"{one}_{machine}" for one in old)))


def _mac(machine: str, version: int, darwin: str) -> System:
    return System(f"macOS {version} {machine}", "darwin", machine, (f"macosx_{version}_0_{machine}",), darwin)


SYSTEMS = (
    _linux("x86_64", 36),
    _linux("x86_64", 34),
    _linux("aarch64", 36),
    System("Windows amd64", "win32", "AMD64", ("win_amd64",), "10"),
    _mac("arm64", 15, "24.6.0"),
    _mac("arm64", 13, "22.6.0"),
    _mac("x86_64", 13, "22.6.0"),
)
"""Debian 12 and Ubuntu 22.04 have at least glibc 2.35, Red Hat 9 has 2.34."""


def locked(mac: bool) -> Iterator[tuple[Requirement, list[str]]]:
    """Yield each line of a lock file with its hashes."""
    text = LOCKS[mac].read_text("utf-8").replace("\\\n", " ")
    for line in text.splitlines():
        if line and not line.startswith("#"):
            wanted, *hashes = line.split("--hash=")
            yield Requirement(wanted.strip()), [one.strip() for one in hashes]


def wanted_on(system: System, python: str) -> list[Requirement]:
    """Return the lines of the lock file that apply to a system, without their markers."""
    found = [line for line, _ in locked(system.platform == "darwin")]
    environment = system.environment(python)
    return [
        Requirement(str(one).partition(";")[0]) for one in found if not one.marker or one.marker.evaluate(environment)
    ]
