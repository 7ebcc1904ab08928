"""What must hold in every session (see coach/testing/watched.py, which checks it at every event), in random ones."""

from __future__ import annotations

from collections import Counter
from dataclasses import replace
from datetime import date
from functools import cache
from random import Random

import pytest
from budget import draws
from hypothesis import settings
from hypothesis import strategies as st
from hypothesis.stateful import RuleBasedStateMachine, initialize, precondition, rule

from coach.cli.visit.sound import CHECK
from coach.ears.spoken import PHRASES as TEACHING
from coach.errors import OutOfPlaceError
from coach.loglines.kinds import Note, SessionEnded
from coach.program.model import Program
from coach.program_files import read, shipped
from coach.session.commands import Record
from coach.session.events import REPLIES, Event, On
from coach.session.machine import handle
from coach.session.plan import Today, plan
from coach.session.repertoire import repertoire
from coach.session.state import State
from coach.testing import (
    RandomPerson,
    RuleBrokenError,
    SoundlessRun,
    WatchedRun,
    for_somebody,
    live,
    random_day,
    random_program,
)
from coach.testing.people import DEVICES, DISK
from coach.voice.pack import load_pack
from coach.words.phrases import Phrase

DAY = date(2027, 1, 11)


@cache
def program(name: str) -> Program:
    return read(shipped()[name])


def today_of(chance: Random, of: Program) -> Today:
    """Return a random day of `of`."""
    return for_somebody(random_day(chance, of, DAY), numbers_heard=chance.random() < 0.7)


class PureRun(WatchedRun):
    """Checks too that the same session and event always give the same, and that neither changes."""

    def give(self, event: Event) -> bool:
        before = self.session
        held = replace(before)
        taken = super().give(event)
        assert before == held
        if taken:
            assert handle(before, event)[0] == self.session
        return taken


class AnySession(RuleBasedStateMachine):
    """A session in which anything may happen at any moment."""

    run: PureRun
    person: RandomPerson

    @initialize(name=st.sampled_from((*sorted(shipped()), "", "", "")), chance=st.randoms(use_true_random=False))
    def begin(self, name: str, chance: Random) -> None:
        of = program(name) if name else random_program(chance)
        self.run = PureRun(today_of(chance, of))
        self.person = RandomPerson(Random(chance.randrange(2**32)), odd=0.0, silent=0.0)

    def going(self) -> bool:
        return not self.run.over

    @precondition(going)
    @rule(moves=st.integers(1, 80))
    def goes_on_well(self, moves: int) -> None:
        for _ in range(moves):
            if not self.run.over:
                self.person.move(self.run)

    @precondition(going)
    @rule(state=st.sampled_from((State.WAITING, State.WORKING, State.ASKING, State.CONFIRMING, State.RESTING)))
    def comes_to(self, state: State) -> None:
        for _ in range(400):
            if self.run.over or self.run.session.state is state:
                break
            self.person.move(self.run)

    @precondition(going)
    @rule(times=st.integers(1, 6))
    def nobody_says_anything(self, times: int) -> None:
        for _ in range(times):
            if not self.run.over:
                self.run.step()

    @precondition(going)
    @rule(part=st.floats(0, 1))
    def time_passes(self, part: float) -> None:
        due = self.run.agenda.next_at()
        if due is not None and due > self.run.now:
            self.run.now += round((due - self.run.now) * part)

    @precondition(going)
    @rule(on=st.sampled_from(sorted(REPLIES)), number=st.integers(0, 10))
    def somebody_replies(self, on: On, number: int) -> None:
        self.run.say(on, number)

    @precondition(going)
    @rule(on=st.sampled_from((On.SPOKE, *DEVICES, *DISK, On.STOP)))
    def something_happens(self, on: On) -> None:
        self.run.say(on)

    @precondition(lambda self: self.run.over)
    @rule(on=st.sampled_from(On))
    def nothing_happens_after_the_end(self, on: On) -> None:
        with pytest.raises(OutOfPlaceError):
            handle(self.run.session, Event(on, self.run.now))

    def teardown(self) -> None:
        if not hasattr(self, "run"):
            return
        if not self.run.over:
            self.run.say(On.QUIT)
        assert self.run.over
        assert sum(isinstance(line.fact, SessionEnded) for line in self.run.records) == 1


TestAnySession = AnySession.TestCase
TestAnySession.settings = settings(max_examples=draws(20, 60), stateful_step_count=30, deadline=None)


PARTS, EACH = draws(1, 4), draws(400, 800)
RARE = (1568, 1749, 3854)
"""Seeds of sessions in which something was said that is seldom said: where they hold it no more, it takes longer."""


def day_of(seed: int) -> tuple[Random, Today]:
    chance = Random(seed)
    name = chance.choice((*sorted(shipped()), *[""] * 6))
    return chance, today_of(chance, program(name) if name else random_program(chance))


@pytest.mark.parametrize("part", range(PARTS))
def test_the_rules_hold_in_many_random_sessions(part: int) -> None:
    ends: Counter[str] = Counter()
    sets = 0
    for seed in range(part * EACH, part * EACH + EACH):
        chance, today = day_of(seed)
        run = WatchedRun(today)
        try:
            live(run, RandomPerson.any(chance))
        except RuleBrokenError as broken:
            raise AssertionError(f"session {seed}: {broken}") from broken
        assert run.over
        ends[str(run.session.end_why)] += 1
        sets += run.session.sets_begun

    assert ends.total() == EACH
    assert sets > EACH
    assert ends["done"] > EACH / 25
    assert {"done", "pain", "no_answer", "asked", "halts", "time", "unsteady", "tired", "screen"} <= set(ends)


def test_every_phrase_of_the_voice_pack_is_said_and_every_phrase_said_is_in_it() -> None:
    elsewhere = {*TEACHING, *CHECK, "taken_up", "news_cleared"}  # see test_taken_up.py, test_safety_holds.py
    wanted = set(load_pack("en").phrases) - elsewhere
    said: set[str] = set()
    for seed in (*RARE, *range(3200)):
        chance, today = day_of(seed)
        run = SoundlessRun(today)
        live(run, RandomPerson.any(chance))
        said |= {phrase.key for phrase in run.said} - {"text", *CHECK}
        said |= {sounding.phrase.key for sounding in run.soundings if sounding.phrase} - {"text", *CHECK}
        if said >= wanted and seed >= EACH and seed not in RARE:
            break

    assert said == wanted


# -- what the watch above must notice: a rule that cannot be broken proves nothing ------------------------------------


def working(name: str = "ankle_steady") -> WatchedRun:
    run = WatchedRun(plan(program(name), (), DAY))
    person = RandomPerson(Random(1), odd=0.0, silent=0.0)
    while run.session.state is not State.WORKING:
        assert not run.over, "this person's answers end the session before its work: take another"
        person.move(run)
    return run


def tampered(run: WatchedRun, **changes: object) -> None:
    """Change the session behind the watch's back, then let the next thing happen."""
    session = run.session
    run.session = replace(session, **changes)  # type: ignore[arg-type]
    for _ in range(500):
        run.step()


def test_the_watch_notices_a_session_that_forgets_that_it_is_quiet() -> None:
    run = working()
    run.say(On.STOP)
    assert run.session.interruption is not None

    with pytest.raises(RuleBrokenError, match="knows that it is quiet"):
        tampered(run, interruption=replace(run.session.interruption, quiet=False))


def test_the_watch_notices_more_reps_than_planned() -> None:
    run = working()
    assert run.session.open_set is not None

    with pytest.raises(RuleBrokenError, match="never more than planned"):
        tampered(run, open_set=replace(run.session.open_set, counted=30))


def test_the_watch_notices_a_set_that_vanishes() -> None:
    run = working()

    run.session = replace(run.session, open_set=None)

    with pytest.raises(RuleBrokenError, match="no set left open"):
        run.say(On.QUIT)


def test_the_watch_notices_a_level_above_the_planned_one() -> None:
    of = program("ankle_steady")
    easy, hard = (
        plan(replace(of, exercises=(replace(of.exercises[1], start_level=level),)), (), DAY)
        for level in ("fingertips", "hands_free")
    )
    run = WatchedRun(easy, may_say=frozenset(repertoire(hard)))
    run.session = replace(run.session, levels=(1,))

    with pytest.raises(RuleBrokenError, match="never a higher level"):
        live(run, RandomPerson(Random(0), odd=0.0, silent=0.0))


def test_the_watch_notices_a_phrase_outside_the_repertoire() -> None:
    run = working()
    run.may_say -= {Phrase("set_done")}

    with pytest.raises(RuleBrokenError, match="in the repertoire"):
        live(run, RandomPerson(Random(0), odd=0.0, silent=0.0))


def test_the_watch_notices_pain_above_the_limit_that_does_not_end_the_session() -> None:
    run = working()
    while run.session.state is not State.ASKING or run.session.asked_about != "pain" or run.agenda.talking:
        run.step()
        if run.session.state is State.ASKING and run.session.asked_about == "reps" and not run.agenda.talking:
            run.say(On.YES)
    run.say(On.NUMBER, 9)
    lenient = replace(run.session.today.program.limits, pain_ease_to=10, pain_carry_on_to=10)
    today = replace(run.session.today, program=replace(run.session.today.program, limits=lenient))
    run.session = replace(run.session, today=today)

    with pytest.raises(RuleBrokenError, match="pain above the limit"):
        run.say(On.YES)


def test_the_watch_notices_a_line_that_would_not_be_read_as_it_was_written(monkeypatch: pytest.MonkeyPatch) -> None:
    run = working()

    def odd(_session: object, _event: object) -> tuple[object, tuple[Record, ...]]:
        return run.session, (Record(run.session.at, Note("calm", by=b"coach")),)  # type: ignore[arg-type]

    monkeypatch.setattr("coach.session.soundless.handle", odd)
    with pytest.raises(RuleBrokenError, match="read as it was written"):
        run.say(On.SPOKE)


def test_a_repertoire_is_the_same_for_the_same_day() -> None:
    today = plan(program("trunk_endurance"), (), DAY)

    assert repertoire(today) == repertoire(plan(program("trunk_endurance"), (), DAY))
