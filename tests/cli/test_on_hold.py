"""A person on hold: what was told stands, on every screen and with every program, until the clinician clears it."""

from __future__ import annotations

import json
from collections.abc import Callable
from datetime import timedelta
from pathlib import Path
from random import Random

import pytest

from coach.cli import main
from coach.cli.labels import Labels
from coach.cli.on_hold import holds_now, refuse_on_hold
from coach.cli.session_setup import keep, prepare
from coach.errors import OnHoldError
from coach.logbook import seal
from coach.logbook.store import Home, wall_clock
from coach.session.events import On
from coach.session.state import State
from coach.testing import RandomPerson, StoredRun, begin_in
from coach.voice.pack import load_pack

Run = Callable[..., tuple[int, str, str]]
ASKED = "Has the kneecap slipped or the knee given way since last time?"
CALL = "Call the clinic that gave you this program. If the knee locks or looks out of place, call today."


@pytest.fixture
def home(tmp_path: Path) -> Home:
    home = Home(tmp_path / "home")
    home.add_person("maria")
    return home


@pytest.fixture
def run(home: Home, capsys: pytest.CaptureFixture[str]) -> Run:
    def run(*words: str) -> tuple[int, str, str]:
        status = main([*words, "--home", str(home.root)])
        return status, *capsys.readouterr()

    return run


def session(home: Home, program: str | Path = "kneecap_steady", *, say: str = "well", days_ago: int = 0) -> str:
    """Let Maria train; `say`: "well", the id of a question that she answers so that it counts, or "unsteady"."""
    then = Home(home.root, now=lambda: wall_clock() - timedelta(days=days_ago))
    ready = prepare(str(program), then, "maria")
    keep(ready, then, "maria")
    with begin_in(then, "maria", ready.today) as store:
        run, person = StoredRun(ready.today, store.append), RandomPerson(Random(1), odd=0.0, silent=0.0)
        while not run.over:
            now = run.session
            if now.state is State.SCREENING and not run.agenda.talking:
                counts = now.screen_question.answer is (now.screen_question.id == say)
                run.say(On.YES if counts else On.NO, 0)
            elif say == "unsteady" and now.state is State.WORKING:
                run.say(On.UNSTEADY, 0)
            else:
                person.move(run)
    return store.session


def test_a_red_flag_that_was_told_stands_in_the_words_asked_and_nothing_begins_any_more(home: Home, run: Run) -> None:
    session(home, say="slipped")
    (record,) = home.history("maria").records

    status, out, err = run("start", "kneecap_steady", "--person", "maria")

    assert (record.why, record.next_in_days) == ("screen", None)
    assert (status, out) == (2, "")
    assert err.count("\n") == 1
    assert f'On {home.today()} the answer to "{ASKED}" was yes.' in err
    assert "no session begins until the therapist has cleared it" in err
    assert CALL in err
    assert "coach decide" not in err


def test_no_program_no_flag_and_no_later_day_begins_a_session_of_somebody_on_hold(home: Home, run: Run) -> None:
    session(home, say="slipped", days_ago=40)

    for words in (
        ("start", "--person", "maria"),
        ("start", "ankle_steady", "--person", "maria"),
        ("start", "--person", "maria", "--anew"),
        ("start", "--person", "maria", "--take-up"),
    ):
        status, _, err = run(*words)
        assert (status, "On hold" in err) == (2, True), words
    with pytest.raises(OnHoldError):  # what every screen comes to, whatever was shown before
        refuse_on_hold(home, "maria", Labels(load_pack("en").screens))


def test_only_a_clear_lifts_it_the_person_is_told_once_and_the_file_names_who_cleared_it(home: Home, run: Run) -> None:
    first = session(home, say="slipped")

    status, out, _ = run("decide", "maria", "clear", "--by", "Kim Rivers", "--note", "seen today")

    assert (status, f'answer to "{ASKED}" was yes' in out) == (0, True)
    assert "maria may go on, cleared by Kim Rivers" in out
    (clear,) = home.decisions("maria").clears
    assert (clear.sessions, clear.by, clear.note) == ((first,), "Kim Rivers", "seen today")
    assert prepare("kneecap_steady", home, "maria").today.news == ("news_cleared",)
    session(home)
    assert home.history("maria").records[-1].told[:1] == (("", "news_cleared"),)
    assert prepare("kneecap_steady", home, "maria").today.news == ()


def test_a_clear_without_a_hold_says_so_and_writes_nothing(home: Home, run: Run) -> None:
    session(home)
    before = home.person("maria").decisions.read_bytes()

    assert run("decide", "maria", "clear", "--by", "Kim") == (0, "maria is not on hold; nothing was recorded.\n", "")
    assert home.person("maria").decisions.read_bytes() == before


def test_a_verdict_that_is_left_out_is_asked_for(home: Home, run: Run) -> None:
    session(home)

    status, _, err = run("decide", "maria", "wall_slide", "--by", "Kim")

    assert (
        status,
        'Say what is decided about "wall_slide": up, stay, down, admit, pause, withdraw; or clear' in err,
    ) == (2, True)


def test_a_clear_in_a_line_that_was_changed_counts_for_nothing(home: Home, run: Run) -> None:
    session(home, say="slipped")
    run("decide", "maria", "clear", "--by", "Kim")
    path = home.person("maria").decisions
    path.write_text(path.read_text("utf-8").replace('"by":"Kim"', '"by":"Tim"'), "utf-8")

    assert run("start", "--person", "maria")[0] == 2


def test_a_hold_stands_though_the_file_of_its_session_cannot_be_read_or_is_gone(home: Home, run: Run) -> None:
    broken = home.person("maria").sessions / f"{session(home, say='slipped')}.jsonl"
    run("start", "--person", "maria")
    broken.unlink()
    broken.mkdir()

    assert "On hold" in run("start", "--person", "maria")[2]
    assert run("decide", "maria", "clear", "--by", "Kim")[0] == 0
    assert holds_now(home, "maria") == ()


def test_a_session_that_was_killed_behind_the_answer_counts(home: Home, run: Run) -> None:
    path = home.person("maria").sessions / f"{session(home, say='slipped')}.jsonl"
    lines = path.read_text("utf-8").splitlines(keepends=True)
    sign = next(number for number, line in enumerate(lines) if '"line":"safety_sign"' in line)
    path.write_text("".join(lines[: sign + 1]), "utf-8")

    assert f'answer to "{ASKED}" was yes' in run("start", "--person", "maria")[2]
    assert home.history("maria").records[0].why == "interrupted"


def test_a_record_of_another_home_that_is_copied_here_holds_here_too_even_after_a_clear(
    home: Home, run: Run, tmp_path: Path
) -> None:
    session(home, say="slipped", days_ago=1)
    other = Home(tmp_path / "other")
    other.add_person("maria")
    copied = session(other, say="slipped", days_ago=9)
    run("decide", "maria", "clear", "--by", "Kim")
    assert holds_now(home, "maria") == ()

    name = f"{copied}.jsonl"
    (home.person("maria").sessions / name).write_bytes((other.person("maria").sessions / name).read_bytes())

    assert [one.session for one in holds_now(home, "maria")] == [copied]


def test_an_answer_that_ends_the_day_ends_it_for_every_program_and_tomorrow_it_is_asked_again(
    home: Home, run: Run
) -> None:
    session(home, "older_adult_balance", say="dizzy")

    status, _, err = run("start", "ankle_steady", "--person", "maria")

    assert (status, "No other session begins today." in err) == (2, True)
    assert 'to "Do you feel dizzy, light-headed or unwell today?" was yes' in err
    assert run("decide", "maria", "clear", "--by", "Kim")[1] == "maria is not on hold; nothing was recorded.\n"
    assert holds_now(Home(home.root, now=lambda: wall_clock() + timedelta(days=1)), "maria") == ()


def test_unsteadiness_three_times_in_two_weeks_puts_on_hold_and_says_so_in_the_session(home: Home, run: Run) -> None:
    for days_ago in (8, 4):
        session(home, "ankle_steady", say="unsteady", days_ago=days_ago)
    assert holds_now(home, "maria") == ()

    session(home, "ankle_steady", say="unsteady")

    record = home.history("maria").records[-1]
    assert (record.why, record.next_in_days) == ("unsteady", None)
    err = run("start", "--person", "maria")[2]
    assert f"On {home.today()} it felt unsteady, and now 3 times in 14 days." in err


@pytest.mark.parametrize("command", ["today", "log"])
def test_a_hold_stands_at_the_top_with_the_command_that_clears_it(home: Home, run: Run, command: str) -> None:
    session(home, say="slipped")

    status, out, _ = run(command, "maria")

    head, why, call, clear, *_ = (line.rstrip() for line in out.splitlines())
    assert status == 0
    assert head == "On hold: no session begins until the therapist has cleared it."
    assert why == f'On {home.today()} the answer to "{ASKED}" was yes.'
    assert call == CALL
    assert clear == "The clinician clears it with: coach decide maria clear --by NAME"


def test_an_older_record_that_an_answer_ended_reads_as_it_was_and_holds_nobody(home: Home) -> None:
    path = home.person("maria").sessions / f"{session(home, say='slipped')}.jsonl"
    lines = [line for line in path.read_text("utf-8").splitlines() if '"line":"safety_sign"' not in line]
    chain, older = path.stem, []
    for number, line in enumerate(map(json.loads, lines), start=1):
        body = json.dumps({**line, "n": number, "chain": None}, ensure_ascii=False, separators=(",", ":"))
        sealed, chain = seal(body.replace(',"chain":null', ""), chain)
        older.append(sealed)
    path.write_text("\n".join(older) + "\n", "utf-8")

    assert home.history("maria").problems == ()
    assert home.history("maria").records[0].why == "screen"
    assert holds_now(home, "maria") == ()
