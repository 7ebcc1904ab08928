from __future__ import annotations

from collections import Counter
from collections.abc import Iterable
from dataclasses import replace

import pytest
from budget import draws
from hypothesis import assume, given, settings
from hypothesis import strategies as st
from hypothesis.stateful import RuleBasedStateMachine, invariant, rule

from coach.ports import Hearing
from coach.tempo.units import to_samples
from coach.words.replies import (
    GOES_ON,
    GRACE,
    KEYS,
    LONGEST_VOICE,
    MOST_KEPT,
    SHORTEST_VOICE,
    TOGETHER,
    TRUSTED,
    Listening,
    Noted,
    Outcome,
    Unclear,
    Understood,
    listen,
    open_for,
)

HALTS = frozenset({"stop"})
SECOND = to_samples(1.0)
START = Listening(HALTS)
ASKED = open_for(START, {"ready", "yes", "no", "n3", "n10"})


def word(name: str, at: int, *, ear: str = "taught", length: int = SECOND // 2) -> Hearing:
    return Hearing(ear, "word", name, 0.9, at - length, at, at)


def began(at: int) -> Hearing:
    return Hearing("activity", "voice_began", "", 0.9, at, at, at)


def ended(begin: int, at: int) -> Hearing:
    return Hearing("activity", "voice_ended", "", 0.1, begin, at, at)


def run(state: Listening, hearings: list[Hearing], until: int) -> list[Outcome]:
    """Feed hearings at their own times, in steps of 20 ms; return all outcomes."""
    outcomes: list[Outcome] = []
    waiting = sorted(hearings, key=lambda hearing: hearing.at)
    for now in range(0, until + 1, to_samples(0.02)):
        due = [hearing for hearing in waiting if hearing.at <= now]
        waiting = waiting[len(due) :]
        state, some = listen(state, due, now)
        outcomes += some
    return outcomes


def replies(outcomes: Iterable[Outcome]) -> list[tuple[str, int | None] | None]:
    """Return reply and number of each outcome, None for an unclear one; words only noted are left out."""
    acted_on = [out for out in outcomes if not isinstance(out, Noted)]
    return [(out.reply, out.number) if isinstance(out, Understood) else None for out in acted_on]


def decisions(outcomes: Iterable[Outcome]) -> list[str]:
    return [out.decision for out in outcomes]


@pytest.mark.parametrize("ear", ["taught", "keys", "page", "vosk"])
@pytest.mark.parametrize("state", [START, ASKED])
def test_a_halt_word_of_any_ear_is_understood_at_once_open_or_not(ear: str, state: Listening) -> None:
    stop = word("stop", SECOND, ear=ear)

    _, outcomes = listen(state, [stop], SECOND)

    assert outcomes == (Understood("stop", None, ear, SECOND, (stop,), "halted"),)


def test_a_voice_that_goes_on_through_a_set_is_unclear_again_and_again() -> None:
    working = open_for(START, {"stop"}, working=True)

    outcomes = run(working, [began(0)], 5 * GOES_ON + 1)

    assert len(outcomes) == 5
    assert all(isinstance(outcome, Unclear) for outcome in outcomes)


def test_a_voice_that_began_before_the_set_holds_it_too() -> None:
    state, _ = listen(START, [began(0)], 0)
    state, before = listen(state, [], 10 * SECOND)

    outcomes = run(open_for(state, {"stop"}, working=True), [], 2 * SECOND)

    assert [type(one) for one in (*before, *outcomes)] == [Unclear, Unclear]


def test_a_voice_that_held_a_set_is_not_unclear_again_when_it_ends() -> None:
    working = open_for(START, {"stop"}, working=True)
    state, _ = listen(working, [began(0)], 0)
    state, held = listen(state, [], GOES_ON)

    after = run(open_for(state, {"ready"}), [ended(0, GOES_ON + SECOND)], 6 * SECOND)

    assert [type(one) for one in held] == [Unclear]
    assert after == []


def test_a_short_louder_word_over_a_voice_in_a_set_is_not_taken_for_a_cough() -> None:
    working = open_for(START, {"stop"}, working=True)
    unclear_at, nearer = GOES_ON, GOES_ON + SECOND // 10
    heard = [began(0), ended(0, nearer), began(nearer), ended(nearer, nearer + SECOND // 8)]

    outcomes = run(working, heard, 4 * SECOND)

    assert [outcome.at // (SECOND // 10) for outcome in outcomes] == [
        unclear_at // (SECOND // 10),
        (nearer + SECOND // 8 + GRACE) // (SECOND // 10),
    ]


def test_more_speech_in_a_set_after_an_unclear_voice_is_unclear_too() -> None:
    working = open_for(START, {"stop"}, working=True)

    outcomes = run(working, [began(0), ended(0, 2 * SECOND)], 7 * SECOND)

    assert [type(one) for one in outcomes] == [Unclear, Unclear]


def test_outside_a_set_a_voice_that_goes_on_is_unclear_once() -> None:
    assert len(run(ASKED, [began(0)], 20 * SECOND)) == 1


def test_a_reply_in_a_set_is_not_unclear_as_well() -> None:
    working = open_for(START, {"slower"}, working=True)
    heard = [began(0), word("slower", SECOND, length=SECOND), ended(0, 2 * SECOND)]

    assert replies(run(working, heard, 6 * SECOND)) == [("slower", None)]


def test_an_open_reply_is_understood_once_although_the_voice_goes_on() -> None:
    outcomes = run(ASKED, [began(SECOND), word("ready", 2 * SECOND), ended(SECOND, 3 * SECOND)], 6 * SECOND)

    assert replies(outcomes) == [("ready", None)]
    assert outcomes[0].at == 2 * SECOND


@pytest.mark.parametrize(("name", "number"), [("n3", 3), ("n10", 10)])
def test_a_number_word_is_a_number(name: str, number: int) -> None:
    _, outcomes = listen(ASKED, [word(name, SECOND)], SECOND)

    assert replies(outcomes) == [("number", number)]


def test_no_is_not_taken_for_a_number() -> None:
    _, outcomes = listen(ASKED, [word("no", SECOND)], SECOND)

    assert replies(outcomes) == [("no", None)]


def test_speech_without_a_word_is_unclear_once_after_the_grace() -> None:
    end = to_samples(1.6)

    outcomes = run(ASKED, [began(SECOND), ended(SECOND, end)], 6 * SECOND)

    assert len(outcomes) == 1
    assert isinstance(outcomes[0], Unclear)
    assert end + GRACE <= outcomes[0].at <= end + GRACE + to_samples(0.02)


def test_a_closed_reply_is_unclear_and_kept_for_the_record() -> None:
    why = word("why", to_samples(1.5))

    outcomes = run(ASKED, [began(SECOND), why, ended(SECOND, to_samples(1.6))], 6 * SECOND)

    assert replies(outcomes) == [None]
    assert outcomes[0].hearings == (why,)


def test_a_closed_key_is_unclear_too() -> None:
    outcomes = run(ASKED, [word("why", SECOND, ear="keys", length=0)], 3 * SECOND)

    assert replies(outcomes) == [None]


def test_a_word_that_comes_within_the_grace_is_still_understood() -> None:
    end = to_samples(1.5)

    outcomes = run(ASKED, [began(SECOND), ended(SECOND, end), word("yes", end + GRACE // 2)], 6 * SECOND)

    assert replies(outcomes) == [("yes", None)]


def test_a_very_short_voice_is_ignored() -> None:
    outcomes = run(ASKED, [began(SECOND), ended(SECOND, SECOND + to_samples(0.15))], 4 * SECOND)

    assert outcomes == []


def test_talk_that_does_not_end_is_unclear_once() -> None:
    outcomes = run(ASKED, [began(SECOND), ended(SECOND, 20 * SECOND)], 25 * SECOND)

    assert replies(outcomes) == [None]
    assert outcomes[0].at <= SECOND + LONGEST_VOICE + to_samples(0.02)


def test_a_short_pause_inside_an_utterance_makes_no_second_one() -> None:
    parts = [began(SECOND), ended(SECOND, to_samples(1.5)), began(to_samples(1.7)), ended(SECOND, to_samples(2.4))]

    outcomes = run(ASKED, parts, 6 * SECOND)

    assert replies(outcomes) == [None]


def test_silence_brings_nothing() -> None:
    assert run(ASKED, [], 60 * SECOND) == []


def test_an_ear_that_is_not_trusted_alone_needs_a_second_one() -> None:
    alone = run(ASKED, [word("ready", 2 * SECOND, ear="vosk")], 6 * SECOND)
    together = run(
        ASKED, [word("ready", 2 * SECOND, ear="vosk"), word("ready", to_samples(2.1), ear="other")], 6 * SECOND
    )

    assert replies(alone) == [None]
    assert replies(together) == [("ready", None)]
    assert len(together[0].hearings) == 2


def test_the_same_word_of_a_second_ear_is_not_a_second_reply() -> None:
    outcomes = run(ASKED, [word("yes", 2 * SECOND), word("yes", to_samples(2.2), ear="vosk")], 6 * SECOND)

    assert replies(outcomes) == [("yes", None)]
    assert decisions(outcomes) == ["understood", "agreed"]


@pytest.mark.parametrize("order", [(0, 1), (1, 0)])
@pytest.mark.parametrize("ears", [("taught", "vosk"), ("vosk", "other")])
def test_two_ears_that_name_different_words_for_one_sound_are_not_understood(
    order: tuple[int, int], ears: tuple[str, str]
) -> None:
    heard = (word("ready", 2 * SECOND, ear=ears[0]), word("no", 2 * SECOND, ear=ears[1]))

    _, outcomes = listen(ASKED, [heard[index] for index in order], 2 * SECOND)

    assert replies(outcomes) == [None]
    assert {hearing.word for out in outcomes for hearing in out.hearings} == {"ready", "no"}
    assert decisions(outcomes) == ["disagreed", "late"]


def test_an_ear_that_contradicts_a_word_already_acted_on_makes_it_unclear() -> None:
    ready, other = word("ready", 2 * SECOND), word("no", to_samples(2.7), ear="vosk", length=to_samples(1.2))

    outcomes = run(ASKED, [ready, other], 6 * SECOND)

    assert replies(outcomes) == [("ready", None), None]
    assert [out.hearings for out in outcomes] == [(ready,), (other,)]
    assert decisions(outcomes) == ["understood", "disagreed"]


def test_a_later_word_for_a_sound_without_effect_counts_only_if_it_is_the_same_word() -> None:
    early, late = word("no", 2 * SECOND, ear="vosk"), to_samples(2.9)

    for other, expected in (("ready", [None]), ("no", [None, ("no", None)])):
        outcomes = run(ASKED, [early, word(other, late, length=to_samples(1.3))], 6 * SECOND)
        assert replies(outcomes) == expected, other


@pytest.mark.parametrize("pressed", ["keys", "page"])
def test_a_key_that_means_another_word_does_not_make_an_ear_trusted(pressed: str) -> None:
    outcomes = run(
        ASKED, [word("pause", 2 * SECOND, ear=pressed, length=0), word("ready", 2 * SECOND, ear="vosk")], 6 * SECOND
    )

    assert replies(outcomes) == [None]


@pytest.mark.parametrize("ear", ["vosk", "keys", "taught"])
def test_a_word_that_began_before_a_halt_does_not_undo_it(ear: str) -> None:
    stop = word("stop", 2 * SECOND, ear=ear, length=SECOND // 8)
    outcomes = run(ASKED, [stop, word("ready", to_samples(2.4))], 6 * SECOND)

    assert replies(outcomes) == [("stop", None)]
    assert decisions(outcomes) == ["halted", "late"]


def test_a_word_after_a_halt_is_understood() -> None:
    asked = open_for(START, {"pain"})
    outcomes = run(asked, [word("stop", 2 * SECOND, ear="vosk"), word("pain", to_samples(2.6))], 6 * SECOND)

    assert replies(outcomes) == [("stop", None), ("pain", None)]


def test_a_key_is_believed_whatever_an_ear_heard() -> None:
    outcomes = run(ASKED, [word("no", 2 * SECOND), word("yes", 2 * SECOND, ear="keys", length=0)], 6 * SECOND)

    assert replies(outcomes) == [("no", None), ("yes", None)]


def test_two_words_one_after_the_other_are_no_disagreement() -> None:
    outcomes = run(ASKED, [word("no", 2 * SECOND), word("yes", 4 * SECOND, ear="taught")], 6 * SECOND)

    assert replies(outcomes) == [("no", None), ("yes", None)]


WORDS = ("ready", "yes", "no", "n3", "pain")
UTTERED = st.tuples(st.sampled_from(WORDS), st.integers(0, SECOND), st.integers(0, 4 * SECOND))


@given(words=st.lists(UTTERED, max_size=8), voice=st.booleans())
def test_an_ear_that_is_not_trusted_alone_can_only_halt(words: list[tuple[str, int, int]], voice: bool) -> None:
    heard = [word(name, SECOND + at, ear="vosk", length=length) for name, length, at in words]
    voices = [began(SECOND // 2), ended(SECOND // 2, 5 * SECOND)] if voice else []
    everything = open_for(START, WORDS)

    outcomes = run(everything, [*voices, *heard], 8 * SECOND)

    assert all(reply is None for reply in replies(outcomes))


@given(
    one=st.sampled_from(WORDS), other=st.sampled_from(WORDS), apart=st.integers(0, TOGETHER), ears=st.permutations(
        ["taught", "vosk", "third"])
)  # fmt: skip
def test_ears_that_disagree_can_only_halt(one: str, other: str, apart: int, ears: list[str]) -> None:
    assume(one != other)
    first = word(one, 2 * SECOND, ear=ears[0])
    second = Hearing(ears[1], "word", other, 0.9, 2 * SECOND + apart, 3 * SECOND, 3 * SECOND)

    _, outcomes = listen(open_for(START, WORDS), [first, second], 3 * SECOND)

    assert replies(outcomes) == [None]


@given(
    before=st.lists(st.tuples(UTTERED, st.sampled_from(["taught", "vosk", "keys", "page"])), max_size=6),
    ear=st.sampled_from(["taught", "vosk", "keys", "third"]),
    opened=st.sets(st.sampled_from(WORDS)),
)
def test_a_halt_of_any_ear_always_halts_whatever_the_others_heard(
    before: list[tuple[tuple[str, int, int], str]], ear: str, opened: set[str]
) -> None:
    heard = [word(name, SECOND + at, ear=other, length=length) for (name, length, at), other in before]
    halt = word("stop", to_samples(3.3), ear=ear)

    outcomes = run(open_for(START, opened), [*heard, halt], 8 * SECOND)

    (halted,) = [out for out in outcomes if isinstance(out, Understood) and out.reply == "stop"]
    assert (halted.decision, halted.hearings[-1]) == ("halted", halt)


@given(words=st.lists(st.tuples(UTTERED, st.sampled_from(["taught", "vosk", "keys", "third"])), max_size=8))
def test_every_word_of_every_ear_reaches_the_record(words: list[tuple[tuple[str, int, int], str]]) -> None:
    heard = [word(name, SECOND + at, ear=ear, length=length) for (name, length, at), ear in words]

    outcomes = run(open_for(START, {"ready", "n3"}), heard, 12 * SECOND)

    assert Counter(heard) == Counter(hearing for out in outcomes for hearing in out.hearings)


def test_the_ears_trusted_alone_are_the_taught_words_and_what_is_pressed() -> None:
    assert {"taught", "keys", "page"} == TRUSTED


def test_no_key_but_its_own_means_ready_and_enter_means_nothing() -> None:
    assert [key for key, reply in KEYS.items() if reply == "ready"] == ["r"]
    assert not {"\n", "\r"} & set(KEYS)
    assert KEYS[" "] == "stop"


class AnyoneSpeaking(RuleBasedStateMachine):
    """Random hearings in time: what must hold whatever is heard."""

    def __init__(self) -> None:
        super().__init__()
        self.now = SECOND
        self.state = START
        self.voice: int | None = None
        self.spoken_since_unclear = False
        self.last_reply: Hearing | None = None

    def feed(self, *hearings: Hearing) -> tuple[Outcome, ...]:
        before = self.state.open
        self.state, outcomes = listen(self.state, hearings, self.now)
        given = {hearing.word for hearing in hearings}
        for hearing in hearings:
            if hearing.word in HALTS and not self.doubled(hearing):
                assert any(isinstance(out, Understood) and out.reply == "stop" for out in outcomes)
        for outcome in outcomes:
            if isinstance(outcome, Understood):
                assert outcome.hearings
                name = outcome.hearings[-1].word
                assert name in given, "a reply nobody gave"
                assert name in HALTS or name in before, "a reply that was not open"
                self.last_reply = outcome.hearings[-1]
                self.spoken_since_unclear = False
            elif isinstance(outcome, Unclear):
                assert self.spoken_since_unclear, "unclear although nobody spoke"
                self.spoken_since_unclear = False
        return outcomes

    def doubled(self, hearing: Hearing) -> bool:
        last = self.last_reply
        return last is not None and last.word == hearing.word and last.ear != hearing.ear

    @rule(step=st.integers(1, 3 * SECOND))
    def time_passes(self, step: int) -> None:
        self.now += step
        self.feed()

    @rule(words=st.sets(st.sampled_from(["ready", "yes", "n3"])))
    def a_question_is_asked(self, words: set[str]) -> None:
        self.state = open_for(self.state, words)

    @rule(
        name=st.sampled_from(["stop", "ready", "yes", "no", "n3", "pain"]),
        ear=st.sampled_from(["taught", "keys", "vosk"]),
        length=st.integers(0, SECOND),
    )
    def somebody_says_a_word(self, name: str, ear: str, length: int) -> None:
        self.spoken_since_unclear = True
        self.feed(word(name, self.now, ear=ear, length=length))

    @rule()
    def a_voice_begins(self) -> None:
        if self.voice is None:
            self.voice = self.now
            self.spoken_since_unclear = True
            self.feed(began(self.now))

    @rule()
    def a_voice_ends(self) -> None:
        if self.voice is not None:
            begin, self.voice = self.voice, None
            self.feed(ended(begin, self.now))

    @invariant()
    def memory_is_bounded(self) -> None:
        assert len(self.state.kept) <= MOST_KEPT


AnyoneSpeaking.TestCase.settings = settings(max_examples=draws(50, 150), stateful_step_count=40, deadline=None)
test_anyone_speaking = AnyoneSpeaking.TestCase


# -- what lies on an edge ----------------------------------------------------------------------------------------------

WORKING = open_for(START, {"slower"}, working=True)
TENTH = SECOND // 10


def at(hearing: Hearing, begin: int, end: int) -> Hearing:
    """Return the same word elsewhere in time."""
    return replace(hearing, began=begin, ended=end, at=end)


def test_what_is_opened_or_closed_leaves_an_utterance_as_it_is_unless_it_was_only_held_for_a_set() -> None:
    speaking, _ = listen(START, [began(5)], 5)
    in_set, _ = listen(WORKING, [began(0)], GOES_ON)

    assert open_for(speaking, {"ready"}).began == 5
    assert (in_set.began, open_for(in_set, {"stop"}, working=True).began, open_for(in_set, {"ready"}).began) == (
        GOES_ON, GOES_ON, None,
    )  # fmt: skip


def test_ears_that_disagree_are_not_understood_whatever_else_comes_with_them() -> None:
    contradicted = [word("yes", SECOND), word("no", SECOND, ear="vosk"), word("ready", 4 * SECOND, ear="vosk")]

    _, outcomes = listen(ASKED, contradicted, 4 * SECOND)

    assert decisions(outcomes)[0] == "disagreed"
    assert not any(isinstance(outcome, Understood) for outcome in outcomes)


def test_a_voice_in_a_set_that_a_louder_one_covers_is_one_voice() -> None:
    now = GOES_ON + TENTH // 2
    over = [ended(0, GOES_ON - TENTH), began(GOES_ON - TENTH)]
    apart = [over[0], began(GOES_ON - TENTH // 2)]
    held, _ = listen(WORKING, [began(0)], GOES_ON)

    assert listen(held, over, now)[0].due == 2 * GOES_ON
    assert listen(held, apart, now)[0].due == GOES_ON - TENTH + GRACE
    assert listen(held, over[:1], now)[0].due == GOES_ON - TENTH + GRACE


@pytest.mark.parametrize(("begin", "decision"), [(0, "late"), (1, "understood")])
def test_only_a_word_that_begins_after_a_halt_is_a_reply_again(begin: int, decision: str) -> None:
    halted, _ = listen(ASKED, [word("stop", 2 * SECOND)], 2 * SECOND)
    begin += 2 * SECOND

    _, outcomes = listen(halted, [at(word("ready", 0), begin, begin + 1)], begin + 1)

    assert decisions(outcomes) == [decision]


def closed(state: Listening, begin: int, now: int) -> tuple[int | None, list[str]]:
    """Return whether a closed word that began there opens an utterance, and what it comes to."""
    state, outcomes = listen(state, [at(word("left", 0), begin, now)], now)
    return state.began, decisions(outcomes)


def test_a_closed_word_is_an_utterance_of_its_own_only_if_its_sound_was_not_settled() -> None:
    replied, _ = listen(ASKED, [word("ready", SECOND)], SECOND)
    voice, _ = listen(replied, [began(SECOND - 1)], SECOND)

    assert closed(replied, SECOND, SECOND + TENTH) == (None, ["late"])
    assert closed(replied, SECOND + 1, SECOND + TENTH) == (SECOND + 1, [])
    assert closed(voice, SECOND + 1, SECOND + TENTH) == (None, ["late"])


def test_what_was_understood_settles_its_sound_for_a_voice_that_is_noticed_later() -> None:
    for begin, opened in ((SECOND // 2, None), (SECOND, None), (SECOND + 1, SECOND + 1)):
        replied, _ = listen(ASKED, [word("ready", SECOND)], SECOND)

        assert listen(replied, [began(begin)], SECOND + TENTH)[0].began == opened


def test_a_disagreement_settles_its_sound_and_every_word_that_begins_at_once_after_it() -> None:
    apart, _ = listen(ASKED, [word("yes", SECOND), word("no", SECOND, ear="vosk")], SECOND)
    soon = at(word("ready", 0), SECOND + TOGETHER, 2 * SECOND)
    later = at(word("ready", 0), SECOND + TOGETHER + 1, 2 * SECOND)

    assert listen(apart, [began(SECOND)], SECOND + TENTH)[0].began is None
    assert decisions(listen(apart, [soon], 2 * SECOND)[1]) == ["late"]
    assert decisions(listen(apart, [later], 2 * SECOND)[1]) == ["understood"]


def test_neither_ear_of_a_disagreement_settles_it_by_saying_it_again_but_a_key_does() -> None:
    apart, _ = listen(ASKED, [word("yes", SECOND), word("no", SECOND, ear="vosk")], SECOND)
    again = at(word("no", 0), SECOND + TENTH, SECOND + 2 * TENTH)

    assert decisions(listen(apart, [again], again.at)[1]) == ["late"]
    assert decisions(listen(apart, [replace(again, ear="keys")], again.at)[1]) == ["understood"]
    assert decisions(listen(apart, [replace(again, ear="keys", word="ready")], again.at)[1]) == ["understood"]


def test_a_voice_is_no_other_word_for_the_same_sound() -> None:
    _, outcomes = listen(ASKED, [word("ready", SECOND), began(SECOND // 2)], SECOND)

    assert decisions(outcomes) == ["understood"]


@pytest.mark.parametrize(("apart", "decision"), [(TOGETHER, "disagreed"), (TOGETHER + 1, "understood")])
def test_two_ears_tell_of_one_sound_up_to_so_many_samples_apart(apart: int, decision: str) -> None:
    first, second = word("yes", SECOND), word("no", 0, ear="vosk")

    _, outcomes = listen(ASKED, [first, at(second, SECOND + apart, 2 * SECOND)], 2 * SECOND)

    assert decisions(outcomes)[0] == decision


def test_a_voice_in_a_set_that_began_before_a_reply_is_unclear_once_it_goes_on_after_it() -> None:
    outcomes = run(WORKING, [word("slower", SECOND), replace(began(SECOND // 2), at=SECOND + TENTH)], 3 * SECOND)

    assert decisions(outcomes) == ["understood", "unclear"]


def test_a_cough_in_a_set_is_over_when_it_ends_and_a_word_or_a_long_voice_makes_it_none() -> None:
    cough = [began(0), ended(0, SHORTEST_VOICE - 1)]
    kept = word("ready", TENTH, ear="vosk", length=TENTH)
    spoken = [began(0), ended(0, SHORTEST_VOICE)]

    assert run(WORKING, cough, 4 * SECOND) == []
    assert decisions(run(WORKING, spoken, 4 * SECOND)) == ["unclear"]
    assert decisions(run(WORKING, [cough[0], kept, cough[1]], 4 * SECOND)) == ["unclear"]
    assert decisions(run(WORKING, [began(0), ended(0, GOES_ON + TENTH)], 4 * SECOND)) == ["unclear"] * 2


def test_how_long_a_voice_goes_on_is_measured_anew_in_each_set() -> None:
    state, _ = listen(WORKING, [word("slower", SECOND), began(SECOND // 2)], SECOND)
    outcomes: tuple[Outcome, ...] = ()
    for now, working in ((SECOND + TENTH, True), (2 * SECOND, False), (9 * SECOND, True)):
        state, more = listen(open_for(state, {"slower"}, working=working), (), now)
        outcomes += more

    assert outcomes == ()
    assert decisions(listen(state, (), 9 * SECOND + GOES_ON - 1)[1]) == []
    assert decisions(listen(state, (), 9 * SECOND + GOES_ON)[1]) == ["unclear"]
