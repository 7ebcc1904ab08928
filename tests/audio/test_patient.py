from __future__ import annotations

import contextlib
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from coach.audio.patient import Kind, Moment, Patient, Words, parse_script, read_script, shipped_scripts
from coach.errors import RoomError
from coach.tempo.units import to_samples


def patient(body: str, folder: Path = Path()) -> Patient:
    return Patient(parse_script("format: 1\n" + body, "script.yaml", folder))


def said(someone: Patient, *moments: Moment) -> list[str]:
    return [utterance.words.text for moment in moments for utterance in someone.moment(moment)]


def asked(question: str, at: int = 0, attempt: int = 1, set_number: int = 0) -> Moment:
    return Moment(Kind.QUESTION, at, question=question, attempt=attempt, set=set_number)


LOWER = Moment(Kind.PHASE, 5000, exercise="heels", set=2, rep=6, phase="lower", side="left")


def test_a_question_is_answered_after_the_delay() -> None:
    someone = patient("delay: 0.5 s\nanswers: {pain: n2}")

    (utterance,) = someone.moment(asked("pain", at=1000))

    assert utterance.words == Words(text="n2")
    assert utterance.at == 1000 + to_samples(0.5)


def test_no_and_yes_stay_words() -> None:
    someone = patient("answers: {screen: no, confirm: yes, screen.dizzy: on}")

    assert said(someone, asked("screen.new_injury"), asked("confirm"), asked("screen.dizzy")) == ["no", "yes", "on"]


def test_a_question_without_an_answer_stays_unanswered() -> None:
    assert said(patient("answers: {pain: n2}"), asked("effort")) == []


def test_a_rule_speaks_once_and_goes_before_the_answers() -> None:
    someone = patient("answers: {ready: ready}\nrules:\n  - {after: question.ready, say: pause}")

    assert said(someone, asked("ready"), asked("ready")) == ["pause", "ready"]


def test_a_silent_rule_leaves_the_first_call_unanswered() -> None:
    someone = patient("answers: {ready: ready}\nrules:\n  - {after: question.ready, where: {attempt: 1}, silent: true}")

    assert said(someone, asked("ready")) == []
    assert said(someone, asked("ready", attempt=2)) == ["ready"]


def test_during_names_one_moment_of_a_set() -> None:
    someone = patient("rules:\n  - {during: {set: 2, rep: 6, phase: lower}, say: stop, delay: 300 ms}")
    others = [
        Moment(Kind.PHASE, 0, set=2, rep=6, phase="raise"),
        Moment(Kind.PHASE, 0, set=1, rep=6, phase="lower"),
        Moment(Kind.REP, 0, set=2, rep=6),
    ]

    assert said(someone, *others) == []
    (utterance,) = someone.moment(LOWER)
    assert utterance.at == 5000 + to_samples(0.3)
    assert said(someone, LOWER) == []


def test_times_and_skip_count_the_moments_that_fit() -> None:
    someone = patient(
        "rules:\n  - {after: rest, say: left, skip: 1, times: 2}\n  - {after: rest, say: why, always: true}"
    )

    assert said(someone, *[Moment(Kind.REST, 0)] * 5) == ["why", "left", "left", "why", "why"]


def test_the_first_rule_that_fits_speaks() -> None:
    someone = patient("rules:\n  - {after: halt, say: break}\n  - {after: halt, say: pain}")

    assert said(someone, Moment(Kind.HALT, 0), Moment(Kind.HALT, 0), Moment(Kind.HALT, 0)) == ["break", "pain"]


def test_a_recording_is_found_from_the_script(tmp_path: Path) -> None:
    (tmp_path / "stop.wav").write_bytes(b"")
    someone = patient("answers: {confirm: {clip: stop.wav}}\nrules:\n  - {after: halt, clip: stop.wav}", tmp_path)

    assert someone.moment(Moment(Kind.HALT, 0))[0].words == Words(clip=tmp_path / "stop.wav")
    assert someone.script.spoken == [Words(clip=tmp_path / "stop.wav")]


@pytest.mark.parametrize(
    ("body", "line", "says"),
    [
        ("answer: {pain: n2}", 2, 'did you mean "answers"?'),
        ("answers: {pian: n2}", 2, 'did you mean "pain"?'),
        ("answers:\n  pain: n2\n  pain: n3", 4, "twice"),
        ("rules:\n  - {after: question.redy, say: x}", 3, 'did you mean "ready"?'),
        ("rules:\n  - {after: hault, say: x}", 3, 'did you mean "halt"?'),
        ("rules:\n  - {after: halt.now, say: x}", 3, 'no moment "halt.now"'),
        ("rules:\n  - {after: halt}", 3, "needs one of"),
        ("rules:\n  - {after: halt, say: x, silent: true}", 3, "needs one of"),
        ("rules:\n  - {say: x}", 3, "either"),
        ("rules:\n  - {after: halt, during: {set: 1}, say: x}", 3, "either"),
        ("rules:\n  - {during: {set: 1}, where: {rep: 1}, say: x}", 3, 'under "during"'),
        ("rules:\n  - {during: {set: two}, say: x}", 3, 'found "two"'),
        ("rules:\n  - {during: {set: 0}, say: x}", 3, "from 1"),
        ("rules:\n  - {during: {round: 1}, say: x}", 3, "not known here"),
        ("rules:\n  - {after: halt, say: x, delay: 3}", 3, "with its unit"),
        ("rules:\n  - {after: halt, say: x, delay: -3 s}", 3, "with its unit"),
        ("rules:\n  - {after: halt, say: x, times: 1, always: true}", 3, 'either "times" or "always"'),
        ("rules:\n  - {after: halt, say: x, always: false}", 3, "write true here"),
        ("rules:\n  - {after: halt, clip: none.wav}", 3, "no recording"),
        ("rules:\n  - {after: halt, say: }", 3, "a word"),
        ("rules: {after: halt}", 2, "a list"),
        ("rules:\n  - halt", 3, "names with values"),
        ("answers: [", 2, "mend the bracket"),
    ],
)
def test_a_malformed_script_is_refused_with_its_line(body: str, line: int, says: str) -> None:
    with pytest.raises(RoomError) as error:
        patient(body)

    message = str(error.value)
    assert message.startswith(f"script.yaml:{line}:") or "not YAML" in message
    assert says in message
    assert "\n" not in message


@pytest.mark.parametrize("text", ["", "format: 2", "about: x", "- a", "{}", "format: 1\n\t- a"])
def test_a_file_that_is_no_script_is_refused(text: str) -> None:
    with pytest.raises(RoomError, match=r"^script\.yaml:\d+: "):
        parse_script(text, "script.yaml", Path())


@given(st.text(max_size=80))
def test_any_text_is_read_or_refused_in_a_sentence(text: str) -> None:
    with contextlib.suppress(RoomError):  # anything else that is raised fails the test
        parse_script("format: 1\nrules:\n  - " + text, "script.yaml", Path())


def test_an_unknown_script_names_the_shipped_ones(tmp_path: Path) -> None:
    with pytest.raises(RoomError, match="one of: default"):
        read_script("nobody")
    (tmp_path / "bad.yaml").write_bytes(b"\xff\xfe\x00")
    with pytest.raises(RoomError, match="UTF-8"):
        read_script(tmp_path / "bad.yaml")
    (tmp_path / "large.yaml").write_bytes(b"#" * 70_000)
    with pytest.raises(RoomError, match="larger than"):
        read_script(tmp_path / "large.yaml")


@pytest.mark.parametrize("name", list(shipped_scripts()))
def test_shipped_scripts_can_be_played(name: str) -> None:
    script = read_script(name)

    assert script.about
    assert script.spoken


def test_the_default_patient_is_slow_once_and_stops_in_the_second_set() -> None:
    someone = Patient(read_script("default"))

    assert said(someone, asked("screen.new_injury")) == ["no"]
    assert said(someone, asked("ready"), asked("ready", attempt=2), asked("ready")) == ["ready", "ready"]
    assert said(someone, Moment(Kind.REP, 0, set=1, rep=6), Moment(Kind.REP, 0, set=2, rep=5)) == []
    assert said(someone, Moment(Kind.REP, 0, set=2, rep=6)) == ["stop"]
    assert said(someone, asked("why_halt")) == ["unsteady"]
    assert said(someone, Moment(Kind.REP, 0, set=2, rep=6)) == []
