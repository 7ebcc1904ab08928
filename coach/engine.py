"""The one loop: sound in, events out of it into the session; the session's commands out into sound and the record.

The device is the clock. The device's own thread asks the mixer for what to play; everything else happens in the thread
that calls `run`, stretch by stretch, as the device delivers them. One more thread brings the record onto the disk.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field, replace
from threading import Thread

from coach.audio.echo import Canceller
from coach.audio.echo_watch import EchoWatch
from coach.audio.mixer import Layer, Mixer, beat
from coach.audio.patient import Moment
from coach.audio.room_check import RoomCheck
from coach.ears.front import Ears
from coach.errors import CoachError, OutOfPlaceError
from coach.loglines.kinds import Heard, SessionBegun
from coach.patient_cues import moment_of, question_moment
from coach.ports import Captured, Device, Hearing, Store, Voice
from coach.record_writer import RecordWriter
from coach.session.agenda import Agenda, Sounding
from coach.session.commands import Command, CutFrom, End, PlaceCues, Record, Silence
from coach.session.events import REPLIES, Event, On, RoomFacts
from coach.session.ideal import Rehearsal, rehearse
from coach.session.machine import handle, takes
from coach.session.plan import Today
from coach.session.state import Session, State, begin
from coach.showing import Showing, draw
from coach.snapshot import Snapshot
from coach.tempo.units import to_samples, to_seconds
from coach.troubles import Troubles
from coach.words.phrases import Phrase, VoicePack, sentence
from coach.words.replies import NUMBERS, Listening, Noted, Outcome, Understood, listen, open_for

LOOK_EVERY = to_samples(0.1)
"""Samples between two snapshots for a screen."""

READ_PATIENCE = 0.8
"""Seconds that a stretch is waited for before everything is held."""

HUSHED_AT_MOST = to_samples(1.5)
"""Samples that the coach stays quiet because somebody speaks, if nothing comes of it."""

HUSH_AFTER_VOICE = to_samples(0.5)
"""Samples that the coach stays quiet behind a voice: as long as a word may take to be understood."""

STALLS = 150
"""Reads without sound, READ_PATIENCE each, in one trouble, after which the device is given up: two minutes."""

LAST_WORDS = 6
"""The same where nothing but the last words of a session is still to be said."""

SLOW_DISK = to_samples(10.0)
"""Samples for which the disk may lag behind before it is taken for one that refuses."""

_TOLD_BY = {"system": On.TOLD_TO_END, "terminal": On.HUNG_UP}
"""What ends the session, by who told it (`ToldToEndError`)."""

LAST_WRITE = 10.0
"""Seconds that the end of a session waits for a disk that has not come back, before the record is kept elsewhere."""


@dataclass(slots=True)
class Measured:
    """What happened when, for benchmarks and tests."""

    soundings: list[Sounding] = field(default_factory=list)
    """Every sound with the sample that it was given to the mixer for."""
    outcomes: list[Outcome] = field(default_factory=list)
    hearings: list[Hearing] = field(default_factory=list)
    events: list[tuple[State, Event]] = field(default_factory=list)
    """Every event with the state it met."""
    hushes: list[int] = field(default_factory=list)
    """Samples at which the coach fell quiet because somebody spoke."""


def within(seconds: float, work: Callable[[], None]) -> Callable[[], bool]:
    """Do `work`, wait for it for at most so long, and return what tells whether it still goes on.

    For calls into the system that may never come back, such as those of a sound library whose server has died.
    """
    thread = Thread(target=work, name="device", daemon=True)
    thread.start()
    thread.join(seconds)
    return thread.is_alive


class Engine:
    """Runs one session on one device."""

    def __init__(
        self,
        today: Today,
        pack: VoicePack,
        *,
        device: Device,
        voice: Voice,
        ears: Ears,
        store: Store,
        mixer: Mixer | None = None,
        person: str = "",
        show: Callable[[Snapshot], None] | None = None,
        tell: Callable[[Moment], None] | None = None,
        poll: Callable[[], bool | None] | None = None,
        measured: Measured | None = None,
    ) -> None:
        """Set the table; nothing sounds before `run`.

        `show` is given a snapshot ten times a second; `tell` is told each moment (a scripted patient listens);
        `poll` is called once a stretch, so that keys can be looked at; True: this process stood still meanwhile. It may
        raise KeyboardInterrupt, which ends the session.
        """
        self.session = begin(today)
        self._pack = pack
        self._device = device
        self._voice = voice
        self._ears = ears
        self._store = store
        self._writer = RecordWriter(store)
        self._lagging_since = -1
        self._mixer = mixer or Mixer()
        self._canceller = Canceller()
        self._agenda = Agenda(self._length, to_samples(pack.speech.pause))
        self._listening = Listening(pack.halts)
        self._opened_for: Session | None = None
        self._show = show
        self._tell = tell
        self._poll = poll
        self._measured = measured or Measured()
        self._rehearsal: Rehearsal = rehearse(today, self._length)
        self._showing = Showing(person=person)
        self._now = 0
        self.begun = False
        """Whether the record holds a first line."""
        self._over = True  # until its first line is kept there is no session to end
        self._troubles = Troubles()
        self._stalled = 0
        self._echo_watch = EchoWatch()
        self._hushed_until = -1
        self._voicing = False
        self._voiced = 0
        self._room_check = RoomCheck()
        self._shown_at = -LOOK_EVERY

    def run(self, begun: SessionBegun) -> str:
        """Run the session to its end and return why it ended. `begun` is the first line.

        However it ends, the record is closed. Raises CoachError when the device is gone for good, or when the disk does
        not take the first line; one that refuses later ends nothing: see `coach.record_writer` and the store's `close`.
        """
        writing = Thread(target=self._writer.work, name="record", daemon=True)
        try:
            self._ears.open(frozenset())
            self._device.open(self._mixer.render)  # before the record: without a device there was no session
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
        return self.session.end_why

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
        self._tell_troubles(self._troubles.fed(captured))
        if not self._troubles.speaker_lost:  # one that gives a moment of sound now and then is not back
            self._stalled = 0
        if self._echo_watch.feed(captured):
            self._tell_troubles(self._troubles.unheard(self._now))
        self._watch_disk()
        self._happen()
        if self._show is not None and self._now - self._shown_at >= LOOK_EVERY:
            self._shown_at = self._now
            self._show(draw(self.session, self._pack, self._rehearsal, self._showing, self._now))

    def _look_up(self) -> None:
        """Take what comes from elsewhere than the device. While this process stood still nothing sounded."""
        if self._poll is not None and self._poll():
            self._tell_troubles(self._troubles.stalled(self._now))

    def _happen(self) -> None:
        """Let everything happen that is due by now."""
        while not self._over and (event := self._agenda.due(self._now)) is not None:
            asking = self.session.state
            self._give(event)
            if event.on is On.CUE_DONE and self.session.state is asking:  # a question was put, not left behind
                self._tell_moment(question_moment(self.session, event.at))

    def _stall(self) -> None:
        """The device gave nothing: hold, show it, listen to the keys alone, and give up after a while."""
        self._stalled += 1
        self._tell_troubles(self._troubles.stalled(self._now))
        self._understand(self._ears.pressed(self._now))
        if self._show is not None:
            self._show(draw(self.session, self._pack, self._rehearsal, self._showing, self._now))
        if self._stalled >= (LAST_WORDS if self.session.state is State.CLOSING else STALLS):
            self._quit()

    def _tell_troubles(self, events: list[On]) -> None:
        """Tell the session and the screens what is wrong with the device, or right again."""
        for on in events:
            self._give_if_taken(Event(on, max(self._now, self.session.at)))
        self._showing.mic_lost = self._troubles.mic_lost
        self._showing.speaker_lost = self._troubles.speaker_lost or not self._echo_watch.heard
        self._showing.no_echo = self.session.state is State.CHECKING and self._room_check.echo is False

    def _quit(self, on: On = On.QUIT) -> None:
        """End the session here, whatever state it is in."""
        if self._over:
            return
        self._give_if_taken(Event(on, max(self._now, self.session.at)))
        self._over = True

    def _watch_disk(self) -> None:
        """A disk that refuses the record, or lags far behind, is told to the session; so is its coming back."""
        if not self._writer.behind:
            self._lagging_since = -1
        elif self._lagging_since < 0:
            self._lagging_since = self._now
        lagging = 0 <= self._lagging_since <= self._now - SLOW_DISK
        unwritten = self._writer.refused or lagging
        if unwritten != self._showing.unwritten:
            self._showing.unwritten = unwritten
            self._give_if_taken(Event(On.UNWRITTEN if unwritten else On.WRITTEN, max(self._now, self.session.at)))

    # -- what is heard -------------------------------------------------------------------------------------------------

    def _listen(self, captured: Captured) -> None:
        self._showing.level(captured.mic)
        hearings = self._ears.feed(captured)
        self._measured.hearings += hearings
        for hearing in hearings:
            self._make_room(hearing)
        if self.session.state in (State.OPENING, State.CHECKING):
            self._room_check.feed(captured)
            self._voiced += len(captured.mic) if self._voicing else 0
        self._understand(hearings)
        if 0 <= self._hushed_until <= self._now:
            self._end_hush()

    def _understand(self, hearings: list[Hearing]) -> None:
        """Let what was heard come to something."""
        if self._opened_for is not self.session:  # looked up once an event, not fifty times a second
            self._opened_for = self.session
            words = self._open_words()
            self._ears.open(words)
            working = self.session.state is State.WORKING
            self._listening = open_for(self._listening, words, working=working)
        self._listening, outcomes = listen(self._listening, hearings, self._now)
        for outcome in outcomes:
            self._measured.outcomes.append(outcome)
            self._reply(outcome)

    def _make_room(self, hearing: Hearing) -> None:
        """While somebody speaks, the coach does not; nothing moves in time."""
        if hearing.kind != "word":
            self._voicing = hearing.kind == "voice_began"
        if hearing.kind == "voice_began":
            if self._mixer.sounding_until > self._now or self._hushed_until >= 0:
                self._mixer.hush(on=True, now=self._now)
                self._measured.hushes.append(self._now)
            self._hushed_until = self._now + HUSHED_AT_MOST
        elif hearing.kind == "voice_ended" and self._hushed_until >= 0:
            self._hushed_until = min(self._hushed_until, hearing.ended + HUSH_AFTER_VOICE)

    def _end_hush(self) -> None:
        self._hushed_until = -1
        self._mixer.hush(on=False, now=self._now)

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
            self._end_hush()
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
        """Write what each ear heard and what it came to; `used`: the word that settled it does something."""
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
        self._measured.events.append((before, event))
        self.session, commands = handle(self.session, event)
        for command in commands:
            self._obey(command, event)
        if self._tell is not None:
            self._tell_moment(moment_of(self.session, event, before))

    def _room(self) -> RoomFacts:
        check, voices = self._room_check, self._voiced / max(1, self._now)
        return RoomFacts(check.level, check.floor, self._ears.room, check.echo, round(voices, 2))

    def _tell_moment(self, moment: Moment | None) -> None:
        if self._tell is not None and moment is not None:
            self._tell(moment)

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
        self._measured.soundings.append(sounding)
        if sounding.phrase is not None:
            self._showing.soundings.append((sounding.at, sentence(self._pack, sounding.phrase)))
            clip = self._voice.clip(sentence(self._pack, sounding.phrase))
            begins = self._mixer.place(clip, sounding.at, layer=Layer.SPEECH, on_beat=on_beat)
            if begins is not None:
                self._echo_watch.said(begins, begins + len(clip))
        else:
            clip, layer = beat(sounding.sound, sounding.length)
            self._mixer.place(clip, sounding.at, layer=layer, on_beat=on_beat)

    def _length(self, said: Phrase) -> int:
        return len(self._voice.clip(sentence(self._pack, said)))
