"""The file that a browser is started with: for its owner alone, in a folder that a browser may read, gone once used."""

from __future__ import annotations

import http.client
import os
import re
import sys
from collections.abc import Iterator
from pathlib import Path
from urllib.parse import urlsplit

import pytest

from coach.page import opener
from coach.page.host import TICKET_SECONDS, Page
from coach.page.opener import Opener

folders = pytest.mark.skipif(
    sys.platform in ("win32", "darwin"),
    reason="there it stands in a folder for temporary files that is the person's own",
)


@pytest.fixture(autouse=True)
def downloads(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[Path]:
    """Give the folder in which it is tried first."""
    folder = tmp_path / "Downloads"
    folder.mkdir()
    monkeypatch.setattr(opener, "user_downloads_path", lambda: folder)
    monkeypatch.setenv("HOME", str(tmp_path))
    before = os.umask(0)
    yield folder
    os.umask(before)


@folders
def test_only_its_owner_may_read_it(downloads: Path) -> None:
    made = Opener("http://127.0.0.1:4711/open/x")

    assert made.path.parent.parent == downloads
    assert not made.path.parent.name.startswith(".")
    assert (made.path.stat().st_mode & 0o777, made.path.parent.stat().st_mode & 0o777) == (0o600, 0o700)
    made.close()
    made.close()
    assert list(downloads.iterdir()) == []


@folders
def test_a_folder_in_which_others_may_write_is_not_taken(downloads: Path, tmp_path: Path) -> None:
    downloads.chmod(0o777)
    made = Opener("http://127.0.0.1:4711/open/x")

    assert made.path.parent.parent == tmp_path
    made.close()


def test_it_is_an_error_if_no_folder_takes_it(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    monkeypatch.setattr(opener, "_folders", lambda: iter([tmp_path / "none", tmp_path / "nothing"]))

    with pytest.raises(FileNotFoundError):
        Opener("http://127.0.0.1:4711/open/x")


class Clock:
    """A clock that is set."""

    def __init__(self) -> None:
        self.now = 1000.0

    def __call__(self) -> float:
        return self.now


def ask(address: str) -> http.client.HTTPResponse:
    parts = urlsplit(address)
    connection = http.client.HTTPConnection(parts.netloc, timeout=30)
    connection.request("GET", parts.path)
    return connection.getresponse()


def test_it_is_gone_once_used_and_the_address_in_it_leads_to_the_page_once() -> None:
    with Page({}) as page:
        page.open()
        file = page.opener()
        found = re.search(r'href="(\S+)"', file.read_text("utf-8"))
        assert found is not None
        first, second = ask(found[1]), ask(found[1])
        while file.exists():
            page.wait(1)
            page.presses()

        assert (first.status, first.headers["location"]) == (303, urlsplit(page.address).path)
        assert second.status == 404
        assert not file.parent.exists()


def test_it_is_gone_after_a_minute_and_no_new_server_takes_its_ticket() -> None:
    clock = Clock()
    with Page({}, now=clock) as page:
        page.open()
        file, address = page.opener(), page.address_once
        clock.now += TICKET_SECONDS
        page.presses()

        assert not file.parent.exists()
        assert address != page.address_once


def test_it_is_gone_when_the_page_is_closed() -> None:
    with Page({}) as page:
        page.open()
        file = page.opener()

    assert not file.parent.exists()
