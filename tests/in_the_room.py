"""What tests and benchmarks of whole sessions share: short programs, a prepared home, a room that records."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field, replace
from datetime import date
from pathlib import Path
from typing import Any

import numpy as np
from rich.console import Console

from coach.audio.patient import Patient, Script, parse_script
from coach.audio.room import Acoustics, VirtualRoom
from coach.cli.ears import ears_for
from coach.cli.room import PATIENT, patient_voice, teach_patient
from coach.cli.session_setup import Prepared, coach_voice, first_line, record_of, render_all, sentences
from coach.ears.front import Ears
from coach.ears.keys import Keys
from coach.engine import Assignment, Engine, Equipment, Hooks
from coach.logbook.session_record import SessionRecord
from coach.logbook.store import Home
from coach.measuring import Measured
from coach.patient_cues import cued
from coach.ports import Block, Captured, Voice
from coach.program.load import load
from coach.session.plan import plan
from coach.session.state import Session, State
from coach.tempo.units import BLOCK, RATE, to_samples
from coach.voice.cache import _read as read_clip
from coach.voice.cache import _write as write_clip
from coach.voice.pack import halt_words, load_pack

PERSON = "mira"
TODAY = date(2027, 1, 11)

SMALL = """\
format: 1
title: A short one
language: en
written_by: {name: "", role: physical therapist, on: 2027-01-11, review_on: 2027-02-08}
within_reach: not needed
cautions: Rest when you like.
call: Call the clinic.
screen:
  - {id: new_fall, ask: "A new fall?", if_yes: end}
ask: {pain: each set, effort: each exercise, reps: each set}
limits:
  pain: {carry_on_to: 3, ease_to: 5}
  effort: {ease_above: 8}
  unsteady: end_session
  tired: end_set
  cut_sets: 2
  next_day_worse: step_down
  halts: 3
  minutes: 30
schedule: {every: 1 day}
exercises:
  - id: heel_lowering
    name: Heel lowering
    why: It helps.
    sides: both together
    dose: {sets: 2, reps: 3, rest: 5 s, phases: {raise: 1 s, lower: 3 s}, guide: tone}
    levels:
      - {id: one, setup: Stand up., cue: Rise and lower.}
"""
"""One exercise, two sets of three reps; about a minute."""

SCRIPT = """\
format: 1
delay: 0.5 s
answers: {screen: "no", next_day: "no", ready: ready, pain: n2, effort: n5, reps_all: "yes", reps_how_many: n1,
  confirm: "yes", why_halt: break, halt_pain: n3}
"""
"""A patient who answers everything and is well; a halt was just a break."""

WORDS = ("stop", "ready", "no", "yes", "break", "finish", "pause", "unsteady", "left", *(f"n{n}" for n in range(11)))
"""Reply ids that a test may let the patient say at any moment."""

NONSENSE = "marmalade toast"
"""Words of the patient that are no reply."""


def prepared(text: str = SMALL, name: str = "small.yaml") -> Prepared:
    """Return a program, its wording and the plan of a first session, as in `coach start`."""
    pack = load_pack("en")
    program = load(text, name, halt_words(pack))
    return Prepared(program, pack, plan(program, (), TODAY))


@dataclass(slots=True)
class Furnished:
    """A home with a person who taught their words, and with all clips that a test may need."""

    home: Home
    said: dict[str, Block] = field(default_factory=dict)
    """Reply id (or NONSENSE) to the patient's sound of it."""

    def ears(self) -> Ears:
        """Return fresh ears for the person."""
        pack, quiet = load_pack("en"), Console(quiet=True)
        taught = teach_patient(self.home.person(PERSON), pack, self.home, quiet)
        return ears_for(taught, pack, self.home, quiet, "taught")()

    def voice(self, ready: Prepared) -> Voice:
        """Return the coach's voice with everything in it."""
        voice = coach_voice(self.home, ready.pack)
        render_all(voice, sentences(ready), Console(quiet=True), "")
        return voice

    def clip(self, text: str) -> Block:
        """Return any sentence in the coach's voice."""
        voice = coach_voice(self.home, load_pack("en"))
        voice.prepare([text])
        return voice.clip(text)


def furnish_home(root: Path, *programs: Prepared, longest: int = 0) -> Furnished:
    """Render, teach and keep in `root` what sessions of `programs` need; existing parts are only read.

    `longest` limits the coach's sentences to a number of samples, since most of a session is talk, which takes time.
    """
    pack = load_pack("en")
    home = Home(root)
    if PERSON not in home.people():
        home.add_person(PERSON)
    furnished = Furnished(home)
    for ready in programs:
        furnished.voice(ready)
    if longest:
        _cut_short(home.clips, longest)  # before the patient's words are there, too
    furnished.ears()
    voice = patient_voice(home, pack, *PATIENT)
    said = {word: pack.replies[word].word for word in WORDS} | {NONSENSE: NONSENSE}
    voice.prepare(said.values())
    furnished.said = {word: voice.clip(text) for word, text in said.items()}
    return furnished


def _cut_short(clips: Path, longest: int) -> None:
    fade = np.minimum(1.0, np.arange(longest, 0, -1) / to_samples(0.05))
    for path in clips.glob("*.wav"):
        sound = read_clip(path)
        if sound is not None and len(sound) > longest:
            write_clip(path, np.round(sound[:longest] * fade).astype(np.int16))


class Tape:
    """A Device around the virtual room that keeps what was played, and lets `act` do something before each stretch."""

    rate = RATE

    def __init__(
        self,
        room: VirtualRoom,
        act: Callable[[Tape], bool | None] | None = None,
        until: Callable[[Tape], bool] | None = None,
    ) -> None:
        self.room = room
        self._until = until
        self.engine: Engine | None = None
        self.measured = Measured()
        self.deaf_until = 0
        """Sample up to which the microphone gives nothing at all, as one that is switched off."""
        self._act = act
        self._blocks: list[Block] = []
        self.stalled = 0

    def open(self, render: Callable[[int, int], Block]) -> None:
        self.room.open(render)

    def read(self, timeout: float = 1.0) -> Captured | None:
        """Return the next stretch; None, as from a device that stopped, if `act` returns True.

        Once `until` holds, the session gets Ctrl-C: the test has seen what it needs.
        """
        if self._until is not None and self._until(self):
            raise KeyboardInterrupt
        if self._act is not None and self._act(self):
            self.stalled += 1
            return None
        captured = self.room.read(timeout)
        if captured is not None:
            self._blocks.append(captured.played)
            if captured.at < self.deaf_until:
                captured = replace(captured, mic=np.zeros_like(captured.mic), clean=np.zeros_like(captured.mic))
        return captured

    def close(self) -> None:
        self.room.close()

    @property
    def now(self) -> int:
        """First sample of the next stretch."""
        return self.room.now

    @property
    def session(self) -> Session:
        assert self.engine is not None
        return self.engine.session

    @property
    def state(self) -> State:
        return self.session.state

    @property
    def phase(self) -> int:
        """Index of the current phase; -1 outside."""
        running = self.session.open_set
        return running.phase if running is not None and running.phase_began is not None else -1

    @property
    def rep(self) -> int:
        """Current rep, from 1; 0 outside a set."""
        running = self.session.open_set
        return running.rep if running is not None else 0

    def times(self, on: str) -> list[int]:
        """Return the samples of the events of one kind so far."""
        return [event.at for _, event in self.measured.events if event.on == on]

    @property
    def sounding(self) -> bool:
        """Whether the last played stretch holds sound."""
        return bool(self._blocks) and bool(np.abs(self._blocks[-1]).max() > QUIET)

    @property
    def played(self) -> Block:
        """All that was played so far."""
        return np.concatenate(self._blocks) if self._blocks else np.zeros(0, np.float32)

    def played_between(self, begin: int, end: int) -> Block:
        """Return what was played in these samples."""
        first, last = begin // BLOCK, -(-end // BLOCK)
        part = np.concatenate([np.zeros(0, np.float32), *self._blocks[first:last]])
        return part[begin - first * BLOCK : end - first * BLOCK]


QUIET = 10 ** (-60 / 20)
"""Level above which a played sample counts as sound: -60 dBFS."""


@dataclass(slots=True)
class Outcome:
    """A session that has run."""

    why: str
    record: SessionRecord
    measured: Measured
    tape: Tape
    seconds: float

    def times(self, on: str) -> list[int]:
        """Return the samples of the events of one kind."""
        return [event.at for _, event in self.measured.events if event.on == on]


def session(
    furnished: Furnished,
    ready: Prepared,
    *,
    script: str | Script | None = SCRIPT,
    act: Callable[[Tape], bool | None] | None = None,
    until: Callable[[Tape], bool] | None = None,
    acoustics: Acoustics | None = None,
    noise: Path | None = None,
    seed: int = 1,
    store: Any = None,
    voice: Voice | None = None,
) -> Outcome:
    """Run a session of the prepared person in the virtual room; `script` None: the room is empty."""
    home, pack = furnished.home, ready.pack
    patient = None
    if script is not None:
        read = parse_script(script, "script", Path()) if isinstance(script, str) else script
        patient = Patient(read)

    def speaker(text: str) -> Block:
        return furnished.said[text]

    room = VirtualRoom(patient=patient, speaker=speaker, acoustics=acoustics, noise=noise, seed=seed)
    tape = Tape(room, act, until)
    ears = furnished.ears()
    kept = store or home.begin(PERSON)
    engine = Engine(
        Assignment(ready.today, pack, PERSON),
        Equipment(tape, voice or furnished.voice(ready), ears, kept),
        Hooks(tell=cued(room.moment), measured=tape.measured),
    )
    tape.engine = engine
    begun = first_line(ready, session=kept.session, person=PERSON, ears=ears.names, device="virtual room")
    why = engine.run(begun)
    return Outcome(why, record_of(home, PERSON, kept.session), tape.measured, tape, engine.seconds)


def press(tape: Tape, key: str) -> None:
    """Press a key of the keyboard in the session."""
    assert tape.engine is not None
    keys = next(ear for ear in tape.engine._ears.ears if isinstance(ear, Keys))
    keys.press(key)
