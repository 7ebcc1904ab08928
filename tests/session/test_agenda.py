"""What is due when: commands in samples become events in order."""

from __future__ import annotations

from hypothesis import given
from hypothesis import strategies as st

from coach.loglines.kinds import ScreenConfirmed
from coach.session.agenda import Agenda
from coach.session.commands import CutFrom, End, PlaceCues, Record, Say, Silence, WakeAt
from coach.session.events import Event, On
from coach.tempo.timeline import At, Cue, Mark, Sound
from coach.words.phrases import Phrase, phrase

PAUSE = 100


def agenda(length: int = 1_000) -> Agenda:
    return Agenda(lambda _said: length, PAUSE)


def drain(of: Agenda, now: int = 10**9) -> list[Event]:
    events = []
    while (event := of.due(now)) is not None:
        events.append(event)
    return events


def test_sentences_follow_each_other_with_a_pause_and_one_end() -> None:
    due = agenda()
    (first,) = due.obey(Say(phrase("held")), 50)
    (second,) = due.obey(Say(phrase("ready_when")), 50)

    assert (first.at, second.at) == (50, 50 + 1_000 + PAUSE)
    assert due.talking
    assert drain(due) == [Event(On.CUE_DONE, second.at + 1_000)]
    assert not due.talking


def test_silence_forgets_speech_and_marks_but_not_the_time_asked_for() -> None:
    due = agenda()
    due.obey(Say(phrase("held")), 0)
    due.obey(PlaceCues((), (Mark(500, At.GO),)), 0)
    due.obey(WakeAt(700), 0)
    due.obey(Silence(), 200)

    assert drain(due) == [Event(On.TIME_UP, 700)]
    (said,) = due.obey(Say(phrase("held")), 800)
    assert said.at == 800


def test_a_cut_keeps_everything_before_it() -> None:
    due = agenda()
    due.obey(PlaceCues((), tuple(Mark(at, At.SECOND, at) for at in (100, 200, 300))), 0)
    due.obey(CutFrom(200), 0)

    assert [event.at for event in drain(due)] == [100]


def test_a_later_wish_to_be_woken_replaces_an_earlier_one_and_less_than_nothing_ends_it() -> None:
    due = agenda()
    due.obey(WakeAt(500), 0)
    due.obey(WakeAt(900), 0)
    assert due.next_at() == 900

    due.obey(WakeAt(None), 0)
    assert due.next_at() is None
    assert due.due(10**9) is None


def test_at_the_same_sample_marks_come_in_their_order_then_the_end_of_speech_then_the_time() -> None:
    due = agenda(1_000)
    due.obey(Say(phrase("held")), 0)
    due.obey(WakeAt(1_000), 0)
    due.obey(PlaceCues((), (Mark(1_000, At.REP_DONE, 1), Mark(1_000, At.REP, 2))), 0)

    assert [event.on for event in drain(due)] == [On.REP_DONE, On.REP, On.CUE_DONE, On.TIME_UP]


def test_nothing_happens_before_its_time() -> None:
    due = agenda()
    due.obey(WakeAt(500), 0)

    assert due.due(499) is None
    assert due.due(500) == Event(On.TIME_UP, 500)


def test_a_name_longer_than_its_phase_is_left_out_and_a_count_never() -> None:
    due = agenda(1_000)
    cues = (
        Cue(0, Sound.SPEECH, "phase", (("name", "lower"),), 900),
        Cue(0, Sound.SPEECH, "count", (("n", 3),), 900),
        Cue(0, Sound.TICK),
        Cue(0, Sound.FALL, length=400),
    )

    sounds = due.obey(PlaceCues(cues, ()), 0)

    assert [(sound.sound, sound.phrase) for sound in sounds] == [
        (Sound.SPEECH, Phrase("count", (("n", 3),))), (Sound.TICK, None), (Sound.FALL, None),
    ]  # fmt: skip


def test_lines_and_the_end_are_none_of_its_business() -> None:
    due = agenda()

    assert due.obey(Record(5, ScreenConfirmed("keys")), 5) == ()
    assert due.obey(End(), 5) == ()
    assert due.next_at() is None


@given(st.lists(st.integers(0, 1_000)), st.none() | st.integers(0, 1_000), st.lists(st.integers(1, 300), max_size=3))
def test_events_come_in_the_order_of_time(marks: list[int], wake: int | None, lengths: list[int]) -> None:
    of = iter(lengths)
    due = Agenda(lambda _said: next(of), PAUSE)
    for _ in lengths:
        due.obey(Say(phrase("held")), 0)
    due.obey(PlaceCues((), tuple(Mark(at, At.SECOND, at) for at in marks)), 0)
    due.obey(WakeAt(wake), 0)

    times = [event.at for event in drain(due)]
    assert times == sorted(times)
    assert len(times) == len(marks) + (wake is not None) + bool(lengths)
