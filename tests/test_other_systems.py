"""What runs on systems that no test has: everything loads and the commands answer without what only POSIX has."""

from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path

ROOT = Path(__file__).resolve().parent.parent
POSIX = ("fcntl", "termios", "tty", "pwd", "grp", "resource", "readline", "curses")
"""Modules that Windows lacks."""
NOT_EVERYWHERE = ("vosk", "pyopen_wakeword", "espeakng_loader")
"""Packages that some system or processor lacks."""

WITHOUT = f"""
import os, platformdirs, signal, sys  # platformdirs asks a Unix for what every Unix has
for name in {POSIX + NOT_EVERYWHERE}:
    sys.modules[name] = None
for name in ("fork", "setsid", "getuid", "geteuid", "getpgid", "killpg", "mkfifo", "chown", "O_NOFOLLOW", "O_NONBLOCK",
             "O_DIRECTORY", "fchmod"):
    delattr(os, name)
for name in ("SIGHUP", "SIGTSTP", "SIGUSR1", "SIGALRM", "SIGCONT", "SIGQUIT"):
    delattr(signal, name)
import importlib, pathlib
for path in sorted(pathlib.Path("coach").rglob("*.py")):
    name = ".".join(path.with_suffix("").parts)
    if not name.endswith(("__main__", "voice.child")):
        importlib.import_module(name.removesuffix(".__init__"))
from coach.cli import main
for words in {{commands}}:
    print("==", *words)
    print("rc", main(words))
"""


def test_every_module_loads_and_commands_answer_without_what_other_systems_lack(tmp_path: Path) -> None:
    commands = [
        ["check", "ankle_steady"],
        ["log"],
        ["enrol", "mira", "--keys-only"],
        ["today", "mira", "ankle_steady"],
        ["log", "mira"],
        ["voices"],
    ]
    code = WITHOUT.replace("{commands}", repr(commands))

    home = os.environ | {"COACH_HOME": str(tmp_path / "home"), "COLUMNS": "200"}
    ran = subprocess.run([sys.executable, "-c", code], cwd=ROOT, env=home, capture_output=True, text=True, check=False)

    assert ran.returncode == 0, ran.stderr
    assert "Traceback" not in ran.stderr
    assert "which do not need it" in ran.stdout
    assert "Taught words cannot be heard on this system" in ran.stdout
