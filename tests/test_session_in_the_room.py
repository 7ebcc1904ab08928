"""Whole sessions with real speech, a real room and real ears: recordings in, replies out."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from in_the_room import NONSENSE, SCRIPT, SMALL, Furnished, Outcome, Tape, prepared, press, session

from coach.audio.room import Acoustics
from coach.audio.sounds import tick
from coach.audio.wavs import WavWriter
from coach.cli.session_setup import Prepared
from coach.loglines.hearing import SoundCheck
from coach.loglines.kinds import SessionBegun
from coach.session.state import State
from coach.tempo.units import BLOCK, RATE, to_samples
from coach.words.phrases import phrase, sentence

TELEVISION = (
    "The kettle is on and the bread is nearly done, so we might eat at half past twelve.",
    "My neighbour asked whether the bus still runs beside the old library.",
)
QUICK = SMALL.replace("effort: each exercise, reps: each set", "effort: never, reps: never")


def brief(text: str = QUICK) -> Prepared:
    """Return the short program as for somebody who knows the opening words."""
    ready = prepared(text)
    return replace(ready, today=replace(ready.today, first_session=False, screen=()))


class Saying:
    """Lets the patient say a word the first time that the session is somewhere."""

    def __init__(self, furnished: Furnished, word: str, state: State, rep: int = 0, phase: int = -1) -> None:
        self.clip = furnished.said[word]
        self.where = (state, rep, phase)
        self.begin = self.end = -1

    def __call__(self, tape: Tape) -> None:
        state, rep, phase = self.where
        here = tape.state is state and (not rep or tape.rep == rep) and (phase < 0 or tape.phase == phase)
        if self.begin < 0 and here:
            self.begin = tape.room.speak(self.clip, tape.now + to_samples(0.4))
            self.end = self.begin + len(self.clip)


@pytest.fixture(scope="module")
def whole(furnished: Furnished) -> Outcome:
    """A session with a patient who answers and is well."""
    ready = prepared()
    return session(furnished, replace(ready, today=replace(ready.today, first_session=False)))


def test_a_whole_session_ends_in_a_record_with_planned_counted_and_stated(whole: Outcome) -> None:
    first, second = whole.record.sets

    assert whole.record.why == "done"
    assert [(one.planned_high, one.counted, one.stated) for one in (first, second)] == [(3, 3, 3), (3, 3, 3)]
    assert [(one.pain, one.effort) for one in (first, second)] == [(2, None), (2, 5)]
    assert [one.tension_s for one in (first, second)] == [12.0, 12.0]


def test_every_count_and_tick_sounds_on_its_sample(whole: Outcome, furnished: Furnished) -> None:
    ready = prepared()
    voice = furnished.voice(ready)
    checked = 0
    for go in whole.times("go"):
        for number in (1, 2, 3):
            begins = go + (number - 1) * to_samples(4.0)  # raise 1 s, lower 3 s
            clip = voice.clip(sentence(ready.pack, phrase("count", n=number)))
            assert lag(whole.tape, clip[: to_samples(0.3)], begins) == 0
            assert lag(whole.tape, tick(), begins + to_samples(3.0)) == 0  # third second: second tick of the lowering
            checked += 2
    assert checked == 12


def lag(tape: Tape, clip: np.ndarray, at: int) -> int:
    """Return by how many samples what was played fits `clip` best off sample `at`, within 50 ms."""
    reach = to_samples(0.05)
    match = np.correlate(tape.played_between(at - reach, at + len(clip) + reach), clip, mode="valid")
    return int(np.argmax(match)) - reach


def only(ran: Outcome, keys: tuple[str, ...], begin: int, end: int) -> bool:
    """Tell whether nothing sounded between two samples but phrases whose keys begin so, and the fade before them."""
    theirs = np.zeros(end - begin, bool)
    for said in ran.measured.soundings:
        if said.phrase and said.phrase.key.startswith(keys) and said.at >= begin:
            theirs[said.at - begin : said.at - begin + said.length] = True
    theirs[: to_samples(0.005)] = True
    return not np.abs(ran.tape.played_between(begin, end)[~theirs]).max(initial=0.0) > 1e-4


def begun_twice(tape: Tape) -> bool:
    """Work has begun a second time."""
    return len(tape.times("go")) == 2


def test_stop_in_mid_lowering_halts_and_only_the_halts_words_sound_until_ready(furnished: Furnished) -> None:
    stop = Saying(furnished, "stop", State.WORKING, rep=2, phase=1)
    ran = session(furnished, brief(), act=stop, until=begun_twice)

    halted = ran.times("stop")[0]
    ready = next(at for at in ran.times("ready") if at > halted)
    assert stop.begin < halted < stop.end + to_samples(0.7)
    assert only(ran, ("halt_",), halted, ready)
    assert not only(ran, ("halt_",), halted - RATE, halted)  # so that this could have failed
    assert [halt.why for halt in ran.record.halts] == ["break"]
    assert len(ran.times("go")) == 2  # and then the set goes on


def test_pain_above_the_limit_ends_the_session(furnished: Furnished) -> None:
    ran = session(furnished, brief(), script=SCRIPT.replace("pain: n2", "pain: n7"))

    assert ran.why == "pain"
    assert [one.pain for one in ran.record.sets] == [7]


def test_nobody_in_the_room_and_no_set_begins(furnished: Furnished) -> None:
    ready = prepared()
    ran = session(furnished, replace(ready, today=replace(ready.today, screen=())), script=None)

    assert ran.why == "not_heard"
    assert ran.record.sets == ()
    assert ran.measured.outcomes == []  # the coach's own voice and its echo are no reply
    assert ran.measured.hearings == []


def test_noise_alone_is_no_reply(furnished: Furnished) -> None:
    loud = Acoustics(noise_db=-40.0)
    ran = session(furnished, brief(), script=None, until=lambda tape: tape.now > 60 * RATE, acoustics=loud)

    assert ran.record.sets == ()
    assert ran.measured.outcomes == []


def test_speech_that_is_no_reply_holds_the_set_and_work_waits_for_ready(furnished: Furnished) -> None:
    speaks = Saying(furnished, NONSENSE, State.WORKING, rep=2, phase=1)
    ran = session(furnished, brief(), act=speaks, until=begun_twice)

    first, second = ran.times("go")
    ready = [at for at in ran.times("ready") if first < at < second]
    assert any(state is State.STILL and event.at in ready for state, event in ran.measured.events)
    held = next(event.at for state, event in ran.measured.events if state is State.STILL and event.on == "time_up")
    assert (held - first) % to_samples(1.0) == 0  # the phase is finished first
    assert only(ran, ("held", "ready_when"), held, ready[0])


def test_a_set_that_is_held_and_not_answered_for_is_paused_and_never_goes_on(furnished: Furnished) -> None:
    script = SCRIPT.replace("ready: ready", "check: ready") + "rules: [{after: question.ready, say: ready}]\n"
    speaks = Saying(furnished, NONSENSE, State.WORKING, rep=2, phase=1)
    ran = session(furnished, brief(), script=script, act=speaks)

    assert [state for state, event in ran.measured.events if event.on == "spoke"] == [State.WORKING]
    assert ran.record.holds == 1
    assert [one.why for one in ran.record.sets] == ["no_answer"]
    assert len(ran.times("go")) == 1
    assert ran.why == "no_answer"


def test_a_microphone_that_dies_in_a_set_is_noticed_within_a_second(furnished: Furnished) -> None:
    died: list[int] = []

    def act(tape: Tape) -> None:
        if not died and tape.state is State.WORKING and tape.rep == 2:
            died.append(tape.now)
            tape.deaf_until = tape.now + to_samples(4)

    ran = session(furnished, brief(), act=act, until=begun_twice)

    lost = ran.times("mic_lost")[0]
    back = ran.times("mic_back")[0]
    assert lost - died[0] <= RATE
    assert ran.times("go")[1] > next(at for at in ran.times("ready") if at > back)


def test_a_speaker_that_is_turned_off_in_a_set_holds_it_after_two_words_and_work_waits_for_ready(
    furnished: Furnished, monkeypatch: pytest.MonkeyPatch
) -> None:
    off: list[int] = []

    def act(tape: Tape) -> None:
        if not off and tape.state is State.WORKING and tape.rep == 2:
            off.append(tape.now)
            monkeypatch.setattr(tape.room._echo, "step", np.zeros_like)

    ran = session(furnished, brief(), act=act, until=lambda tape: bool(tape.times("speaker_back")))

    assert len(ran.times("speaker_lost")) == 1
    assert ran.times("speaker_lost")[0] - off[0] <= to_samples(5.5)  # "two" has begun: "lower" and "three" are missed
    assert len([at for at in ran.times("rep_done") if at > off[0]]) <= 1
    assert len(ran.times("go")) == 1


def test_the_space_bar_halts_within_a_block(furnished: Furnished) -> None:
    pressed: list[int] = []

    def act(tape: Tape) -> None:
        if not pressed and tape.state is State.WORKING and tape.rep == 1:
            pressed.append(tape.now)
            press(tape, " ")

    ran = session(furnished, brief(), act=act, until=lambda tape: bool(tape.times("stop")))

    assert ran.times("stop")[0] - pressed[0] == BLOCK
    assert [halt.ear for halt in ran.record.halts] == ["keys"]


def test_the_same_seed_gives_the_same_session(whole: Outcome, furnished: Furnished) -> None:
    ready = prepared()
    today = replace(ready.today, first_session=False)
    again = session(furnished, replace(ready, today=today), until=lambda tape: bool(tape.times("done")))

    until = again.times("done")[0]
    assert again.measured.hearings
    assert again.measured.hearings == [hearing for hearing in whole.measured.hearings if hearing.at <= until]
    assert np.array_equal(again.tape.played_between(0, until), whole.tape.played_between(0, until))


def test_a_session_begins_anew_after_one_that_died(furnished: Furnished) -> None:
    home = furnished.home
    store = home.begin("mira")
    store.append(0, _begun(store.session))
    store.close()

    home.close_broken("mira")

    record = next(one for one in home.history("mira").records if one.session == store.session)
    assert record.why == "interrupted"


def _begun(name: str) -> SessionBegun:
    from coach.cli.session_setup import first_line

    return first_line(prepared(), session=name, person="mira", ears=("taught",), device="virtual room")


def test_yes_and_no_are_enough_to_place_pain(furnished: Furnished) -> None:
    ready = brief()
    ready = replace(ready, today=replace(ready.today, numbers_heard=False))
    script = SCRIPT.replace("pain: n2", 'pain_above.0: "yes", pain_above: "no"')
    ran = session(furnished, ready, script=script)

    assert ran.why == "done"
    assert [one.pain for one in ran.record.sets] == ["1-3", "1-3"]


# -- the check at the start --


def checked(furnished: Furnished, **more: Any) -> Outcome:
    """Run the beginning of a session, to the first thing after the check."""

    def over(tape: Tape) -> bool:
        return tape.state in (State.SETUP, State.CLOSING)

    return session(furnished, brief(), until=over, **more)


def found(ran: Outcome) -> SoundCheck:
    assert ran.record.sound_check is not None
    return ran.record.sound_check


def test_the_check_hears_the_coach_the_room_and_the_person(furnished: Furnished) -> None:
    check = found(checked(furnished))

    assert (check.heard, check.ear, check.askings, check.echo, check.cautions) == (True, "taught", 1, True, ())
    assert check.floor == pytest.approx(Acoustics().noise_db, abs=3.0)
    assert check.level == pytest.approx(Acoustics().patient_db, abs=6.0)
    assert check.voices < 0.2


def test_a_speaker_that_is_off_and_nobody_who_answers_end_in_words_about_the_speaker(furnished: Furnished) -> None:
    ran = session(furnished, brief(), script=None, acoustics=Acoustics(echo_db=-np.inf))

    assert ran.why == "not_heard"
    assert (found(ran).heard, found(ran).echo, found(ran).cautions) == (False, False, ("no_echo",))
    assert any(said.phrase and said.phrase.key == "check_speaker" for said in ran.measured.soundings)


def test_a_room_that_is_much_louder_than_when_the_words_were_taught_is_noticed(furnished: Furnished) -> None:
    ran = checked(furnished, acoustics=Acoustics(noise_db=-44.0))

    assert found(ran).floor == pytest.approx(-44.0, abs=3.0)
    assert found(ran).cautions == ("louder",)


def test_a_television_is_noticed_and_is_no_answer(furnished: Furnished, tmp_path: Path) -> None:
    television = tmp_path / "television.wav"
    speech = np.concatenate([furnished.clip(text) for text in TELEVISION])
    with WavWriter(television) as writer:
        writer.write(speech)
    ran = checked(furnished, script=None, noise=television, acoustics=Acoustics(echo_db=-np.inf, noise_db=-35.0))

    assert found(ran).voices > 0.5
    assert "voices" in found(ran).cautions
    assert found(ran).echo is False  # though it speaks with the coach's own voice
    assert ran.why == "not_heard"
    assert not ran.times("ready")
