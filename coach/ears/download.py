"""Fetch a speech model: the one explicit download of this program, whole or not at all.

Everything happens in a folder beside the place where the model goes; only a model that was checked is moved there.
"""

from __future__ import annotations

import hashlib
import re
import shutil
import stat
import subprocess
import sys
import tempfile
import urllib.error
import urllib.request
import zipfile
import zlib
from collections.abc import Callable
from contextlib import suppress
from pathlib import Path
from urllib.parse import urlsplit

from coach.ears.models import missing_in
from coach.errors import HearingError
from coach.logbook.files import MIB, make_folder
from coach.progress import HowFar

PIECE = 256 * 1024
"""Bytes per read."""
LARGEST = 8 * 1024 * MIB
"""Most bytes of an archive, or of the model in it: about twice the largest models."""
PACKED_AT_MOST = 50
"""Largest ratio of a model to its archive: models are numbers, which pack to about half."""
MOST_FILES = 1000
"""Most entries of an archive: models have some twenty."""
TIMEOUT = 30.0
"""Seconds without a byte after which a download has broken off."""

_NAME = re.compile(r"(?!\.{1,2}$)[A-Za-z0-9._+ -]{1,100}")
"""Permitted names of files and folders. Others are refused, so no name leads outside the folder on any system."""
_UNUSABLE = (zipfile.BadZipFile, zipfile.LargeZipFile, zlib.error, EOFError, NotImplementedError, RuntimeError)
"""Errors of a broken, encrypted or unusually packed archive."""


def fetch(
    source: str, target: Path, progress: HowFar, *, sha256: str = "", check: Callable[[Path], None] | None = None
) -> None:
    """Put the model of the archive `source` (https: or file: URL, or a path) into the folder `target`.

    `sha256` is the digest that the archive must have; a download without one is not even opened. `check` gets the
    unpacked model and raises HearingError if it is not usable (default: a trial load in a process of its own). An older
    model in `target` is replaced at the very end. Raises HearingError; then `target` is unchanged.
    """
    url = _url(source)
    try:
        make_folder(target.parent)
        for left in target.parent.glob(f".{target.name}-*"):  # left by a killed fetch
            shutil.rmtree(left, ignore_errors=True)
        beside = Path(tempfile.mkdtemp(prefix=f".{target.name}-", dir=target.parent))
    except OSError as error:
        raise HearingError(f"{target.parent} cannot be written to ({error}); choose another --home.") from error
    try:
        archive = beside / "archive.zip"
        _compare(_download(url, archive, progress), sha256.lower(), source, download=not url.startswith("file:"))
        model = _unpack(archive, beside / "model", source)
        missing = missing_in(model)
        if missing:
            raise HearingError(f"{source} holds no usable speech model: it lacks {missing}; give another with --from.")
        (check or try_load)(model)
        _replace(model, target, beside / "old")
    except OSError as error:
        raise HearingError(f"The model could not be saved ({error}); free some space, then try again.") from error
    finally:
        shutil.rmtree(beside, ignore_errors=True)


def try_load(model: Path) -> None:
    """Load the model in a process of its own, since a broken one may crash it. Raises HearingError."""
    code = "import sys, vosk; vosk.SetLogLevel(-1); vosk.Model(sys.argv[1])"
    ran = subprocess.run([sys.executable, "-c", code, str(model)], capture_output=True, check=False)  # noqa: S603
    if ran.returncode:
        raise HearingError("The model is complete but does not load; give another with --from.")


def _url(source: str) -> str:
    parts = urlsplit(source)
    if parts.scheme == "https" or (parts.scheme == "file" and not parts.netloc):
        return source
    path = Path(source)
    if path.is_file():
        return path.resolve().as_uri()
    if "://" in source:
        raise HearingError(f'"{source}" is not an https: or file: address; give one, or a file, with --from.')
    raise HearingError(f"There is no file {source}; check the path, or give an https: address.")


def _download(url: str, archive: Path, progress: HowFar) -> str:
    """Download or copy the archive; return its SHA-256."""
    done = size = 0
    digest = hashlib.sha256()
    try:
        with urllib.request.urlopen(url, timeout=TIMEOUT) as answer, archive.open("wb") as file:  # noqa: S310  see _url
            size = int(answer.headers.get("Content-Length") or 0)
            if shutil.disk_usage(archive.parent).free < size:
                raise HearingError(f"The archive takes {size // MIB} MB, more than is free; make room first.")
            progress(0, size)
            while piece := answer.read(PIECE):
                file.write(piece)
                digest.update(piece)
                done += len(piece)
                if done > LARGEST:
                    raise HearingError(f"{url} gives more than {LARGEST // MIB} MB; that is no speech model.")
                progress(done, size)
    except (urllib.error.URLError, TimeoutError, ConnectionError, ValueError) as error:
        reason = getattr(error, "reason", error)
        raise HearingError(f"{url} cannot be fetched ({reason}); nothing has changed, try again later.") from error
    if done < size:
        raise HearingError(
            f"The download broke off after {done / MIB:.1f} of {size / MIB:.1f} MB; nothing has changed, try again."
        )
    return digest.hexdigest()


def _compare(found: str, wanted: str, source: str, *, download: bool) -> None:
    """Raise HearingError if the digest is not `wanted`, or if a download has no digest to be checked against."""
    if wanted and found != wanted:
        raise HearingError(
            f"{source} is not the expected archive: its SHA-256 is {found}, not {wanted}; it was not used."
        )
    if download and not wanted:
        raise HearingError(
            f"{source} was not used, since nothing here says what it must be: its SHA-256 is {found}; compare that "
            f"with what its publisher says, then add: --sha256 {found}"
        )


def _unpack(archive: Path, folder: Path, source: str) -> Path:
    """Unpack into `folder`; return the model's folder: `folder` itself or the only folder inside."""
    try:
        with zipfile.ZipFile(archive) as packed:
            entries = packed.infolist()
            _refuse_tricks(entries, source)
            size = sum(entry.file_size for entry in entries)
            if size > min(LARGEST, PACKED_AT_MOST * archive.stat().st_size):
                raise HearingError(f"{source} unpacks to {size // MIB} MB; that is no speech model.")
            if size > shutil.disk_usage(folder.parent).free:
                raise HearingError(f"The model takes {size // MIB} MB, more than is free; make room first.")
            packed.extractall(folder)
    except _UNUSABLE as error:
        raise HearingError(f"{source} is not a whole zip archive ({error}); fetch it again.") from error
    inside = list(folder.iterdir()) if folder.is_dir() else []
    return inside[0] if len(inside) == 1 and inside[0].is_dir() else folder


def _refuse_tricks(entries: list[zipfile.ZipInfo], source: str) -> None:
    """Raise HearingError for names that lead outside the folder or collide, for links, and for too many files."""
    if len(entries) > MOST_FILES:
        raise HearingError(f"{source} holds {len(entries)} files; that is no speech model.")
    files: set[str] = set()
    folders: set[str] = set()
    for entry in entries:
        name = entry.orig_filename  # `filename` ends at a NUL
        parts = name.removesuffix("/").split("/")
        kind = stat.S_IFMT(entry.external_attr >> 16)
        if not all(map(_NAME.fullmatch, parts)) or kind not in (0, stat.S_IFREG, stat.S_IFDIR):
            raise HearingError(f'{source} is not safe to unpack: it holds "{name[:100]}"; do not use it.')
        plain = [part.casefold() for part in parts]  # as on a disk that ignores case
        path = "/".join(plain)
        folders |= {"/".join(plain[:depth]) for depth in range(1, len(plain))} | ({path} if entry.is_dir() else set())
        if not entry.is_dir():
            if path in files:
                raise HearingError(f'{source} is not safe to unpack: it holds "{name}" twice; do not use it.')
            files.add(path)
    if twice := files & folders:
        raise HearingError(f'{source} is not safe to unpack: it holds "{min(twice)}" twice; do not use it.')


def _replace(model: Path, target: Path, old: Path) -> None:
    if target.exists():
        target.rename(old)
    try:
        model.rename(target)
    except OSError:
        with suppress(OSError):
            old.rename(target)
        raise
