"""`coach today`, `coach decide` and which program a session takes: what is planned, why, and who decided."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import replace
from datetime import date, datetime, timedelta
from pathlib import Path
from random import Random

import pytest

from coach.cli import main
from coach.cli.choose import chosen
from coach.cli.labels import Labels
from coach.cli.session_setup import Prepared, keep
from coach.errors import CoachError
from coach.logbook import plain
from coach.logbook.cached import NAME
from coach.logbook.store import Home
from coach.loglines.changes import Told
from coach.program.model import AskAfter
from coach.program_files import read, shipped
from coach.session.ideal import rehearse
from coach.session.past import Clause, PastSession, clause
from coach.session.plan import Today, plan
from coach.session.proposals import proposals
from coach.testing import random_decisions, random_history, random_program
from coach.testing.histories import SimulatedCourse, write_history
from coach.voice.pack import languages, load_pack

WELL = SimulatedCourse(days=30, adherence=1.0, halts=0.0, trouble=0.0, fewer=0.0, pain=(1, 0))
Run = Callable[..., tuple[int, str, str]]


def lived(home: Home, program: str | Path = "ankle_steady", course: SimulatedCourse = WELL, ago: int = 31) -> None:
    """Let Maria have lived through weeks with a program, the last session two days ago or so."""
    path = shipped()[program] if isinstance(program, str) else program
    begins = home.today() - timedelta(days=ago)
    write_history(home, "maria", read(path), course, seed=3, begins=begins, source=path.read_bytes())


@pytest.fixture
def home(tmp_path: Path) -> Home:
    home = Home(tmp_path / "home")
    lived(home)
    return home


@pytest.fixture
def run(home: Home, capsys: pytest.CaptureFixture[str]) -> Run:
    def run(*words: str) -> tuple[int, str, str]:
        status = main([*words, "--home", str(home.root)])
        return status, *capsys.readouterr()

    return run


def everything(home: Home) -> dict[Path, bytes]:
    """Return the files of a home without the cache, which reading may write."""
    return {path: path.read_bytes() for path in home.root.rglob("*") if path.is_file() and path.name != NAME}


def test_today_shows_the_plan_with_its_reasons_and_what_waits_and_writes_nothing(home: Home, run: Run) -> None:
    before = everything(home)

    status, out, err = run("today", "maria")

    assert (status, err) == (0, "")
    assert "Heel raise with slow lowering: both_hands, sets: 2, each 12 reps\n  start_level: both_hands\n" in out
    assert "  top of the range: 12\n" in out
    assert "Waits for the clinician: heel_lowering from both_hands up to fingertips\n  + sessions running" in out
    assert "Decide with: coach decide maria heel_lowering up|stay|down --by NAME" in out
    assert everything(home) == before


def test_a_step_up_that_is_decided_is_the_plan_of_today_and_told_in_the_session(home: Home, run: Run) -> None:
    status, out, _ = run("decide", "maria", "heel_lowering", "up", "--by", "Kim  Rivers", "--note", "walks well")

    assert status == 0
    assert "heel_lowering goes up from both_hands to fingertips, decided by Kim Rivers" in out
    (decision,) = home.decisions("maria").decisions
    assert (decision.by, decision.note, decision.to_level) == ("Kim Rivers", "walks well", "fingertips")
    assert f"decided by Kim Rivers on {home.today()}, up: fingertips" in run("today", "maria")[1]

    session = rehearse(chosen(None, home, home.person("maria")).today)
    said = [sounding.phrase.key for sounding in session.soundings if sounding.phrase]
    assert said.count("news_up") == 1
    assert said.index("news_up") < said.index("exercise")
    assert [plain(line.fact) for line in session.records if isinstance(line.fact, Told)] == [
        {"exercise": "heel_lowering", "news": ["news_up"]}
    ]


def test_a_step_up_that_is_not_proposed_is_refused_with_what_is_missing_unless_the_clinician_knows(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    home = Home(tmp_path)
    lived(home, course=replace(WELL, days=3), ago=3)
    decide = ["decide", "maria", "heel_lowering", "up", "--by", "Kim Rivers", "--home", str(tmp_path)]

    assert main(decide) == 2
    err = capsys.readouterr().err
    assert err.count("\n") == 1
    assert "does not propose a step up" in err
    assert "top of the range (12): 0 of 2" in err
    assert home.decisions("maria").decisions == ()

    assert main([*decide, "--although-not-due"]) == 0
    assert capsys.readouterr().out.startswith("! The program does not propose this yet.")
    assert [one.to_level for one in home.decisions("maria").decisions] == ["fingertips"]
    assert '"proposed":false' in home.person("maria").decisions.read_text("utf-8")


def test_stay_and_down_need_no_proposal(run: Run) -> None:
    assert run("decide", "maria", "heel_lowering", "stay", "--by", "Kim")[0] == 0


def test_the_second_decision_of_a_day_takes_the_place_of_the_first(home: Home, run: Run) -> None:
    run("decide", "maria", "heel_lowering", "up", "--by", "Kim")
    run("decide", "maria", "heel_lowering", "stay", "--by", "Kim")

    assert chosen(None, home, home.person("maria")).today.exercises[0].level == 0
    run("decide", "maria", "heel_lowering", "up", "--by", "Kim")
    run("decide", "maria", "heel_lowering", "up", "--by", "Kim")
    assert chosen(None, home, home.person("maria")).today.exercises[0].level == 1


@pytest.mark.parametrize(
    ("words", "says"),
    [
        (("heel_lowring", "up", "--by", "Kim"), 'has no exercise "heel_lowring"; did you mean "heel_lowering"?'),
        (("heel_lowering", "down", "--by", "Kim"), "is at its easiest level, both_hands"),
        (("heel_lowering", "stay", "--by", " "), "--by is empty; write who decides"),
        (("heel_lowering", "stay", "--by", "x" * 81), "--by has 81 characters; write 80 at most"),
        (("heel_lowering", "stay", "--by", "a\x1b[2Jb"), "--by holds a character that cannot be shown"),
        (("heel_lowering", "stay", "--by", "Kim", "--program", "nothing"), "no such file"),
    ],
)
def test_a_decision_that_cannot_be_is_one_sentence_and_leaves_nothing(
    words: tuple[str, ...], says: str, home: Home, run: Run
) -> None:
    before = everything(home)

    status, out, err = run("decide", "maria", *words)

    assert (status, out) == (2, "")
    assert says in err
    assert err.count("\n") == 1
    assert everything(home) == before


def test_above_the_hardest_level_there_is_no_step(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    text = (
        shipped()["ankle_steady"].read_text("utf-8").replace("start_level: both_hands", "start_level: heels_over_step")
    )
    path = tmp_path / "top.yaml"
    path.write_text(text, "utf-8")
    home = Home(tmp_path / "home")
    lived(home, path)

    assert main(["decide", "maria", "heel_lowering", "up", "--by", "K", "--home", str(home.root)]) == 2
    assert "is at its hardest level, heels_over_step; write a new program" in capsys.readouterr().err


def test_a_torn_or_edited_file_of_decisions_is_reported_and_stops_nothing(home: Home, run: Run) -> None:
    run("decide", "maria", "heel_lowering", "up", "--by", "Kim")
    path = home.person("maria").decisions
    path.write_text(path.read_text("utf-8").replace("Kim", "Kam") + '{"torn', "utf-8")

    status, out, _ = run("today", "maria")

    assert status == 0
    assert "! decisions.jsonl:1 does not match its checksum" in out
    assert "! decisions.jsonl:2 is torn off before its end." in out
    assert "Heel raise with slow lowering: both_hands" in out


def test_a_decision_about_an_exercise_that_the_program_lost_stops_nothing(home: Home, run: Run) -> None:
    run("decide", "maria", "toe_reach", "stay", "--by", "Kim")
    text = shipped()["ankle_steady"].read_text("utf-8")
    path = home.root / "ankle_steady.yaml"
    path.write_text(text[: text.index("  - id: toe_reach")], "utf-8")

    status, out, _ = run("today", "maria", str(path))

    assert status == 0
    assert 'the exercise "toe_reach" of earlier sessions is not in the program any more' in out
    assert "the program file has changed since the last session" in out


def test_a_persons_own_program_is_opened_from_its_kept_copy(tmp_path: Path) -> None:
    path = tmp_path / "mine.yaml"
    path.write_bytes(shipped()["ankle_steady"].read_bytes() + b"# mine\n")
    home = Home(tmp_path / "home")
    lived(home, path)
    path.unlink()

    prepared = chosen(None, home, home.person("maria"))

    assert (prepared.program.id, prepared.today.first_session) == ("mine", False)
    assert prepared.data.endswith(b"# mine\n")
    assert chosen("mine", home, home.person("maria")).program == prepared.program
    for copy in (home.person("maria").folder / "programs").iterdir():
        copy.unlink()
    with pytest.raises(CoachError, match='"mine" ran a file that is not here any more; name the file'):
        chosen(None, home, home.person("maria"))


def test_of_two_programs_the_only_due_one_is_chosen_otherwise_both_are_named(tmp_path: Path) -> None:
    home = Home(tmp_path)
    lived(home, "ankle_steady", replace(WELL, days=7), ago=8)
    lived(home, "trunk_endurance", replace(WELL, days=1), ago=0)
    maria = home.person("maria")

    assert chosen(None, home, maria).program.id == "ankle_steady"
    lived(home, "elbow_lowering", replace(WELL, days=7), ago=12)
    with pytest.raises(CoachError) as caught:
        chosen(None, home, maria)
    assert "uses several programs, and none or more than one is due: elbow_lowering (due " in str(caught.value)
    assert "coach start trunk_endurance --person maria" in str(caught.value)


def test_a_program_unused_for_its_own_gap_is_skipped(tmp_path: Path) -> None:
    home = Home(tmp_path)
    lived(home, "elbow_lowering", replace(WELL, days=7), ago=60)
    lived(home, "ankle_steady", replace(WELL, days=7), ago=8)

    assert chosen(None, home, home.person("maria")).program.id == "ankle_steady"


def test_a_new_version_of_a_program_is_noted_with_who_wrote_it_and_when(home: Home, tmp_path: Path) -> None:
    path = tmp_path / "ankle_steady.yaml"
    text = shipped()["ankle_steady"].read_text("utf-8")
    path.write_text(text.replace('written_by: {name: ""', "written_by: {name: Kim Rivers"), "utf-8")
    old = chosen(None, home, home.person("maria"))
    new = chosen(str(path), home, home.person("maria"))

    for prepared in (old, old, new):
        keep(prepared, home, "maria")

    first, second = home.decisions("maria").versions
    assert (first.digest, first.before) == (old.program.digest, "")
    assert (second.digest, second.before) == (new.program.digest, old.program.digest)
    assert (second.written_by, second.written_on) == ("Kim Rivers, physical therapist", "2027-01-11")
    assert home.kept("maria", "ankle_steady", new.program.digest) is not None
    assert new.today.exercises[0].news == ("news_program",)


def test_an_undated_session_is_named_and_left_out(home: Home, run: Run) -> None:
    path = max(home.person("maria").sessions.glob("*.jsonl"))
    lines = path.read_text("utf-8").splitlines(keepends=True)
    began = lines[0].split('"t":"')[1].split('"')[0]
    path.write_text(lines[0].replace(began, "some day") + "".join(lines[1:]), "utf-8")

    status, out, _ = run("today", "maria")

    assert status == 0
    assert f"! The session {path.stem} does not say when it was" in out


def any_clauses(seed: int) -> Iterator[Clause]:
    """Yield every clause of the plan and the proposals of a random program, history and decisions."""
    chance, day = Random(seed), date(2027, 1, 31)
    program = random_program(chance)
    if chance.random() < 0.3:
        program = replace(program, ask_effort=AskAfter.NEVER)
    moved = day + timedelta(days=chance.choice((0, 0, 0, -4, 20)))
    history, decisions = random_history(chance, program, day), random_decisions(chance, program, day)
    if chance.random() < 0.1:
        other = random_program(chance)
        history += random_history(chance, replace(other, exercises=(replace(other.exercises[0], id="old"),)), day)
    if chance.random() < 0.1:
        history = (*history, PastSession(day, "", (), unread=True))
    today = plan(program, history, moved, decisions)
    yield from today.because
    for planned in today.exercises:
        yield from planned.because
    for proposal in proposals(program, history, decisions, moved):
        yield from proposal.clauses


def test_an_exercise_is_paused_withdrawn_and_admitted_and_today_says_so(run: Run, home: Home) -> None:
    def out_today() -> list[str]:
        return [one.exercise.id for one in chosen(None, home, home.person("maria")).today.left_out]

    decide = ("decide", "maria", "one_leg_stand")
    by = ("--by", "Kim Rivers")
    until = home.today() + timedelta(days=3)

    status, out, _ = run(*decide, "pause", "--until", str(until), *by)
    assert (status, out_today()) == (0, ["one_leg_stand"])
    assert f"left out until {until}" in out
    assert f"Standing on one leg is paused until {until}, decided by Kim Rivers" in run("today", "maria")[1]
    assert run(*decide, "admit", *by)[0] == 0
    assert out_today() == []
    assert run(*decide, "withdraw", *by)[0] == 0
    assert out_today() == ["one_leg_stand"]
    assert [(one.verdict, one.until) for one in home.decisions("maria").decisions] == [
        ("pause", until), ("admit", None), ("withdraw", None),
    ]  # fmt: skip


@pytest.mark.parametrize(
    ("words", "says"),
    [
        (("admit",), "is part of the sessions already"),
        (("pause", "--until", "2020-01-01"), "is not after today"),
        (("pause", "--until", "soon"), "is not a day"),
        (("up", "--until", "2999-01-01"), "--until goes with pause"),
    ],
)
def test_a_decision_about_the_sessions_that_means_nothing_is_refused(
    run: Run, home: Home, words: tuple[str, ...], says: str
) -> None:
    status, _, err = run("decide", "maria", "one_leg_stand", *words, "--by", "Kim Rivers")

    assert status == 2
    assert says in err
    assert home.decisions("maria").decisions == ()


def test_with_every_exercise_withdrawn_nothing_begins_and_it_is_said_why(run: Run) -> None:
    for exercise in ("heel_lowering", "one_leg_stand", "toe_reach"):
        assert run("decide", "maria", exercise, "withdraw", "--by", "Kim Rivers")[0] == 0

    status, _, err = run("start", "--person", "maria", "--room", "default")

    assert status == 2
    assert "No exercise is part of the sessions today" in err
    assert "Kim Rivers decided" in err


def test_an_exercise_that_joins_is_admitted_when_it_is_proposed_or_although_it_is_not(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    home = Home(tmp_path / "home")
    lived(home, "kneecap_steady", replace(WELL, days=4), ago=5)
    exercise = next(each.id for each in read(shipped()["kneecap_steady"]).exercises if each.joins_after)
    words = ["decide", "maria", exercise, "admit", "--by", "Kim Rivers", "--home", str(home.root)]

    assert main(words) == 2
    assert f'does not propose to admit "{exercise}" yet' in capsys.readouterr().err
    assert main([*words, "--although-not-due"]) == 0
    assert exercise in [one.exercise.id for one in chosen(None, home, home.person("maria")).today.exercises]


def test_every_reason_of_a_plan_or_proposal_has_a_wording_and_every_wording_a_reason() -> None:
    labels = [Labels(load_pack(language).screens) for language in languages()]
    seen = set()
    for seed in range(3000):
        for one in any_clauses(seed):
            if one not in seen:
                assert all(each.clause(one) for each in labels)
                seen.add(one)

    worded = {key for key in load_pack("en").screens if key.startswith(("because_", "step_", "join_"))}
    assert {one.key for one in seen} == worded - {"because_taken_up"}  # see test_start.py for that one


def test_text_from_a_file_is_shown_on_one_line() -> None:
    labels = Labels(load_pack("en").screens)

    assert "\x1b" not in labels.clause(clause("because_level_gone", gone="a\x1b\nb", day="-", level="x"))


def test_a_session_dated_in_the_future_that_holds_the_level_down_is_reported(home: Home, run: Run) -> None:
    lived(home, course=replace(WELL, days=1), ago=-3)

    status, out, _ = run("decide", "maria", "heel_lowering", "up", "--by", "Kim", "--although-not-due")

    assert status == 0
    assert "! The plan still stays at both_hands" in out
    assert "sessions dated in the future by a wrong clock: 1" in run("today", "maria")[1]


def plan_of(home: Home, of: Prepared) -> Today:
    return chosen(of.program.id, home, home.person("maria")).today


def test_the_plan_rests_on_the_clock_of_the_home(home: Home) -> None:
    later = Home(home.root, lambda: datetime.now().astimezone() + timedelta(days=40))

    assert plan_of(later, chosen(None, home, home.person("maria"))).exercises[0].news == ("news_gap",)
