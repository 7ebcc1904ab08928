"""`coach page` refuses what cannot work in one sentence, before a server or a browser is started."""

from __future__ import annotations

import re
import socket
import webbrowser
from pathlib import Path
from urllib.parse import urlsplit
from urllib.request import url2pathname

import pytest

from coach.cli import main, page
from coach.page.host import Page


@pytest.mark.parametrize(
    ("given", "said"),
    [
        (["--port", "70000"], "There is no port 70000"),
        (["--pace", "0"], "--pace takes a number from 0.1 to 100"),
        (["--language", "xx"], 'There is no voice pack "xx"'),
        (["--room", "nosuch"], "nosuch"),
        (["nosuch.yaml"], "nosuch.yaml: no such file"),
        (["--room", "default", "--device", "usb"], "not allowed with"),
    ],
)
def test_impossible_arguments_are_refused_in_one_sentence(
    given: list[str], said: str, tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(Page, "open", lambda _: pytest.fail("a server was started"))
    try:
        status = main(["page", "--no-browser", "--home", str(tmp_path / "home"), *given])
    except SystemExit as exit_:
        status = int(exit_.code or 0)

    assert status == 2
    assert said in capsys.readouterr().err
    assert not (tmp_path / "home").exists()


def test_a_port_in_use_is_named_with_why(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    with socket.create_server(("127.0.0.1", 0)) as taken:
        port = taken.getsockname()[1]
        status = main(["page", "--no-browser", "--home", str(tmp_path / "home"), "--port", str(port)])

    assert status == 2
    assert f"Port {port} cannot be used (Address already in use)" in capsys.readouterr().err


def test_without_a_browser_the_address_is_printed_with_what_to_do(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(page, "_opened", lambda _: False)
    monkeypatch.setattr(page, "visits", lambda _: None)
    monkeypatch.setenv("COLUMNS", "400")
    status = main(["page", "--home", str(tmp_path / "home")])
    out = capsys.readouterr().out

    assert status == 0
    assert "! No browser could be opened here." in out
    assert "The page is at http://127.0.0.1:" in out


def test_the_arguments_of_the_browser_lead_no_other_user_to_the_page(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    started: list[tuple[str, str]] = []

    def opened(address: str) -> bool:
        file = Path(url2pathname(urlsplit(address).path))
        started.append((address, file.read_text("utf-8") if file.is_file() else ""))
        return True

    monkeypatch.setenv("DISPLAY", ":0")
    monkeypatch.setenv("COLUMNS", "400")
    monkeypatch.setattr(webbrowser, "open", opened)
    monkeypatch.setattr(page, "visits", lambda _: None)
    main(["page", "--home", str(tmp_path / "home")])
    ((address, inside),) = started

    assert address.startswith("file:")
    assert "127.0.0.1" not in address
    assert re.search(r"url=http://127\.0\.0\.1:\d+/open/\S{32}\"", inside)
    assert not Path(urlsplit(address).path).parent.exists()
