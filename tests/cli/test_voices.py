from __future__ import annotations

import shutil
import sys
from pathlib import Path

import pytest
from model_files import model_in

from coach import resources
from coach.cli import main
from coach.ears import download
from coach.ears.models import missing_in, own_folder
from coach.voice.pack import languages, load_pack


def test_every_language_is_listed_with_its_voice_its_ears_and_how_to_get_what_is_missing(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("COLUMNS", "200")
    monkeypatch.setattr(Path, "home", lambda: tmp_path)  # the user of this machine may have models
    model_in(own_folder(tmp_path, "en"))

    assert main(["voices", "--home", str(tmp_path)]) == 0

    out = capsys.readouterr().out
    rows = {line.split("│")[1].strip(): line for line in out.splitlines() if line.startswith("│")}
    assert set(rows) == set(languages())
    assert "en-us, 160 words a minute" in rows["en"]
    assert "yes, 0 MB (home)" in rows["en"]
    assert "coach voices fetch en" not in out
    assert ("coach voices fetch ko" in out) == ("no model" in rows["ko"])


def test_an_incomplete_model_is_reported_with_the_missing_file(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    folder = model_in(own_folder(tmp_path, "en"), without="conf/mfcc.conf")

    assert main(["voices", "--home", str(tmp_path)]) == 0

    out = capsys.readouterr().out
    assert "not whole" in out
    assert f"en: The speech model in {folder} is not whole: it lacks conf/mfcc.conf; move that folder away" in out


def test_a_model_is_fetched_from_a_file_and_then_listed(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(download, "try_load", lambda _: None)
    archive = shutil.make_archive(str(tmp_path / "given"), "zip", model_in(tmp_path / "made"))
    home = tmp_path / "home"

    assert main(["voices", "fetch", "en", "--from", archive, "--home", str(home)]) == 0

    assert missing_in(own_folder(home, "en")) == ""
    assert "The speech model of en was checked and is ready" in capsys.readouterr().out
    assert list(own_folder(home, "en").parent.iterdir()) == [own_folder(home, "en")]


@pytest.mark.parametrize(
    ("module", "column", "told"),
    [
        ("vosk", "no engine", "run: pip install vosk, or use taught words and keys, which do not need it"),
        ("pyopen_wakeword", "not on this system", "Taught words cannot be heard on this system"),
    ],
)
def test_an_ear_without_its_library_is_named_with_an_alternative(
    tmp_path: Path,
    capsys: pytest.CaptureFixture[str],
    monkeypatch: pytest.MonkeyPatch,
    module: str,
    column: str,
    told: str,
) -> None:
    monkeypatch.setenv("COLUMNS", "200")
    monkeypatch.setitem(sys.modules, module, None)

    assert main(["voices", "--home", str(tmp_path)]) == 0

    out = capsys.readouterr().out
    assert out.count(column) == len(languages())
    assert out.count(told) == 1


def test_taught_words_whose_library_does_not_load_are_not_promised(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    def wrong() -> None:
        raise OSError("wrong ELF class")

    monkeypatch.setenv("COLUMNS", "200")
    monkeypatch.setattr("pyopen_wakeword.OpenWakeWordFeatures.from_builtin", wrong)

    assert main(["voices", "--home", str(tmp_path)]) == 0

    out = capsys.readouterr().out
    assert "not on this system" in out
    assert "wrong ELF class" in out


def test_no_model_is_fetched_without_its_engine(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setitem(sys.modules, "vosk", None)
    monkeypatch.setattr(download, "fetch", lambda *_, **__: pytest.fail("fetched"))

    assert main(["voices", "fetch", "en", "--home", str(tmp_path)]) == 2

    assert "The open-vocabulary engine is missing" in capsys.readouterr().err


@pytest.mark.parametrize(
    ("given", "wanted"),
    [
        (["fetch", "en"], load_pack("en").speech.sha256),
        (["fetch", "en", "--sha256", "ab"], "ab"),
        (["fetch", "en", "--from", "https://example.invalid/x.zip"], ""),
        (["fetch", "ko"], ""),
    ],
)
def test_the_digest_of_the_usual_archive_applies_to_it_only_and_another_is_announced(
    tmp_path: Path,
    capsys: pytest.CaptureFixture[str],
    monkeypatch: pytest.MonkeyPatch,
    given: list[str],
    wanted: str,
) -> None:
    asked: list[str] = []
    monkeypatch.setattr(download, "fetch", lambda *_, sha256: asked.append(sha256))

    assert main(["voices", *given, "--home", str(tmp_path)]) == 0

    assert asked == [wanted]
    assert ("it will not be opened" in capsys.readouterr().out) == (not wanted)
    assert len(load_pack("en").speech.sha256) == 64


@pytest.mark.parametrize(
    ("given", "message"),
    [
        (["fetch"], "Say which language: coach voices fetch LANG; there are: en, ko."),
        (["fetch", "xx"], 'There is no voice pack "xx"'),
        (["fetch", "en", "--from", "nowhere.zip"], "There is no file nowhere.zip"),
        (["--from", "nowhere.zip"], "--from and --sha256 go with fetch"),
    ],
)
def test_an_impossible_fetch_ends_in_one_sentence(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], given: list[str], message: str
) -> None:
    assert main(["voices", *given, "--home", str(tmp_path)]) == 2

    err = capsys.readouterr().err
    assert message in err
    assert err.count("\n") == 1
    assert list(tmp_path.iterdir()) in ([], [tmp_path / "models"])


def test_a_language_without_a_known_model_asks_for_an_archive(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    shutil.copytree(resources.folder("voices"), tmp_path / "voices")
    speech = tmp_path / "voices" / "en" / "speech.yaml"
    speech.write_text("".join(line for line in speech.open() if not line.startswith("model:")))
    monkeypatch.setattr(resources, "folder", lambda name: tmp_path / name)

    assert main(["voices", "fetch", "en", "--home", str(tmp_path / "home")]) == 2

    assert "give an archive: coach voices fetch en --from URL_OR_FILE" in capsys.readouterr().err
