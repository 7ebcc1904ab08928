from __future__ import annotations

import sys
from pathlib import Path

import pytest

from coach.cli import main

pytestmark = pytest.mark.skipif(sys.platform != "linux", reason="only the library on Linux tells phonemes")


def test_the_closest_words_and_sentences_are_shown(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    status = main(["words", "en", "--against", "top,banana", "--home", str(tmp_path)])
    lines = capsys.readouterr().out.splitlines()

    assert status == 0
    assert any("!" in line and "five / nine" in line for line in lines)
    assert any("!" in line and "top" in line for line in lines)
    assert not any("!" in line and "banana" in line for line in lines)
    assert any("Tell your therapist about it." in line for line in lines), "the sentence nearest to stop"


def test_an_unknown_language_names_those_there_are(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["words", "xx", "--home", str(tmp_path)]) == 2

    assert 'no voice pack "xx"; there are: en' in capsys.readouterr().err
