from __future__ import annotations

import numpy as np
import pytest
from heard_rooms import REPLIES, Voice, blocks, room

from coach.ears.activity import Activity
from coach.ears.enrolment import Enrolment
from coach.ears.features import EMBEDDING_STEP, Embedder
from coach.ears.front import Ears
from coach.ears.matching import Match
from coach.ears.takes import TakeMaker
from coach.ears.taught import Taught
from coach.ports import Block, Captured, Hearing
from coach.tempo.units import BLOCK, RATE, to_samples
from coach.words.replies import Listening, Outcome, Unclear, listen, open_for


@pytest.fixture(scope="module")
def shared(maker: TakeMaker) -> Embedder:
    return maker._embedder


def words_in(
    enrolment: Enrolment, captured: list[Captured], embedder: Embedder, *, gate: bool = True
) -> tuple[list[Hearing], Taught]:
    activity = Activity()
    taught = Taught(enrolment, activity=activity if gate else None, embedder=embedder)
    ears = Ears([activity, taught])
    return [hearing for block in captured for hearing in ears.feed(block) if hearing.ear == "taught"], taught


@pytest.fixture(scope="module")
def sequence(voice: Voice) -> Block:
    """All words once, 2 s apart, at a speed that was not taught."""
    clips = [(1.0 + 2.0 * number, voice(reply.word)) for number, reply in enumerate(REPLIES.values())]
    return room(2.0 * len(clips) + 2.0, *clips)


def test_each_word_is_heard_once_at_its_place(
    enrolment: Enrolment, sequence: Block, shared: Embedder, voice: Voice
) -> None:
    found, _ = words_in(enrolment, blocks(sequence), shared)

    assert [hearing.word for hearing in found] == list(REPLIES)
    for number, (name, hearing) in enumerate(zip(REPLIES, found, strict=True)):
        end = to_samples(1.0 + 2.0 * number) + len(voice(REPLIES[name].word))
        assert abs(hearing.ended - end) < to_samples(0.3 if name == "stop" else 0.2)
        assert hearing.ended <= hearing.at
        assert hearing.at - end < to_samples(0.4 if name == "stop" else 0.7)


def test_waking_by_the_voice_loses_no_word_and_saves_work(
    enrolment: Enrolment, sequence: Block, shared: Embedder
) -> None:
    woken, lazy = words_in(enrolment, blocks(sequence), shared)
    always, busy = words_in(enrolment, blocks(sequence), shared, gate=False)

    assert [hearing.word for hearing in woken] == [hearing.word for hearing in always]
    assert lazy.embedded < busy.embedded


class Napping(Activity):
    """Sleeps for a second of every two."""

    def awake(self, at: int) -> bool:
        return at // RATE % 2 == 0


def test_whoever_sleeps_a_little_hears_again_only_what_was_slept_through(
    enrolment: Enrolment, sequence: Block, shared: Embedder
) -> None:
    always = Taught(enrolment, embedder=shared)
    napping = Taught(enrolment, activity=Napping(), embedder=Embedder())
    sound = blocks(sequence[: 11 * RATE])
    for block in sound:
        always.feed(block)
        napping.feed(block)

    assert napping.embedded == always.embedded


def test_other_people_silence_and_noise_say_no_word(
    enrolment: Enrolment, other_speech: Block, shared: Embedder
) -> None:
    sound = np.concatenate([room(2), other_speech, room(2, noise=-40)])

    found, _ = words_in(enrolment, blocks(sound), shared)

    assert found == []


def test_a_word_said_twice_is_heard_twice(enrolment: Enrolment, voice: Voice, shared: Embedder) -> None:
    found, _ = words_in(enrolment, blocks(room(4, (1.0, voice("stop")), (1.9, voice("stop")))), shared)

    assert [hearing.word for hearing in found] == ["stop", "stop"]


def test_the_cancelled_signal_is_matched_while_the_coach_sounds(
    enrolment: Enrolment, voice: Voice, shared: Embedder
) -> None:
    clean = room(4, (1.0, voice("stop")))
    loud = np.random.default_rng(2).normal(0, 0.3, len(clean)).astype(np.float32)

    found, _ = words_in(enrolment, blocks(clean + loud, played=loud, clean=clean), shared)

    assert [hearing.word for hearing in found] == ["stop"]


class Deaf:
    """A detector that never knows a voice, but may have a hint of one."""

    def process_samples(self, samples: list[float]) -> float:
        return 0.1 if samples else 0.0

    def reset(self) -> None:
        """Do nothing: it has no memory."""


def through_deaf_detector(
    enrolment: Enrolment, sound: Block, shared: Embedder, monkeypatch: pytest.MonkeyPatch
) -> list[Hearing]:
    activity = Activity()
    monkeypatch.setattr(activity, "_detector", Deaf())
    ears = Ears([activity, Taught(enrolment, activity=activity, embedder=shared)])
    return [hearing for block in blocks(sound) for hearing in ears.feed(block)]


def test_a_halt_is_heard_even_if_the_detector_knows_no_voice(
    enrolment: Enrolment, voice: Voice, shared: Embedder, monkeypatch: pytest.MonkeyPatch
) -> None:
    found = through_deaf_detector(enrolment, room(5, (2.0, voice("stop"))), shared, monkeypatch)

    assert [(hearing.kind, hearing.word) for hearing in found] == [("word", "stop")]
    assert found[0].at / RATE < 2.0 + len(voice("stop")) / RATE + 0.5


def test_an_uncertain_word_without_a_voice_holds_a_set_and_starts_nothing(
    enrolment: Enrolment, voice: Voice, shared: Embedder, monkeypatch: pytest.MonkeyPatch
) -> None:
    word = voice("ready")
    found = through_deaf_detector(enrolment, room(5, (2.0, word)), shared, monkeypatch)
    state = open_for(Listening(frozenset({"stop"})), {"ready"}, working=True)
    held: list[Outcome] = []
    for at in range(0, 5 * RATE, BLOCK):
        state, outcomes = listen(state, [h for h in found if at < h.at <= at + BLOCK], at + BLOCK)
        held += outcomes

    assert [hearing.kind for hearing in found] == ["voice_began", "voice_ended"]
    assert [type(outcome) for outcome in held] == [Unclear]
    assert held[0].at / RATE < 2.0 + len(word) / RATE + 1.5


@pytest.mark.parametrize(("surer", "found"), [(np.inf, []), (0.0, ["voice_began", "voice_ended"])])
def test_a_word_without_a_hint_of_the_detector_is_a_voice_only_if_it_is_certain(
    enrolment: Enrolment,
    voice: Voice,
    shared: Embedder,
    monkeypatch: pytest.MonkeyPatch,
    surer: float,
    found: list[str],
) -> None:
    monkeypatch.setattr("coach.ears.activity.HINT", 0.2)
    monkeypatch.setattr("coach.ears.matching.Matcher.unvoiced", surer)

    hearings = through_deaf_detector(enrolment, room(5, (2.0, voice("ready"))), shared, monkeypatch)

    assert [hearing.kind for hearing in hearings] == found


@pytest.mark.parametrize(
    ("sureness", "hinted", "heard"),
    [(0.5, True, ["stop"]), (1.5, True, ["ready", "stop"]), (0.5, False, []), (1.5, False, ["stop"])],
)
def test_without_a_voice_a_word_needs_a_high_score_and_a_hint_and_a_halt_one_of_them(
    enrolment: Enrolment, sureness: float, *, hinted: bool, heard: list[str]
) -> None:
    taught = Taught(enrolment)
    taught._matcher.unvoiced = 1.0
    ready, stop = taught.words.index("ready"), taught.words.index("stop")

    def decided(word: int, at: int) -> list[str]:
        scores = np.full(len(taught.words), -5.0, np.float32)
        scores[word] = taught._limits[word] + sureness
        ended = np.full(len(scores), at, np.int64)
        falls = np.full(len(scores), -5.0, np.float32)
        matches = [Match(scores, ended - RATE // 2, ended), *(Match(falls, ended, ended) for _ in range(3))]
        made = [
            taught._decide(match, at + number * EMBEDDING_STEP, voiced=False, hinted=hinted)
            for number, match in enumerate(matches)
        ]
        return [hearing.word for hearing in made if hearing]

    assert decided(ready, RATE) + decided(stop, 4 * RATE) == heard


class Unsure(Activity):
    """An activity that is awake without knowing a voice."""

    def awake(self, at: int) -> bool:
        return at >= 0

    def voiced(self, at: int) -> bool:
        return at < 0

    def hinted(self, at: int) -> bool:
        return at >= 0


@pytest.mark.parametrize(("word", "heard"), [("stop", ["stop"]), ("ready", ["", ""])])
def test_a_sound_that_may_be_no_voice_can_only_halt(
    enrolment: Enrolment, voice: Voice, shared: Embedder, word: str, heard: list[str]
) -> None:
    taught = Taught(enrolment, activity=Unsure(), embedder=shared)

    found = [hearing for block in blocks(room(3, (1.0, voice(word)))) for hearing in taught.feed(block)]

    assert [hearing.word for hearing in found] == heard


def test_the_microphone_is_matched_while_the_coach_is_silent(
    enrolment: Enrolment, voice: Voice, shared: Embedder
) -> None:
    mic = room(4, (1.0, voice("yes")))
    captured = blocks(mic, clean=mic * 0.5)

    found, _ = words_in(enrolment, captured, shared, gate=False)
    same, _ = words_in(enrolment, blocks(mic), shared, gate=False)

    assert found == same


def test_a_word_is_heard_alike_wherever_it_falls_in_the_blocks(
    enrolment: Enrolment, voice: Voice, shared: Embedder
) -> None:
    mic = room(3, (1.0, voice("ready")))
    whole, _ = words_in(enrolment, blocks(mic), shared)
    shifted, _ = words_in(enrolment, blocks(mic[160:]), shared)

    assert [hearing.word for hearing in whole] == [hearing.word for hearing in shifted] == ["ready"]


def test_scores_are_between_zero_and_one(enrolment: Enrolment, sequence: Block, shared: Embedder) -> None:
    found, _ = words_in(enrolment, blocks(sequence[: 6 * RATE]), shared)

    assert found
    assert all(0 <= hearing.score <= 1 for hearing in found)


def test_sound_that_still_resembles_the_reported_word_is_no_halt(enrolment: Enrolment) -> None:
    taught = Taught(enrolment)
    ready, stop = taught.words.index("ready"), taught.words.index("stop")

    def match(likeliest: int, at: int) -> Match:
        scores = np.zeros(len(taught.words), np.float32)
        scores[stop] = 0.9
        scores[likeliest] = 0.95
        ended = np.full(len(scores), at, np.int64)
        return Match(scores, ended - RATE // 2, ended)

    first = [taught._decide(match(ready, at), at) for at in (RATE, RATE + 1280, RATE + 2560)]
    after = taught._decide(match(ready, RATE + 3840), RATE + 3840)
    halt = taught._decide(match(stop, RATE + 5120), RATE + 5120)

    assert [hearing.word for hearing in first if hearing] == ["ready"]
    assert after is None
    assert halt is not None
    assert halt.word == "stop"
