"""The one loop: sound in, events out of it into the session; the session's commands out into sound and the record.

The device is the clock. The device's own thread asks the mixer for what to play; everything else happens in the thread
that calls `run`, stretch by stretch, as the device delivers them. One more thread brings the record onto the disk.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field, replace
from threading import Thread

from coach.audio.echo import Canceller
from coach.audio.echo_watch import EchoWatch
from coach.audio.hush import Hush
from coach.audio.mixer import Layer, Mixer, beat
from coach.audio.room_check import RoomCheck
from coach.device_watch import DeviceWatch
from coach.ears.front import Ears
from coach.errors import CoachError, OutOfPlaceError
from coach.loglines.hearing import Heard
from coach.loglines.kinds import SessionBegun
from coach.measuring import Measured
from coach.ports import Captured, Device, Hearing, Store, Voice
from coach.record_writer import DiskWatch, RecordWriter
from coach.session.agenda import Agenda, Sounding
from coach.session.commands import Command, CutFrom, End, PlaceCues, Record, Silence
from coach.session.events import REPLIES, Event, On, RoomFacts
from coach.session.ideal import rehearse
from coach.session.machine import handle, takes
from coach.session.plan import Today
from coach.session.state import Session, State, begin
from coach.showing import Showing, draw
from coach.snapshot import Snapshot
from coach.tempo.units import to_samples, to_seconds
from coach.words.phrases import Phrase, VoicePack, sentence
from coach.words.replies import NUMBERS, Listening, Noted, Outcome, Understood, listen, open_for

LOOK_EVERY = to_samples(0.1)
"""Samples between two snapshots for a screen."""

READ_PATIENCE = 0.8
"""Seconds without a stretch of sound after which the work stops."""

_TOLD_BY = {"system": On.TOLD_TO_END, "terminal": On.HUNG_UP}
"""The event that ends the session, by who told it to end (`ToldToEndError.by`)."""

LAST_WRITE = 10.0
"""Seconds that the end of a session waits for a missing disk; then the record is kept elsewhere."""


def within(seconds: float, work: Callable[[], None]) -> Callable[[], bool]:
    """Do `work`, wait at most `seconds`, and return a callable that is true while the work still runs.

    For calls that may never return, such as those of a sound library whose server has died.
    """
    thread = Thread(target=work, name="device", daemon=True)
    thread.start()
    thread.join(seconds)
    return thread.is_alive


@dataclass(frozen=True, slots=True)
class Assignment:
    """The work of one session, and the names to show."""

    today: Today
    pack: VoicePack
    person: str = ""
    """As the screens name them."""


@dataclass(frozen=True, slots=True)
class Equipment:
    """The device, ears, voice and store of a session."""

    device: Device
    voice: Voice
    """It must have every sentence of the session ready."""
    ears: Ears
    store: Store
    mixer: Mixer = field(default_factory=Mixer)


@dataclass(frozen=True, slots=True)
class Hooks:
    """Callables for a running session, called between two stretches of sound; all must return quickly."""

    show: Callable[[Snapshot], None] | None = None
    """Given a snapshot ten times a second."""
    tell: Callable[[Session, Event, State], None] | None = None
    """Given the session after each event, the event, and the state that it met: see `patient_cues.py`."""
    poll: Callable[[], bool | None] | None = None
    """Called once a stretch to read keys; returns True if this process was stopped meanwhile. It may raise
    KeyboardInterrupt, which ends the session."""
    measured: Measured | None = None
    """Receives everything that happens, for benchmarks and tests."""


class Engine:
    """Runs one session on one device."""

    def __init__(self, assignment: Assignment, equipment: Equipment, hooks: Hooks | None = None) -> None:
        """Prepare everything; nothing sounds before `run`."""
        self.session = begin(assignment.today)
        self.begun = False
        """Whether the record holds a first line."""
        self._pack = assignment.pack
        self._device = equipment.device
        self._voice = equipment.voice
        self._ears = equipment.ears
        self._store = equipment.store
        self._mixer = equipment.mixer
        self._hooks = hooks or Hooks()
        self._canceller = Canceller()
        self._agenda = Agenda(self._length, to_samples(self._pack.speech.pause))
        self._listening = Listening(self._pack.halts)
        self._opened_for: Session | None = None
        self._rehearsal = rehearse(assignment.today, self._length)
        self._showing = Showing(person=assignment.person)
        self._shown_at = -LOOK_EVERY
        self._writer = RecordWriter(self._store)
        self._disk_watch = DiskWatch(self._writer)
        self._device_watch = DeviceWatch()
        self._echo_watch = EchoWatch()
        self._room_check = RoomCheck()
        self._hush = Hush(self._mixer)
        self._now = 0
        self._over = True  # there is no session before its first line is kept

    def run(self, begun: SessionBegun) -> str:
        """Run the session to its end and return why it ended. `begun` is the first line.

        However it ends, the record is closed. Raises CoachError if the device is gone for good, or if the disk refuses
        the first line. A later refusal does not end the session: see `coach.record_writer` and the store's `close`.
        """
        writing = Thread(target=self._writer.work, name="record", daemon=True)
        try:
            self._ears.open(frozenset())
            self._device.open(self._mixer.render)  # before the record: a session needs a device
            self._look_up()
            self._store.take(0, begun)
            self._store.flush()
            writing.start()
            self._over, self.begun = False, True
            self._give(Event(On.START, 0))
            while not self._over:
                self._stretch()
        except (KeyboardInterrupt, CoachError) as broken:
            self._mixer.silence(self._now)
            self._quit(_TOLD_BY.get(getattr(broken, "by", ""), On.QUIT))
            if not self.begun or not isinstance(broken, KeyboardInterrupt):
                raise
        finally:
            self._device.close()
            self._writer.end()
            if writing.ident is not None:
                writing.join(LAST_WRITE)
            self._store.close(reachable=not writing.is_alive())
        return self.session.end_why or ""

    @property
    def seconds(self) -> float:
        """How long the session has run, by the device."""
        return to_seconds(self._now)

    # -- one stretch of time -------------------------------------------------------------------------------------------

    def _stretch(self) -> None:
        self._look_up()
        if (captured := self._device.read(READ_PATIENCE)) is None:
            self._stall()
            return
        self._now = captured.at + len(captured.mic)
        self._happen()
        self._listen(self._canceller.process(captured))
        self._tell_troubles(self._device_watch.fed(captured))
        if self._echo_watch.feed(captured):
            self._tell_troubles(self._device_watch.unheard(self._now))
        if of_disk := self._disk_watch.look(self._now):
            self._tell_troubles(of_disk)
        self._happen()
        if self._now - self._shown_at >= LOOK_EVERY:
            self._shown_at = self._now
            self._draw()

    def _draw(self) -> None:
        if self._hooks.show is not None:
            self._hooks.show(draw(self.session, self._pack, self._rehearsal, self._showing, self._now))

    def _look_up(self) -> None:
        """Poll the hooks; report lost sound if this process was stopped meanwhile."""
        if self._hooks.poll is not None and self._hooks.poll():
            self._tell_troubles(self._device_watch.stalled(self._now))

    def _happen(self) -> None:
        """Handle every event that is due by now."""
        while not self._over and (event := self._agenda.due(self._now)) is not None:
            self._give(event)

    def _stall(self) -> None:
        """The device gave nothing: stop the work, show it, take keys only, and give up after a while."""
        self._tell_troubles(self._device_watch.gave_nothing(self._now))
        self._understand(self._ears.pressed(self._now))
        self._draw()
        if self._device_watch.given_up(closing=self.session.state is State.CLOSING):
            self._quit()

    def _tell_troubles(self, events: Sequence[On]) -> None:
        """Tell the session and the screens which trouble of device or disk has begun or ended."""
        for on in events:
            self._give_if_taken(Event(on, max(self._now, self.session.at)))
        self._showing.mic_lost = self._device_watch.mic_lost
        self._showing.speaker_lost = self._device_watch.speaker_lost or not self._echo_watch.heard
        self._showing.no_echo = self.session.state is State.CHECKING and self._room_check.echo is False
        self._showing.unwritten = self._disk_watch.unwritten

    def _quit(self, on: On = On.QUIT) -> None:
        """End the session here, whatever state it is in."""
        if self._over:
            return
        self._give_if_taken(Event(on, max(self._now, self.session.at)))
        self._over = True

    # -- what is heard -------------------------------------------------------------------------------------------------

    def _listen(self, captured: Captured) -> None:
        self._showing.level(captured.mic)
        hearings = self._ears.feed(captured)
        if (measured := self._hooks.measured) is not None:
            measured.hearings += hearings
        for hearing in hearings:
            self._room_check.heard(hearing)
            if self._hush.heard(hearing, self._now) and measured is not None:
                measured.hushes.append(self._now)
        if self.session.state in (State.OPENING, State.CHECKING):
            self._room_check.feed(captured)
        self._understand(hearings)
        self._hush.pass_by(self._now)

    def _understand(self, hearings: list[Hearing]) -> None:
        """Decide what was heard, and act on it."""
        if self._opened_for is not self.session:  # once per event, not fifty times a second
            self._opened_for = self.session
            words = self._open_words()
            self._ears.open(words)
            working = self.session.state is State.WORKING
            self._listening = open_for(self._listening, words, working=working)
        self._listening, outcomes = listen(self._listening, hearings, self._now)
        for outcome in outcomes:
            if self._hooks.measured is not None:
                self._hooks.measured.outcomes.append(outcome)
            self._reply(outcome)

    def _open_words(self) -> frozenset[str]:
        """The reply ids that the session takes now."""
        words = {str(on) for on in REPLIES if on is not On.NUMBER and takes(self.session, on)}
        return frozenset(words) | (NUMBERS if takes(self.session, On.NUMBER) else frozenset())

    def _reply(self, outcome: Outcome) -> None:
        if isinstance(outcome, Understood):
            on = On(outcome.reply)
            event = Event(on, self._now, number=outcome.number or 0, ear=outcome.ear)
            used = takes(self.session, on)
            self._showing.heard(self._word(outcome.reply, outcome.number), outcome.ear, self._now)
            self._write_heard(outcome, used=used)
            self._hush.end(self._now)
            self._give_if_taken(event)
        elif isinstance(outcome, Noted):
            self._write_heard(outcome, used=False)
        else:
            self._showing.heard("", "activity", self._now)
            self._write_heard(outcome, used=False)
            self._give_if_taken(Event(On.SPOKE, self._now, ear="activity"))

    def _word(self, reply: str, number: int | None) -> str:
        words = self._pack.replies.get(f"n{number}" if number is not None else reply)
        return words.word if words else reply

    def _write_heard(self, outcome: Outcome, *, used: bool) -> None:
        """Record each hearing and what became of it; `used`: the word that settled it has an effect."""
        for hearing in outcome.hearings:
            line = Heard(
                ear=hearing.ear,
                word=hearing.word,
                score=round(float(hearing.score), 3),
                began=int(hearing.began),
                ended=int(hearing.ended),
                used=used and hearing.word == outcome.hearings[-1].word,
                decision=outcome.decision,
            )
            self._writer.append(self._now, line)

    # -- events and commands -------------------------------------------------------------------------------------------

    def _give_if_taken(self, event: Event) -> bool:
        try:
            self._give(event)
        except OutOfPlaceError:
            return False
        return True

    def _give(self, event: Event) -> None:
        before = self.session.state
        if before is State.CHECKING:
            event = replace(event, room=self._room())
        if self._hooks.measured is not None:
            self._hooks.measured.events.append((before, event))
        self.session, commands = handle(self.session, event)
        for command in commands:
            self._obey(command, event)
        if self._hooks.tell is not None:
            self._hooks.tell(self.session, event, before)

    def _room(self) -> RoomFacts:
        check = self._room_check
        return RoomFacts(check.level, check.floor, self._ears.room, check.echo, check.voices(self._now))

    def _obey(self, command: Command, event: Event) -> None:
        match command:
            case Record(at, it):
                self._writer.append(at, it)
                return
            case End():
                self._over = True
                return
            case Silence():
                self._mixer.silence(self._now)
                self._echo_watch.cut(self._now)
                self._showing.soundings.clear()
            case CutFrom(at):
                self._mixer.cut_from(at)
                self._echo_watch.cut(at)
                self._showing.cut_from(at)
            case _:
                pass
        for sounding in self._agenda.obey(command, max(event.at, self._now)):
            self._sound(sounding, on_beat=isinstance(command, PlaceCues))

    def _sound(self, sounding: Sounding, *, on_beat: bool) -> None:
        if self._hooks.measured is not None:
            self._hooks.measured.soundings.append(sounding)
        if sounding.phrase is not None:
            said = sentence(self._pack, sounding.phrase)
            if self._hooks.show is not None:  # without a screen nothing would remove them again
                self._showing.soundings.append((sounding.at, said))
            clip = self._voice.clip(said)
            begins = self._mixer.place(clip, sounding.at, layer=Layer.SPEECH, on_beat=on_beat)
            if begins is not None:
                self._echo_watch.said(begins, begins + len(clip))
        else:
            clip, layer = beat(sounding.sound, sounding.length)
            self._mixer.place(clip, sounding.at, layer=layer, on_beat=on_beat)

    def _length(self, said: Phrase) -> int:
        return len(self._voice.clip(sentence(self._pack, said)))
