from __future__ import annotations

import copy
import hashlib
import io
import os
import stat
import urllib.request
import warnings
import zipfile
from collections.abc import Callable
from email.message import Message
from pathlib import Path
from typing import Any, Self

import pytest

from coach.ears.download import PIECE, fetch, try_load
from coach.ears.models import NEEDED, missing_in
from coach.errors import HearingError

URL = "https://example.invalid/model.zip"


def packed(names: tuple[str, ...] = NEEDED, top: str = "vosk-model-small-xx-0.1/") -> bytes:
    made = io.BytesIO()
    with zipfile.ZipFile(made, "w") as archive:
        for name in names:
            archive.writestr(top + name, b"something " * 5000)
    return made.getvalue()


def nothing(*_: object) -> None:
    """Report nothing; find nothing wrong."""


@pytest.fixture
def target(tmp_path: Path) -> Path:
    return tmp_path / "home" / "models" / "xx"


@pytest.fixture
def there(target: Path) -> Path:
    """A model that was there before."""
    target.mkdir(parents=True)
    (target / "mine").write_text("an older model")
    return target


def assert_untouched(there: Path) -> None:
    assert [path.name for path in there.parent.iterdir()] == ["xx"]
    assert (there / "mine").read_text() == "an older model"


def archive_of(data: bytes, tmp_path: Path) -> Path:
    path = tmp_path / "given.zip"
    path.write_bytes(data)
    return path


@pytest.mark.parametrize("top", ["vosk-model-small-xx-0.1/", ""])
@pytest.mark.parametrize("as_url", [True, False])
def test_a_model_is_unpacked_checked_and_put_in_its_place(target: Path, tmp_path: Path, top: str, as_url: bool) -> None:
    data = packed(top=top)
    path = archive_of(data, tmp_path)
    told: list[tuple[int, int]] = []
    checked: list[Path] = []

    def check(model: Path) -> None:
        assert not target.exists()
        checked.append(model)

    fetch(path.as_uri() if as_url else str(path), target, lambda *done: told.append(done), check=check)

    assert missing_in(target) == ""
    assert [path.name for path in target.parent.iterdir()] == ["xx"]
    assert (told[0], told[-1]) == ((0, len(data)), (len(data), len(data)))
    assert len(checked) == 1


def test_an_older_model_is_replaced(there: Path, tmp_path: Path) -> None:
    fetch(str(archive_of(packed(), tmp_path)), there, nothing, check=nothing)

    assert missing_in(there) == ""
    assert not (there / "mine").exists()
    assert [path.name for path in there.parent.iterdir()] == ["xx"]


def test_the_remains_of_a_killed_fetch_are_removed(there: Path, tmp_path: Path) -> None:
    left = there.parent / ".xx-abc"
    left.mkdir()
    (left / "archive.zip").write_bytes(b"half")

    fetch(str(archive_of(packed(), tmp_path)), there, nothing, check=nothing)

    assert [path.name for path in there.parent.iterdir()] == ["xx"]


def with_entry(name: str, mode: int = stat.S_IFREG) -> bytes:
    made = io.BytesIO(packed())
    with zipfile.ZipFile(made, "a") as archive:
        entry = zipfile.ZipInfo(name)
        entry.external_attr = mode << 16
        with warnings.catch_warnings(action="ignore"):  # a name twice
            archive.writestr(entry, b"x")
    return made.getvalue()


def with_nul() -> bytes:
    """The same with a name that a careless reader ends at the NUL."""
    return with_entry("am/final.mdlQ/../x").replace(b"am/final.mdlQ/../x", b"am/final.mdl\x00/../x")


def bomb() -> bytes:
    """Ten MB of nothing in ten kB."""
    made = io.BytesIO()
    with zipfile.ZipFile(made, "w", zipfile.ZIP_DEFLATED) as archive:
        for name in NEEDED:
            archive.writestr(name, bytes(2 << 20))
    return made.getvalue()


def overlapping() -> bytes:
    """One piece of data under eight hundred names."""
    made = io.BytesIO()
    with zipfile.ZipFile(made, "w") as archive:
        archive.writestr("first", b"x" * 100_000)
        first = archive.getinfo("first")
        for number in range(800):
            again = copy.copy(first)
            again.filename = again.orig_filename = f"again{number}"
            archive.filelist.append(again)
    return made.getvalue()


def crowd() -> bytes:
    made = io.BytesIO()
    with zipfile.ZipFile(made, "w") as archive:
        for number in range(1001):
            archive.writestr(f"f{number}", b"")
    return made.getvalue()


def encrypted() -> bytes:
    """Every entry claims to need a password."""
    data = bytearray(packed())
    for mark, at in ((b"PK\x03\x04", 6), (b"PK\x01\x02", 8)):
        where = data.find(mark)
        while where >= 0:
            data[where + at] |= 1
            where = data.find(mark, where + 4)
    return bytes(data)


def says_less() -> bytes:
    """The directory gives 1 byte as the size of each file."""
    data = bytearray(packed())
    where = data.find(b"PK\x01\x02")
    while where >= 0:
        data[where + 24 : where + 28] = (1).to_bytes(4, "little")
        where = data.find(b"PK\x01\x02", where + 4)
    return bytes(data)


def zip64_lie() -> bytes:
    """A directory entry whose 64-bit field gives sizes of 2**62."""
    made = io.BytesIO()
    with zipfile.ZipFile(made, "w") as archive:
        for name in NEEDED:
            archive.writestr(name, b"x" * 100)
        entry = archive.filelist[0]
        entry.file_size = entry.compress_size = 1 << 62
    return made.getvalue()


def flipped(data: bytes) -> bytes:
    at = len(data) // 2
    return data[:at] + bytes([data[at] ^ 255]) + data[at + 1 :]


@pytest.mark.parametrize(
    ("data", "message"),
    [
        (b"<html>not here</html>", "not a whole zip archive"),
        (packed()[:-200], "not a whole zip archive"),
        (flipped(packed()), "not a whole zip archive"),
        (packed(NEEDED[1:]), r"holds no usable speech model: it lacks am/final.mdl"),
        (packed(()), r"it lacks am/final.mdl"),
        (with_entry("../outside"), r'not safe to unpack: it holds "../outside"'),
        (with_entry("/etc/outside"), "not safe to unpack"),
        (with_entry("m/..\\..\\outside"), "not safe to unpack"),
        (with_entry("C:\\outside"), "not safe to unpack"),
        (with_entry("C:outside"), "not safe to unpack"),
        (with_entry("./outside"), "not safe to unpack"),
        (with_entry("a//outside"), "not safe to unpack"),
        (with_entry("outside:stream"), "not safe to unpack"),
        (with_entry("outside\x1b[2J"), "not safe to unpack"),
        (with_entry("x" * 101), "not safe to unpack"),
        (with_entry("link", stat.S_IFLNK), 'it holds "link"'),
        (with_entry("pipe", stat.S_IFIFO), 'it holds "pipe"'),
        (with_entry("vosk-model-small-xx-0.1/am/final.mdl"), "twice"),
        (with_entry("VOSK-model-small-xx-0.1/AM/Final.MDL"), "twice"),
        (with_entry("vosk-model-small-xx-0.1/am/final.mdl/inside"), "twice"),
        (with_entry("vosk-model-small-xx-0.1/am"), "twice"),
        (with_nul(), "not safe to unpack"),
        (bomb(), "unpacks to 10 MB; that is no speech model"),
        (overlapping(), "unpacks to .* MB; that is no speech model"),
        (crowd(), "holds 1001 files"),
        (encrypted(), "not a whole zip archive"),
        (says_less(), "not a whole zip archive"),
        (zip64_lie(), "not a whole zip archive|that is no speech model"),
    ],
    ids=[
        *("page", "torn", "flipped", "no acoustic model", "empty", "dots", "root", "back", "drive", "drive alone"),
        *("dot", "doubled slash", "stream", "terminal", "long name", "link", "pipe", "twice", "twice but for case"),
        *("file as folder", "folder as file", "NUL", "bomb", "overlapping", "crowd", "encrypted", "says less", "zip64"),
    ],
)
def test_an_unusable_archive_changes_nothing(there: Path, tmp_path: Path, data: bytes, message: str) -> None:
    path = archive_of(data, tmp_path)

    with pytest.raises(HearingError, match=message):
        fetch(str(path), there, nothing, check=nothing)

    assert_untouched(there)
    assert not list(tmp_path.rglob("outside"))


def test_a_model_that_does_not_load_changes_nothing(there: Path, tmp_path: Path) -> None:
    with pytest.raises(HearingError, match="does not load; give another with --from"):
        fetch(str(archive_of(packed(), tmp_path)), there, nothing)  # all files are there, but hold nonsense

    assert_untouched(there)


def test_a_trial_load_of_nonsense_does_not_take_this_process_down(tmp_path: Path) -> None:
    with pytest.raises(HearingError, match="does not load"):
        try_load(tmp_path)


class Answer(io.BytesIO):
    """A server's answer that is shorter than its length says."""

    def __init__(self, data: bytes, size: int, then: Callable[[], bytes] | None = None) -> None:
        super().__init__(data)
        self.headers = Message()
        self.headers["Content-Length"] = str(size)
        self._then = then

    def read(self, size: int | None = -1, /) -> bytes:
        data = super().read(size)
        return data if data or self._then is None else self._then()

    def __enter__(self) -> Self:
        return self


def breaks(error: BaseException) -> Callable[[], bytes]:
    def then() -> bytes:
        raise error

    return then


@pytest.mark.parametrize(
    ("answer", "error", "message"),
    [
        (lambda: Answer(b"x" * PIECE * 2, 10 * PIECE), HearingError, r"broke off after 0.5 of 2.5 MB; nothing has"),
        (lambda: Answer(b"x", 9, breaks(TimeoutError("timed out"))), HearingError, r"cannot be fetched \(timed out\)"),
        (lambda: Answer(b"x", 9, breaks(ConnectionResetError("reset"))), HearingError, r"cannot be fetched \(reset\)"),
        (lambda: Answer(b"x", 1 << 60), HearingError, "more than is free"),
        (lambda: Answer(b"x", 9, breaks(KeyboardInterrupt())), KeyboardInterrupt, "^$"),
    ],
    ids=["short", "silent", "reset", "too large", "ctrl-c"],
)
def test_a_download_that_breaks_off_leaves_nothing_behind(
    there: Path, monkeypatch: pytest.MonkeyPatch, answer: Callable[[], Any], error: type[BaseException], message: str
) -> None:
    asked: list[str] = []

    def urlopen(url: str, timeout: float) -> Any:
        asked.append(url)
        assert timeout > 0
        return answer()

    monkeypatch.setattr(urllib.request, "urlopen", urlopen)

    with pytest.raises(error, match=message):
        fetch(URL, there, nothing, check=nothing)

    assert asked == [URL]
    assert_untouched(there)


def served(data: bytes, monkeypatch: pytest.MonkeyPatch) -> str:
    """Serve `data` at the address; return its digest."""
    monkeypatch.setattr(urllib.request, "urlopen", lambda *_, **__: Answer(data, len(data)))
    return hashlib.sha256(data).hexdigest()


@pytest.mark.parametrize("wanted", ["", "0" * 64])
def test_a_download_without_a_digest_is_not_opened_and_its_digest_is_shown(
    there: Path, monkeypatch: pytest.MonkeyPatch, wanted: str
) -> None:
    digest = served(packed(), monkeypatch)
    monkeypatch.setattr(zipfile, "ZipFile", None)  # opening it would fail

    with pytest.raises(HearingError, match=f"its SHA-256 is {digest}"):
        fetch(URL, there, nothing, sha256=wanted, check=nothing)

    assert_untouched(there)


def test_a_download_with_the_named_digest_is_used(there: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    digest = served(packed(), monkeypatch)

    fetch(URL, there, nothing, sha256=digest.upper(), check=nothing)

    assert missing_in(there) == ""


def test_a_local_file_is_checked_against_a_digest_if_one_is_named(there: Path, tmp_path: Path) -> None:
    with pytest.raises(HearingError, match=f"not {'0' * 64}; it was not used"):
        fetch(str(archive_of(packed(), tmp_path)), there, nothing, sha256="0" * 64, check=nothing)

    assert_untouched(there)


def test_a_download_without_end_is_broken_off(there: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("coach.ears.download.LARGEST", 3 * PIECE)
    monkeypatch.setattr(urllib.request, "urlopen", lambda *_, **__: Answer(b"", 0, lambda: bytes(PIECE)))

    with pytest.raises(HearingError, match="that is no speech model"):
        fetch(URL, there, nothing, sha256="0" * 64, check=nothing)

    assert_untouched(there)


@pytest.mark.parametrize(
    ("source", "message"),
    [
        ("http://example.invalid/model.zip", "is not an https: or file: address"),
        ("ftp://example.invalid/model.zip", "is not an https: or file: address"),
        ("file://elsewhere/model.zip", "is not an https: or file: address"),
        ("nowhere.zip", "There is no file nowhere.zip"),
        ("file:///nowhere/at/all.zip", "cannot be fetched"),
    ],
)
def test_only_safe_addresses_and_existing_files_are_accepted(there: Path, source: str, message: str) -> None:
    with pytest.raises(HearingError, match=message):
        fetch(source, there, nothing, check=nothing)

    assert_untouched(there)


def test_a_home_that_cannot_be_written_to_is_one_sentence(tmp_path: Path) -> None:
    (tmp_path / "models").write_text("a file where the folder should be")

    with pytest.raises(HearingError, match="cannot be written to"):
        fetch(str(archive_of(packed(), tmp_path)), tmp_path / "models" / "xx", nothing, check=nothing)


def test_a_home_created_for_the_model_is_private(target: Path, tmp_path: Path) -> None:
    before = os.umask(0)
    try:
        fetch(str(archive_of(packed(), tmp_path)), target, nothing, check=nothing)
    finally:
        os.umask(before)

    assert [path.stat().st_mode & 0o777 for path in (target.parent, target.parent.parent)] == [0o700] * 2
