from __future__ import annotations

from pathlib import Path

import pytest

from coach.cli import COMMANDS, TOPICS, main, parser
from coach.cli.manual import manual_of, topics

MANUAL = topics(manual_of("en"))
README = Path(__file__).resolve().parents[2] / "README.md"


@pytest.fixture(autouse=True)
def a_terminal_of_no_kind(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.delenv("FORCE_COLOR", raising=False)


def test_without_a_topic_every_topic_is_listed_with_its_purpose(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["manual"]) == 0

    lines = capsys.readouterr().out.splitlines()
    assert [line.split()[0] for line in lines[: len(MANUAL)]] == list(MANUAL)
    assert all(purpose in line for line, (purpose, _) in zip(lines, MANUAL.values(), strict=False))


@pytest.mark.parametrize("topic", MANUAL)
def test_a_topic_is_plain_text_in_a_pipe_and_rendered_on_a_terminal(
    topic: str, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    assert main(["manual", topic]) == 0
    plain = capsys.readouterr().out
    monkeypatch.setenv("FORCE_COLOR", "1")
    assert main(["manual", topic]) == 0
    shown = capsys.readouterr().out

    assert MANUAL[topic][1] in plain
    assert "\x1b" not in plain
    assert "\x1b" in shown
    assert "**" not in shown


def test_an_unknown_topic_ends_in_one_sentence(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["manual", "progam"]) == 2

    out, err = capsys.readouterr()
    assert out == ""
    assert err == 'coach manual: The manual has no topic "progam"; did you mean "program"?\n'


def test_a_language_without_a_manual_says_so_first_and_shows_the_english_one(
    capsys: pytest.CaptureFixture[str],
) -> None:
    assert main(["manual", "data", "--language", "ko"]) == 0

    said, _, text = capsys.readouterr().out.partition("\n\n")
    assert said == "아직 한국어 설명서가 없어 영어로 보여 드립니다."
    assert MANUAL["data"][1] in text


@pytest.mark.parametrize("command", [name for name in COMMANDS if name != "manual"])
def test_every_command_names_the_topic_that_explains_it(command: str, capsys: pytest.CaptureFixture[str]) -> None:
    with pytest.raises(SystemExit):
        parser().parse_args([command, "--help"])

    assert f"coach manual {TOPICS[command]}" in " ".join(capsys.readouterr().out.split())
    assert f"`coach {command}" in MANUAL[TOPICS[command]][1]


def test_the_cautions_are_the_same_in_the_manual_and_in_the_readme() -> None:
    readme = README.read_text("utf-8").partition("## Cautions\n")[2].partition("\n## ")[0]

    assert readme.split() == MANUAL["cautions"][1].split()
