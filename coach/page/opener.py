"""A private file that leads the browser to the page: everybody on a machine can read a program's arguments.

The file holds an address that is good once and for a short time. Browsers that are shut off from hidden folders and
from the folder for temporary files read a visible folder of the person's own, so that is tried first.
"""

from __future__ import annotations

import os
import shutil
import stat
import sys
import tempfile
from collections.abc import Iterator
from pathlib import Path

from platformdirs import user_downloads_path

PAGE = """<!doctype html>
<meta charset="utf-8"><meta name="referrer" content="no-referrer"><title>Coach</title>
<meta http-equiv="refresh" content="0; url={address}">
<p><a href="{address}">Coach</a></p>
"""


class Opener:
    """The file; it exists until `close`."""

    def __init__(self, address: str) -> None:
        """Write the file. `address` must need no escaping in HTML. Raises OSError if no folder is usable."""
        folder = None
        for beside in _folders():
            try:
                folder = Path(tempfile.mkdtemp(prefix="coach-page-", dir=beside))  # 0700
                break
            except OSError:
                continue
        if folder is None:
            raise FileNotFoundError
        self._folder = folder
        self.path = folder / "open.html"
        try:
            with os.fdopen(
                os.open(self.path, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600), "w", encoding="utf-8"
            ) as out:
                out.write(PAGE.format(address=address))
        except OSError:
            self.close()
            raise

    def close(self) -> None:
        """Delete the file. A second call does nothing."""
        shutil.rmtree(self._folder, ignore_errors=True)


def _folders() -> Iterator[Path]:
    """Yield the folders for the file; in none of them can another user replace it."""
    if sys.platform not in ("win32", "darwin"):  # those two have a temporary folder per user
        for where in (user_downloads_path, Path.home):
            try:
                folder = where()
                mode = folder.stat().st_mode
            except (OSError, RuntimeError):  # the home folder is unknown
                continue
            if not mode & stat.S_IWOTH:
                yield folder
    yield Path(tempfile.gettempdir())
