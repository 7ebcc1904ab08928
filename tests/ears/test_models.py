from __future__ import annotations

import sys
from collections.abc import Callable
from pathlib import Path

import pytest
from fake_vosk import FakeVosk
from model_files import model_in

from coach.ears.models import NEEDED, ModelFolder, find_model, load_model, own_folder
from coach.errors import HearingError


@pytest.fixture
def package(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A folder on the import path for a package."""
    folder = tmp_path / "site"
    folder.mkdir()
    monkeypatch.syspath_prepend(str(folder))
    return folder / "vosk_model_xx"


def test_the_home_comes_before_a_package_and_a_package_before_the_cache(tmp_path: Path, package: Path) -> None:
    home, cache = tmp_path / "home", tmp_path / "cache"
    assert find_model("xx", home, cache) is None

    cached = model_in(cache / "vosk-model-small-xx-0.22")
    assert find_model("xx", home, cache) == ModelFolder(cached, "cache")

    model_in(package / "model")
    (package / "__init__.py").write_text("raise SystemExit('a model is found without running what it is packed in')")
    assert find_model("xx", home, cache) == ModelFolder(package / "model", "package")

    own = model_in(own_folder(home, "xx"))
    assert find_model("xx", home, cache) == ModelFolder(own, "home")


def test_in_the_cache_a_small_model_comes_first_and_other_languages_are_skipped(tmp_path: Path) -> None:
    for name in ("vosk-model-xx-0.42", "vosk-model-small-xxy-0.1", "vosk-model-small-yy-0.3"):
        model_in(tmp_path / name)
    (tmp_path / "vosk-model-small-xx-0.9.zip").write_bytes(b"")
    small = model_in(tmp_path / "vosk-model-small-xx-0.22")

    found = find_model("xx", tmp_path / "home", tmp_path)

    assert found is not None
    assert (found.folder, found.size) == (small, 10 * len(NEEDED))


@pytest.mark.parametrize("missing", NEEDED)
@pytest.mark.parametrize("spoil", [Path.unlink, lambda path: path.write_bytes(b"")], ids=["gone", "empty"])
def test_an_incomplete_model_is_one_sentence_and_stays_unchanged(
    tmp_path: Path, missing: str, spoil: Callable[[Path], object]
) -> None:
    folder = model_in(own_folder(tmp_path, "xx"))
    spoil(folder / missing)
    before = sorted(folder.rglob("*"))

    with pytest.raises(HearingError) as told:
        find_model("xx", tmp_path, tmp_path)

    assert str(told.value) == (
        f"The speech model in {folder} is not whole: it lacks {missing}; move that folder away, then run: "
        "coach voices fetch xx"
    )
    assert sorted(folder.rglob("*")) == before


def test_a_model_is_loaded_quietly_by_its_path_as_a_string(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    vosk = FakeVosk(frozenset())
    monkeypatch.setitem(sys.modules, "vosk", vosk)

    load_model(ModelFolder(model_in(tmp_path), "home"), "xx")

    assert vosk.loaded == [str(tmp_path)]
    assert vosk.log_level == -1


def test_an_incomplete_model_never_reaches_the_engine(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    vosk = FakeVosk(frozenset())
    monkeypatch.setitem(sys.modules, "vosk", vosk)

    with pytest.raises(HearingError, match=r"lacks am/final.mdl"):
        load_model(ModelFolder(model_in(tmp_path, without="am/final.mdl"), "home"), "xx")
    assert vosk.loaded == []


def test_a_model_that_does_not_load_is_one_sentence(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setitem(sys.modules, "vosk", FakeVosk(frozenset(), broken=True))

    with pytest.raises(HearingError, match=r"does not load \(Failed to create a model\); move that folder away"):
        load_model(ModelFolder(model_in(tmp_path), "home"), "xx")


def test_a_missing_engine_is_one_sentence_that_says_how_to_install_it(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setitem(sys.modules, "vosk", None)

    with pytest.raises(HearingError, match="pip install vosk"):
        load_model(ModelFolder(model_in(tmp_path), "home"), "xx")
