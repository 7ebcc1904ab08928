"""The Vosk ear without a model: a script says what is heard, and the traps are those of the real library."""

from __future__ import annotations

import sys
from collections.abc import Callable, Iterable

import numpy as np
import pytest
from fake_vosk import FakeRecogniser, FakeVosk, Said

from coach.ears.activity import Activity
from coach.ears.vosk import IN_PASSING, LONGEST, LOOK_EVERY, PRE_ROLL, Vosk
from coach.errors import HearingError
from coach.ports import Captured, Hearing
from coach.tempo.units import BLOCK, to_samples
from coach.words.phrases import ReplyWords
from coach.words.replies import Listening, Unclear, listen, open_for

REPLIES = {
    "stop": ReplyWords("stop", ("stop now", "halt")),
    "ready": ReplyWords("ready", ("i am ready",)),
    "yes": ReplyWords("yes", ("yupp",)),
    "no": ReplyWords("no"),
}
HALTS = frozenset({"stop"})
DECOYS = ("tea", "glorp")
VOCABULARY = frozenset(["stop", "now", "halt", "ready", "i", "am", "yes", "no", "tea", "[unk]"])


class Voiced(Activity):
    """Reports a voice from one sample to another, whatever sounds."""

    def __init__(self, *voices: tuple[int, int]) -> None:
        self.voices = voices
        self.speaking = False
        self._began = self._last = 0

    def at(self, now: int) -> None:
        heard = [(began, ended) for began, ended in self.voices if began < now]
        self.speaking = bool(heard) and now <= heard[-1][1]
        if heard:
            self._began, self._last = heard[-1][0], min(now, heard[-1][1])


@pytest.fixture
def vosk(monkeypatch: pytest.MonkeyPatch) -> FakeVosk:
    fake = FakeVosk(VOCABULARY)
    monkeypatch.setitem(sys.modules, "vosk", fake)
    return fake


def ear_for(vosk: FakeVosk, activity: Activity, decoys: Iterable[str] = DECOYS) -> Vosk:
    return Vosk(vosk.Model("here"), REPLIES, HALTS, decoys, activity=activity)


BEGAN = to_samples(2.0)
SHORT = (BEGAN, BEGAN + to_samples(0.6))
LONG = (BEGAN, BEGAN + LONGEST + 2 * BLOCK)


def hear(vosk: FakeVosk, *voices: tuple[int, int], opened: Iterable[str] = ("ready", "yes", "no")) -> list[Hearing]:
    """Return what the ear hears in five seconds with voices at `voices`."""
    activity = Voiced(*voices)
    ear = ear_for(vosk, activity)
    ear.open(frozenset(opened))
    found: list[Hearing] = []
    nothing = np.zeros(BLOCK, np.float32)
    for at in range(0, to_samples(5.0), BLOCK):
        activity.at(at + BLOCK)
        found += ear.feed(Captured(at, nothing, nothing, nothing))
    return found


def test_a_short_utterance_that_is_one_wording_is_heard_when_it_is_over(vosk: FakeVosk) -> None:
    vosk.says = [Said(((0, "i"), (to_samples(0.9), "i am ready")), "i am ready", 0.8)]

    (heard,) = hear(vosk, SHORT)

    assert (heard.ear, heard.kind, heard.word, heard.score) == ("vosk", "word", "ready", 0.8)
    assert (heard.began, heard.ended) == SHORT
    assert heard.ended < heard.at <= heard.ended + BLOCK


@pytest.mark.parametrize("text", ["ready tea", "yes no", "tea ready", "ready ready", "", "tea", "[unk]"])
def test_anything_but_one_wording_is_no_word(vosk: FakeVosk, text: str) -> None:
    vosk.says = [Said(final=text)]

    assert hear(vosk, SHORT) == []


def test_a_sentence_mistaken_for_a_word_is_no_word_at_any_confidence(vosk: FakeVosk) -> None:
    vosk.says = [Said(final="ready", confidence=1.0)]

    assert hear(vosk, LONG) == []


def test_confidence_is_reported_and_decides_nothing(vosk: FakeVosk) -> None:
    vosk.says = [Said(final="ready", confidence=0.01)]

    assert [(heard.word, heard.score) for heard in hear(vosk, SHORT)] == [("ready", 0.01)]


def test_this_ear_alone_never_means_ready(vosk: FakeVosk) -> None:
    vosk.says = [Said(final="ready", confidence=1.0)]
    heard = hear(vosk, SHORT)

    _, outcomes = listen(open_for(Listening(HALTS), {"ready"}), heard, heard[-1].at + to_samples(2))

    assert [type(outcome) for outcome in outcomes] == [Unclear]


def test_a_halt_is_reported_while_the_voice_still_sounds_and_once(vosk: FakeVosk) -> None:
    vosk.says = [Said(((to_samples(0.8), "stop"),), "stop")]

    (heard,) = hear(vosk, SHORT, opened=())

    assert (heard.word, heard.score) == ("stop", IN_PASSING)
    assert heard.at < SHORT[1]


def test_a_halt_in_a_single_partial_result_is_no_halt(vosk: FakeVosk) -> None:
    seen = to_samples(0.8)
    vosk.says = [Said(((seen, "stop"), (seen + LOOK_EVERY, "stop i"), (seen + 2 * LOOK_EVERY, "yes")), "yes")]

    assert [heard.word for heard in hear(vosk, SHORT)] == ["yes"]


@pytest.mark.parametrize(("text", "voice"), [("stop now stop halt", LONG), ("tea stop", SHORT), ("stop tea", SHORT)])
def test_halts_in_a_row_and_a_halt_in_a_short_utterance_halt(vosk: FakeVosk, text: str, voice: tuple[int, int]) -> None:
    vosk.says = [Said(final=text)]

    assert [heard.word for heard in hear(vosk, voice)] == ["stop"]


def test_a_halt_inside_a_long_sentence_does_not_halt(vosk: FakeVosk) -> None:
    vosk.says = [Said(((0, "tea"),), "tea stop tea")]

    assert hear(vosk, LONG) == []


def test_without_a_voice_the_engine_does_no_work(vosk: FakeVosk) -> None:
    assert hear(vosk) == []
    assert vosk.grammars == []


def test_the_list_holds_what_is_open_the_halts_and_the_decoys_that_are_known(vosk: FakeVosk) -> None:
    hear(vosk, SHORT, opened=("yes",))

    assert vosk.grammars == [["stop", "stop now", "halt", "yes", "tea", "[unk]"]]


def test_wordings_that_the_model_lacks_are_left_out_and_reported(vosk: FakeVosk) -> None:
    ear = ear_for(vosk, Voiced())
    ear.open(frozenset(REPLIES))

    assert ear.unknown == ("yupp",)
    assert not {"yupp", "glorp"} & set(ear.grammar)


def test_an_unknown_korean_word_is_heard_in_parts_that_are_known(monkeypatch: pytest.MonkeyPatch) -> None:
    vosk = FakeVosk(frozenset({"멈춰", "멈", "춰", "요", "준비", "됐어요"}))
    monkeypatch.setitem(sys.modules, "vosk", vosk)
    replies = {"stop": ReplyWords("멈춰요"), "ready": ReplyWords("준비됐어요"), "why": ReplyWords("왜요")}
    ear = Vosk(vosk.Model("here"), replies, HALTS, activity=Voiced())
    ear.open(frozenset(replies))

    assert ear.grammar == ("멈춰 요", "준비 됐어요")
    assert ear.unknown == ("왜요",)


def test_a_model_that_knows_no_halt_is_refused(vosk: FakeVosk) -> None:
    vosk.vocabulary = frozenset({"ready", "tea"})

    with pytest.raises(HearingError, match="no word for any halt, so it is of another language"):
        ear_for(vosk, Voiced())


def test_the_list_is_never_empty_even_if_nothing_is_open(vosk: FakeVosk) -> None:
    vosk.says = [Said(final="stop")]

    assert [heard.word for heard in hear(vosk, SHORT, opened=())] == ["stop"]
    assert vosk.grammars[0]


def test_a_question_that_opens_in_mid_utterance_changes_no_list_that_has_heard_sound(vosk: FakeVosk) -> None:
    activity = Voiced(SHORT, (SHORT[1] + BLOCK, SHORT[1] + 20 * BLOCK))
    ear = ear_for(vosk, activity)
    ear.open(frozenset({"yes"}))
    nothing = np.zeros(BLOCK, np.float32)
    for at in range(0, to_samples(5.0), BLOCK):
        activity.at(at + BLOCK)
        ear.feed(Captured(at, nothing, nothing, nothing))
        if at > BEGAN:
            ear.open(frozenset({"ready"}))

    assert [("yes" in grammar, "ready" in grammar) for grammar in vosk.grammars] == [(True, False), (False, True)]


def test_an_utterance_that_the_engine_ends_itself_counts_as_a_whole(vosk: FakeVosk) -> None:
    vosk.says = [Said(final="ready", ends_at=to_samples(0.8))]
    assert [heard.word for heard in hear(vosk, SHORT)] == ["ready"]

    vosk.says = [Said(final="stop", ends_at=to_samples(0.8))]
    assert [heard.at < SHORT[1] for heard in hear(vosk, SHORT)] == [True]


@pytest.fixture
def given(monkeypatch: pytest.MonkeyPatch) -> list[np.ndarray]:
    """Collect the recogniser's input, as numbers."""
    sounds: list[np.ndarray] = []
    accept: Callable[[FakeRecogniser, bytes], int] = FakeRecogniser.AcceptWaveform

    def keep(self: FakeRecogniser, sound: bytes) -> int:
        sounds.append(np.frombuffer(sound, "<i2"))
        return accept(self, sound)

    monkeypatch.setattr(FakeRecogniser, "AcceptWaveform", keep)
    return sounds


def feed(vosk: FakeVosk, level: float, *voices: tuple[int, int]) -> None:
    """Feed the ear a constant signal, with voices at `voices` and the coach cancelled."""
    activity, ended = Voiced(*voices), voices[-1][1]
    ear = ear_for(vosk, activity)
    coach, clean = np.full(BLOCK, -0.5, np.float32), np.full(BLOCK, level, np.float32)
    for at in range(0, ended + 2 * BLOCK, BLOCK):
        activity.at(at + BLOCK)
        ear.feed(Captured(at, coach, coach, clean))


def test_it_hears_the_signal_without_the_coach_from_before_the_voice_was_noticed(
    vosk: FakeVosk, given: list[np.ndarray]
) -> None:
    feed(vosk, 0.25, SHORT)

    sound = np.concatenate(given)
    assert set(sound) == {int(0.25 * 32767)}
    assert abs(len(sound) - (SHORT[1] - SHORT[0]) - PRE_ROLL) <= 2 * BLOCK


def test_sound_beyond_full_scale_does_not_turn_over(vosk: FakeVosk, given: list[np.ndarray]) -> None:
    feed(vosk, 1.7, SHORT)

    assert set(np.concatenate(given)) == {32767}


def test_an_utterance_that_follows_at_once_holds_nothing_of_the_last_one(
    vosk: FakeVosk, given: list[np.ndarray]
) -> None:
    feed(vosk, 0.25, SHORT)
    once = sum(map(len, given))
    given.clear()

    feed(vosk, 0.25, SHORT, (SHORT[1] + 2 * BLOCK, SHORT[1] + 10 * BLOCK))

    assert len(vosk.grammars) == 3
    assert sum(map(len, given)) - once <= 10 * BLOCK
