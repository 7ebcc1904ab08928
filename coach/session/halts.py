"""What a session does on a halt and its why, on a pause, on a lost device, and at its end."""

from __future__ import annotations

from typing import Literal

from coach.loglines.kinds import (
    DeviceChanged,
    Halted,
    HaltedAgain,
    HaltExplained,
    Paused,
    Ready,
)
from coach.loglines.reasons import HaltWhy, SessionWhy
from coach.program.model import Action
from coach.session.changed import changed
from coach.session.commands import Command, Record, Silence, WakeAt
from coach.session.easing import eased
from coach.session.entries import Result, say
from coach.session.events import Event, On
from coach.session.guards import too_many_halts
from coach.session.lines import Where, frozen, phase_name, set_ended, where
from coach.session.prompts import Act
from coach.session.sets import stop
from coach.session.state import Question, Session, State, Then

MIDWAY = frozenset({State.HALTED, State.RECOVERING, State.PAUSED, State.DEAF, State.MUTE})
"""States that keep where an earlier interruption leads back to."""

BACK = {State.LEAD_IN: State.WAITING, State.CONFIRMING: State.ASKING, State.SCREEN_CHECK: State.SCREENING}
"""State that is taken up again where it is not the interrupted one itself."""


def interrupted(session: Session, at: int) -> Session:
    """Freeze the set and note where "ready" will lead."""
    session = frozen(session, at)
    asking = session.state in (State.ASKING, State.CONFIRMING)
    if session.state in MIDWAY or (asking and session.asked_about is Question.HALT_PAIN):
        return session
    if session.open_set is not None:
        return changed(session, then=Then.SET, back=State.WAITING)
    if session.state is State.SET_END:
        return changed(session, then=Then.REST)
    if session.state is State.SCREEN_CHECK:
        session = changed(session, screen_index=0, screen_answers=())
    return changed(session, then=Then.BACK, back=BACK.get(session.state, session.state))


def halt(session: Session, event: Event) -> Result:
    """Everything falls silent."""
    here, running = _where(session), session.open_set
    line = Halted(
        state=str(session.state),
        ear=event.ear,
        exercise=here.exercise,
        level=here.level,
        set=here.set,
        side=here.side,
        rep=running.rep if running else 0,
        phase=phase_name(session) if running else "",
        set_id=running.number if running else 0,
    )
    session = interrupted(session, event.at)
    return changed(session, quiet=True, halts=session.halts + 1, prompts=0), (
        Silence(),
        WakeAt(-1),
        Record(event.at, line),
    )


def _where(session: Session) -> Where:
    """Return where the session is, for the line of a halt; empty before the exercises."""
    return where(session) if session.exercising else Where("", "", 0, "")


def halt_again(session: Session, event: Event) -> Result:
    """Halted already: silent again, and asked why once more."""
    return session, (Silence(), WakeAt(-1), Record(event.at, HaltedAgain(event.ear)), *say("halt_why"))


def halt_deaf(session: Session, event: Event) -> Result:
    """A halt while a device is gone: nothing sounds, and "ready" is waited for in the halt's own words."""
    if session.quiet:
        return session, (Silence(), Record(event.at, HaltedAgain(event.ear)))
    session, commands = halt(session, event)
    return session, tuple(c for c in commands if not isinstance(c, WakeAt))  # the wait for the device goes on


def tell_pain(session: Session, event: Event) -> Result:
    """ "Pain": silent, and asked how much."""
    session, commands = _told(session, event, "pain")
    others = tuple(question for question in session.asks if question is not Question.HALT_PAIN)
    return session.with_asks(Question.HALT_PAIN, *others), commands


def tell_tired(session: Session, event: Event) -> Result:
    """ "Tired": as the program says."""
    action = session.today.program.limits.tired
    too_many = too_many_halts(session)
    session, commands = _told(session, event, "tired")
    session, lines = stop(session, event.at, "halted_tired")
    commands += lines
    if action is Action.END_SESSION or too_many:
        return changed(session, end_why="halts" if too_many else "tired"), commands
    if not session.exercising:
        return changed(session, decision="break"), commands
    if action is Action.END_EXERCISE:
        return changed(session, exercise_over="tired", decision="tired_exercise", then=Then.REST), commands
    if action is Action.EASE:
        session, easing = eased(session, event.at, "limits.tired")
        decision = "exercise_over" if session.exercise_over == "eased" else "tired_ease"
        return changed(session, decision=decision), commands + easing
    return changed(session, decision="tired_set" if lines else "tired_rest"), commands


def tell_unsteady(session: Session, event: Event) -> Result:
    """ "Unsteady": as the program says; without a lower level a step down ends the exercise."""
    action = session.today.program.limits.unsteady
    too_many = too_many_halts(session)
    session, commands = _told(changed(session, gave_way=True), event, "unsteady")
    session, lines = stop(session, event.at, "halted_unsteady")
    commands += lines
    if action is Action.END_SESSION or too_many:
        return changed(session, end_why="unsteady"), commands
    if not session.exercising:
        return changed(session, decision="break"), commands
    if action is Action.STEP_DOWN and session.level > 0:
        session, easing = eased(session, event.at, "limits.unsteady")
        return changed(session, decision="unsteady_step_down"), commands + easing
    return changed(session, exercise_over="unsteady", decision="unsteady_exercise", then=Then.REST), commands


def _told(session: Session, event: Event, why: HaltWhy) -> Result:
    """Silence everything because the person said why, halted or not."""
    here, running = _where(session), session.open_set
    line = HaltExplained(
        why=why,
        state=str(session.state),
        ear=event.ear,
        exercise=here.exercise,
        level=here.level,
        set=here.set,
        side=here.side,
        rep=running.rep if running else 0,
        phase=phase_name(session) if running else "",
        set_id=running.number if running else 0,
    )
    session = interrupted(session, event.at)
    return changed(session, quiet=True, prompts=0), (Silence(), WakeAt(-1), Record(event.at, line))


def tell_break(session: Session, event: Event) -> Result:
    """Just a break: all as it was, when the person is ready."""
    line = Record(event.at, HaltExplained("break", ear=event.ear))
    return changed(session, decision="break", prompts=0), (Silence(), WakeAt(-1), line)


def ready(session: Session, event: Event) -> Result:
    """The person is ready: the halt, if there was one, is over."""
    line = Record(event.at, Ready(event.ear, session.open_set.number if session.open_set else 0))
    session = frozen(session, event.at)
    unmeasured = session.asks[:1] == (Question.HALT_PAIN,)  # pain was told: how much comes before anything else
    return changed(session, quiet=session.quiet and unmeasured, still=False, prompts=0), (
        WakeAt(-1),
        Silence(),
        line,
    )


def pause(session: Session, event: Event) -> Result:
    """The person wants to wait."""
    session = interrupted(session, event.at)
    return changed(session, prompts=0), (Silence(), WakeAt(-1), Record(event.at, Paused("asked", event.ear)))


def pause_unsure(session: Session, event: Event) -> Result:
    """Nobody answered while the work stood still."""
    session = interrupted(session, event.at)
    return changed(session, prompts=0), (Silence(), WakeAt(-1), Record(event.at, Paused("no_answer")))


def take_back(session: Session, _event: Event) -> Result:
    """Something was said in the lead-in: do not begin, ask for "ready" again."""
    return changed(session, then=Then.SET if session.open_set else Then.BACK), (Silence(), WakeAt(-1))


DEVICE: dict[On, Literal["mic_lost", "mic_back", "speaker_lost", "speaker_back"]] = {
    On.MIC_LOST: "mic_lost",
    On.MIC_BACK: "mic_back",
    On.SPEAKER_LOST: "speaker_lost",
    On.SPEAKER_BACK: "speaker_back",
}
"""What the record says of each event of a device."""


def _device(session: Session, event: Event) -> tuple[Session, Record]:
    mic = event.on is On.MIC_LOST or (session.mic_lost and event.on is not On.MIC_BACK)
    speaker = event.on is On.SPEAKER_LOST or (session.speaker_lost and event.on is not On.SPEAKER_BACK)
    line = DeviceChanged(DEVICE[event.on])
    return changed(session, mic_lost=mic, speaker_lost=speaker), Record(event.at, line)


def device(session: Session, event: Event) -> Result:
    """A device went or came back: everything falls silent."""
    session, line = _device(interrupted(session, event.at), event)
    return session, (Silence(), WakeAt(-1), line)


def device_too(session: Session, event: Event) -> Result:
    """The other device went or came back while one was gone: noted; the wait goes on."""
    session, line = _device(session, event)
    return session, (line,)


def record_trouble(session: Session, event: Event) -> Result:
    """The disk refuses the record, or has it all again: noted, and said when no work runs."""
    unwritten = event.on is On.UNWRITTEN
    return changed(session, unwritten=unwritten, unwritten_told=session.unwritten_told and unwritten), ()


def end_as(why: SessionWhy) -> Act:
    """Return the act that ends the session for this reason; a reason found earlier stands."""

    def act(session: Session, event: Event) -> Result:
        session = frozen(session, event.at)
        reason: SessionWhy = "no_answer_halt" if why == "no_answer" and session.quiet else why
        return changed(session, end_why=session.end_why or reason), (WakeAt(-1),)

    return act


def end_halts(session: Session, event: Event) -> Result:
    """The last halt that the program allows: the open set ended with it, explained or not."""
    explained = event.on is not On.READY
    lines: tuple[Command, ...] = (Record(event.at, HaltExplained("break", ear=event.ear)),) if explained else ()
    session, closed = set_ended(session, event.at, "halted_break" if explained else "halted_unexplained")
    return changed(session, end_why="halts"), (WakeAt(-1), *lines, *closed)
