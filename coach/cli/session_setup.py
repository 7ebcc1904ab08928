"""What several commands need: a program with its wording, a voice with everything in it, a session that runs."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass, field, replace
from typing import TYPE_CHECKING

from rich.console import Console

from coach.cli.labels import Labels
from coach.cli.on_hold import keep_holds, refuse_on_hold
from coach.cli.printed_session import summary
from coach.cli.signals import told
from coach.errors import CoachError, RecordError
from coach.history import broken_off, cleared_since, near_hold_of, past, ratings_of
from coach.logbook import assemble, read_lines
from coach.logbook.reading import History, read_session
from coach.logbook.session_record import SessionRecord
from coach.logbook.store import Home, wall_clock
from coach.logbook.writing import ENDING, SessionStore
from coach.loglines.changes import ProgramVersion
from coach.loglines.kinds import SessionBegun
from coach.program.model import Program
from coach.program_files import ProgramFile, find, open_file
from coach.session.goals import goals_due
from coach.session.lines import session_begun
from coach.session.past import PastSession
from coach.session.plan import Today, plan
from coach.session.repertoire import repertoire
from coach.session.safety_holds import NEWS_CLEARED
from coach.session.taken_up import Broken, ahead, take_up
from coach.voice.pack import halt_words, load_pack
from coach.words.phrases import VoicePack, sentence

if TYPE_CHECKING:  # sound takes 0.2 s to load, and commands that only plan need none
    from coach.ears.front import Ears
    from coach.measuring import Measured
    from coach.ports import Device
    from coach.session.events import Event
    from coach.session.state import Session, State
    from coach.snapshot import Snapshot
    from coach.voice.cache import ClipVoice

DEFAULT_PROGRAM = "ankle_steady"
"""Program that runs if none is named."""


@dataclass(frozen=True, slots=True)
class Prepared:
    """A program, its wording and today's plan for one person."""

    program: Program
    pack: VoicePack
    today: Today
    data: bytes = b""
    """Content of the program file, copied into the home when a session begins; empty: nothing is copied."""
    broken: Broken | None = None
    """Today's session, if it broke off in the work; then a person chooses what begins, never the coach."""
    history: History = field(default_factory=lambda: History((), ()))
    """All sessions of the person; the plan uses them."""
    left: Today | None = None
    """The rest of the session that broke off, to take up in place of `today`; None: nothing, or nothing permitted."""
    past: tuple[PastSession, ...] = ()
    """The sessions of this program as the plan sees them, oldest first."""


def halts_in(language: str) -> Mapping[str, str]:
    """Return all wordings of the halts in a language, with what to write instead.

    Raises VoicePackError if there is no such language.
    """
    return halt_words(load_pack(language))


def prepare(name: str, home: Home | None = None, person: str = "") -> Prepared:
    """Read the program that `name` means and plan today's session; an unknown person gets a first session."""
    return planned(open_file(find(name), halts_in), home, person)


def planned(file: ProgramFile, home: Home | None = None, person: str = "", history: History | None = None) -> Prepared:
    """Plan today's session of a program for a person; `history` is theirs, if it has been read."""
    program = file.program
    pack = load_pack(program.language)
    if home is None or person not in home.people():
        return Prepared(program, pack, plan(program, (), wall_clock().astimezone().date()), file.data)
    history = history or home.history(person)
    sessions = past(history.sessions, program.id, history.unread)
    decided, day = home.decisions(person), home.today()
    today = replace(
        plan(program, sessions, day, decided.decisions),
        near_hold=near_hold_of(history.briefs, decided, program, day),
        goals=goals_due(decided.goals, ratings_of(history.briefs), day, program.ask_goals_days),
        news=NEWS_CLEARED if cleared_since(history.briefs, decided) else (),
    )
    broken = broken_off(history.sessions, program.id, home.now())
    known = broken is not None and sessions[-1].session == broken.session  # otherwise its rest is unknown
    left = take_up(today, broken) if broken and known else None
    if left is not None and broken is not None:
        near = near_hold_of(history.briefs, decided, program, day, within=broken.session)
        left = replace(left, near_hold=near)
    return Prepared(program, pack, today, file.data, broken, history, left, sessions)


def refuse_nothing(prepared: Prepared, labels: Labels) -> None:
    """Raise CoachError that says why, if no exercise is part of today's session."""
    if not prepared.today.exercises:
        whys = " ".join(labels.plain_clause(one.because) for one in prepared.today.left_out)
        raise CoachError(f"{labels('today_nothing')} {whys}")


def coach_voice(home: Home, pack: VoicePack) -> ClipVoice:
    """Return the coach's voice for a language; nothing is rendered yet."""
    from coach.voice.cache import ClipVoice
    from coach.voice.render import Renderer

    return ClipVoice(home.clips, Renderer(pack.speech.voice, pack.speech.rate))


def render_all(voice: ClipVoice, texts: Iterable[str], console: Console, label: str) -> int:
    """Render every text, with a progress bar; return how many were new."""
    from rich.progress import BarColumn, MofNCompleteColumn, Progress, TextColumn

    columns = (TextColumn("{task.description}"), BarColumn(), MofNCompleteColumn())
    with Progress(*columns, console=console, transient=True) as bar:
        task = bar.add_task(label, total=None)
        return voice.prepare(texts, lambda done, of: bar.update(task, completed=done, total=of))


def tell_unkept(because: str, labels: Labels, console: Console) -> None:
    """Say that the coach's clips are kept in memory only, if `because` gives the reason."""
    if because:
        console.print(f"! {labels('clips_unkept', because=because)}", soft_wrap=True, markup=False)


def sentences(prepared: Prepared) -> list[str]:
    """Return everything that the coach may say today."""
    return list(dict.fromkeys(sentence(prepared.pack, said) for said in repertoire(prepared.today)))


def first_line(prepared: Prepared, *, session: str, person: str, ears: tuple[str, ...], device: str) -> SessionBegun:
    """Return a session's first line."""
    speech = prepared.pack.speech
    voice = f"{speech.voice}, {speech.rate} words a minute"
    return session_begun(
        prepared.today,
        session=session,
        person=person,
        ears=ears,
        voice=voice,
        device=device,
        app_version=app_version(),
        in_words=Labels(prepared.pack.screens).clause,
    )


def app_version() -> str:
    """Return the version of this program, or "unknown" in a checkout that is not installed."""
    from importlib.metadata import PackageNotFoundError, version

    try:
        return version("home-session-coach")
    except PackageNotFoundError:
        return "unknown"


@dataclass(frozen=True, slots=True)
class SessionDevice:
    """A device to run a session on."""

    device: Device
    name: str
    """What the record calls it."""
    tell: Callable[[Session, Event, State], None] | None = None
    """Called for each event, if the patient is simulated."""


@dataclass(slots=True)
class Ran:
    """A session that has run."""

    why: str
    session: str
    seconds: float
    """How long it took by its own clock."""
    store: SessionStore
    """Closed; knows whether its file holds all of the record."""
    problem: str = ""
    """What ended it from outside, in a sentence: a device that is gone for good."""
    unkept: str = ""
    """Why the coach's clips are not kept on the disk; see `ClipVoice`."""


def run_session(
    prepared: Prepared,
    home: Home,
    person: str,
    on: SessionDevice,
    *,
    voice: ClipVoice,
    ears: Ears,
    show: Callable[[Snapshot], None] | None = None,
    poll: Callable[[], None] | None = None,
    measured: Measured | None = None,
) -> Ran:
    """Run one session and keep its record in `home`. For `show` and `measured` see `engine.Hooks`."""
    from coach.engine import Assignment, Engine, Equipment, Hooks

    labels = Labels(prepared.pack.screens)
    with home.one_session():
        refuse_on_hold(home, person, labels)
        keep(prepared, home, person)
        store = home.begin(person)

        def look_up() -> bool:
            if poll is not None:
                poll()
            return told().look()

        engine = Engine(
            Assignment(prepared.today, prepared.pack, home.person(person).name or person),
            Equipment(on.device, voice, ears, store),
            Hooks(show, on.tell, look_up, measured),
        )
        begun = first_line(prepared, session=store.session, person=person, ears=ears.names, device=on.name)
        problem = ""
        try:
            with told().noting():
                engine.run(begun)
        except CoachError as error:
            if not engine.begun:
                raise
            problem = str(error)
        ran = Ran(engine.session.end_why or "", store.session, engine.seconds, store, problem, voice.unkept)
        keep_holds(home, person, record_after(home, person, ran))
        return ran


def keep(prepared: Prepared, home: Home, person: str) -> None:
    """Keep a copy of the program file, and record its version if it is new to this person."""
    if not prepared.data:
        return
    program = prepared.program
    home.keep_program(person, program.id, program.digest, prepared.data)
    versions = [one.digest for one in home.decisions(person).versions if one.program == program.id]
    known = (prepared.history if prepared.history.sessions else home.history(person)).briefs
    ran = [one.digest for one in known if one.program == program.id]
    before = (versions or ran or [""])[-1]
    if not versions or before != program.digest:
        on = program.written_by.on
        line = ProgramVersion(
            program.id,
            program.digest,
            before if before != program.digest else "",
            program.written_by.who,
            on.isoformat() if on else "",
        )
        home.decide(person, line)


def tell_closed(sessions: Iterable[str], labels: Labels, console: Console) -> None:
    """Name the earlier sessions that had broken off and were closed now."""
    for session in sessions:
        console.print(f"! {labels('closed_broken', session=session)}", soft_wrap=True, markup=False)


def begun_and_left(prepared: Prepared) -> tuple[int, int]:
    """Return how many sets were begun in today's session before it broke off, and how many are left."""
    begun = sum(len(one.begun) for one in prepared.broken.exercises) if prepared.broken else 0
    return begun, sum(one.sets for one in ahead(prepared.left)) if prepared.left else 0


def told_broken(prepared: Prepared, labels: Labels) -> str:
    """Return a sentence about today's session that broke off; empty if none did."""
    if prepared.broken is None:
        return ""
    begun, left = begun_and_left(prepared)
    return labels("broke_off", session=prepared.broken.session, begun=begun, left=left)


def tell_end(home: Home, person: str, ran: Ran, labels: Labels, console: Console) -> None:
    """Show the summary of a session, where its record is and how to read it.

    Raises CoachError after the summary if the record could not be kept where it belongs or a device was lost.
    """
    console.print(summary(record_after(home, person, ran), labels))
    problem = not_kept(ran.store)
    if problem:
        raise RecordError(problem)
    if ran.problem:
        raise CoachError(ran.problem)
    path = home.person(person).sessions / f"{ran.session}.jsonl"
    console.print(f"{labels('record_at')}: {path}", soft_wrap=True, markup=False)
    command = f"coach log {person} --session {ran.session}"
    console.print(labels("read_it_with", command=command), soft_wrap=True, markup=False)
    tell_unkept(ran.unkept, labels, console)


def not_kept(store: SessionStore) -> str:
    """Return where a record that could not be kept in its place is, and what to do; empty if it is in its place."""
    if store.kept_at is None and not store.lost:
        return ""
    if store.kept_at is None:
        return f"{store.lost} The record of this session is lost except for what is shown here: copy it by hand."
    return (
        f"The record could not be written to {store.path}. It is whole in {store.kept_at}: when there is room again, "
        f"put it in the place of {store.path.name}, before the next session and before this computer is turned off."
    )


def record_after(home: Home, person: str, ran: Ran) -> SessionRecord:
    """Return the record of a session that has just run, even if it could not be kept in its place."""
    if not_kept(ran.store):
        return assemble(read_lines(ran.store.text, ran.session).lines)
    return record_of(home, person, ran.session)


def record_of(home: Home, person: str, session: str) -> SessionRecord:
    """Return the record of a session that is kept in its place."""
    found = read_session(home.person(person).sessions / f"{session}{ENDING}").session
    assert found is not None, "its first line is on the disk before anything is heard"
    return found.record
