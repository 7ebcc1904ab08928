from __future__ import annotations

import argparse
import json
from collections.abc import Mapping
from pathlib import Path

import pytest

from coach.cli.check import add, check, run
from coach.errors import CoachError, VoicePackError
from coach.program.schema import schema
from coach.program_files import shipped
from coach.voice.pack import halt_words, load_pack


def halts_in(language: str) -> Mapping[str, str]:
    if language != "en":
        raise VoicePackError(f'There is no voice pack "{language}"; there are: en.')
    return {"stop": "come to rest"}


def arguments(*words: str) -> argparse.Namespace:
    parser = argparse.ArgumentParser()
    add(parser)
    return parser.parse_args(words)


def test_every_shipped_program_is_fit(capsys: pytest.CaptureFixture[str]) -> None:
    status = check(list(shipped()), lambda language: halt_words(load_pack(language)))

    out, err = capsys.readouterr()
    assert (status, err) == (0, "")
    assert len(out.splitlines()) == len(shipped())
    assert out.startswith("ankle_steady: OK. Steadier ankle, weeks 1 to 4: 3 exercises, every day;")


def test_warnings_are_printed_and_do_not_fail(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    path = tmp_path / "mine.yaml"
    text = shipped()["ankle_steady"].read_text(encoding="utf-8")
    path.write_text(text.replace("needs: [a firm chair]", "", 1), encoding="utf-8")

    status = check([str(path)], halts_in)

    out = capsys.readouterr().out
    assert status == 0
    assert 'missing: Exercise "heel_lowering" does not say what equipment it needs' in out


def test_one_bad_file_among_good_ones_makes_the_status_two(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    path = tmp_path / "bad.yaml"
    path.write_text("format: 1\ntitle: no\n", encoding="utf-8")

    status = check([str(path), "ankle_steady", "nothing_here"], halts_in)

    out, err = capsys.readouterr()
    assert status == 2
    assert out.startswith("ankle_steady: OK.")
    lines = err.splitlines()
    assert lines[0].startswith(f'{path}:1:1: program lacks "exercises"')
    assert lines[1].startswith(f"{path}:2:8: title must be text")
    assert lines[2].startswith("nothing_here: no such file")


def test_a_language_without_a_voice_pack_is_reported(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    path = tmp_path / "mine.yaml"
    text = shipped()["ankle_steady"].read_text(encoding="utf-8").replace("language: en", "language: de")
    path.write_text(text, encoding="utf-8")

    assert check([str(path)], halts_in) == 2
    assert capsys.readouterr().err == f'{path}: There is no voice pack "de"; there are: en.\n'


def test_the_schema_is_printed_as_json(capsys: pytest.CaptureFixture[str]) -> None:
    assert run(arguments("--schema")) == 0

    assert json.loads(capsys.readouterr().out) == schema()


def test_without_a_file_the_shipped_programs_are_named() -> None:
    with pytest.raises(CoachError, match=r"Name a program file to check.*ankle_steady"):
        run(arguments())
