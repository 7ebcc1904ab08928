from __future__ import annotations

from collections.abc import Mapping
from hashlib import sha256
from pathlib import Path

import pytest

from coach.errors import ProgramError, VoicePackError
from coach.program_files import find, open_program, read, shipped


def test_a_shipped_program_is_found_by_its_id() -> None:
    assert find("ankle_steady") == shipped()["ankle_steady"]


def test_a_path_comes_before_an_id(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    (tmp_path / "ankle_steady").write_text("mine", encoding="utf-8")
    monkeypatch.chdir(tmp_path)

    assert find("ankle_steady") == Path("ankle_steady")


@pytest.mark.parametrize(
    ("name", "what"),
    [("ankel_steady", 'did you mean "ankle_steady"?'), ("programs/none.yaml", "no such file"), ("", "folder")],
)
def test_the_error_for_a_missing_program_lists_the_known_ones(name: str, what: str) -> None:
    with pytest.raises(ProgramError, match=r"no such file|folder") as caught:
        find(name)

    assert what in str(caught.value)


def test_a_folder_in_place_of_a_program_is_reported(tmp_path: Path) -> None:
    with pytest.raises(ProgramError, match="this is a folder; name a program file in it"):
        find(str(tmp_path))


def test_the_digest_is_that_of_the_bytes_with_any_line_ends_and_a_byte_order_mark(tmp_path: Path) -> None:
    data = b"\xef\xbb\xbf" + shipped()["ankle_steady"].read_bytes().replace(b"\n", b"\r\n")
    path = tmp_path / "ankle.yaml"
    path.write_bytes(data)

    assert read(path).digest == sha256(data).hexdigest()


def test_a_file_that_is_not_utf8_is_reported_with_its_place(tmp_path: Path) -> None:
    path = tmp_path / "latin.yaml"
    path.write_bytes("format: 1\ntitle: caf\u00e9\n".encode("latin-1"))

    with pytest.raises(ProgramError) as caught:
        read(path)

    assert str(caught.value) == f"{path}:2:11: not UTF-8 text; save the file with encoding UTF-8."


def test_a_file_that_is_too_long_is_not_read_further(tmp_path: Path) -> None:
    path = tmp_path / "long.yaml"
    path.write_bytes(b"#" * (1024 * 1024 + 1))

    with pytest.raises(ProgramError, match="longer than 1 MiB"):
        read(path)


def test_a_file_that_cannot_be_opened_is_reported(tmp_path: Path) -> None:
    with pytest.raises(ProgramError, match="check the path and the file's permissions"):
        read(tmp_path)


def test_a_program_is_checked_against_the_halt_words_of_its_own_language(tmp_path: Path) -> None:
    path = tmp_path / "mine.yaml"
    text = shipped()["ankle_steady"].read_text(encoding="utf-8").replace("language: en", "language: de")
    path.write_text(text, encoding="utf-8")
    asked = []

    def halts_in(language: str) -> Mapping[str, str]:
        asked.append(language)
        return {"calves": ""}

    with pytest.raises(ProgramError, match='holds "calves"'):
        open_program(str(path), halts_in)

    assert asked == ["de"]


def test_a_missing_voice_pack_is_not_hidden() -> None:
    def halts_in(language: str) -> Mapping[str, str]:
        raise VoicePackError(f"no {language}")

    with pytest.raises(VoicePackError):
        open_program("ankle_steady", halts_in)
