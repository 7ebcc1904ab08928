"""What a session does on a halt and its reason, on a pause, on a lost device, and when the person is ready again."""

from __future__ import annotations

from typing import Literal, NamedTuple

from coach.loglines.hearing import DeviceChanged
from coach.loglines.kinds import Halted, HaltedAgain, HaltExplained, Paused, Ready
from coach.loglines.reasons import HaltWhy
from coach.program.model import Action
from coach.session.changed import changed
from coach.session.commands import HUSH, Command, Record, Silence, WakeAt
from coach.session.easing import ease_the_day, eased
from coach.session.events import Event, On
from coach.session.lines import Where, frozen, phase_name, where
from coach.session.sets import stop
from coach.session.signs import body_told
from coach.session.state import Interruption, Question, Result, Session, State
from coach.session.wording import say

MIDWAY = frozenset({State.HALTED, State.RECOVERING, State.PAUSED, State.DEAF, State.MUTE})
"""States that are interruptions themselves: a further one leads back to where the first did."""

BACK = {State.LEAD_IN: State.WAITING, State.CONFIRMING: State.ASKING, State.SCREEN_CHECK: State.SCREENING}
"""The state to take up again, if it is not the interrupted one."""


def interrupted(session: Session, at: int) -> Session:
    """Freeze the set and note where "ready" will lead."""
    session = frozen(session, at)
    asking = session.state in (State.ASKING, State.CONFIRMING)
    if session.state in MIDWAY or (asking and session.pain_unmeasured):
        return session
    if session.state is State.SCREEN_CHECK:
        session = changed(session, screening=changed(session.screening, answers=()))
    back = State.LEAD_IN if session.open_set is not None else BACK.get(session.state, session.state)
    return changed(session, interruption=Interruption(back))


def _halted(session: Session, at: int) -> Session:
    """Interrupt the session, if it is not yet, and allow only the halt's own words."""
    session = interrupted(session, at)
    assert session.interruption is not None
    return changed(session, interruption=changed(session.interruption, quiet=True))


class _Moment(NamedTuple):
    """Where a session is when it is halted: the fields that Halted and HaltExplained share, in their order."""

    state: str
    ear: str
    exercise: str
    level: str
    set: int
    side: str
    rep: int
    phase: str
    set_id: int


def _moment(session: Session, event: Event) -> _Moment:
    """Return where the session is; exercise, level and side are empty before the exercises."""
    here = where(session) if session.exercising else Where("", "", 0, "")
    running = session.open_set
    in_set = (running.rep, phase_name(session), running.number) if running else (0, "", 0)
    return _Moment(str(session.state), event.ear, *here, *in_set)


def halt(session: Session, event: Event) -> Result:
    """Silence everything and note the halt."""
    line = Record(event.at, Halted(*_moment(session, event)))
    session = _halted(session, event.at)
    return changed(session, halts=session.halts + 1), (Silence(), WakeAt(None), line)


def halt_again(session: Session, event: Event) -> Result:
    """A halt in HALTED: silence again, and ask why once more."""
    return session, (Silence(), WakeAt(None), Record(event.at, HaltedAgain(event.ear)), *say("halt_why"))


def halt_deaf(session: Session, event: Event) -> Result:
    """A halt while a device is gone: silence, and from now on only the halt's own words."""
    if session.quiet:
        return session, (Silence(), Record(event.at, HaltedAgain(event.ear)))
    session, commands = halt(session, event)
    return session, tuple(c for c in commands if not isinstance(c, WakeAt))  # the wait for the device goes on


# -- why --------------------------------------------------------------------------------------------------------------


def _told(session: Session, event: Event, why: HaltWhy) -> Result:
    """The person said what is wrong, halted or not: silence everything and note it."""
    line = Record(event.at, HaltExplained(why, None, *_moment(session, event)))
    return _halted(session, event.at), (Silence(), WakeAt(None), line)


def tell_pain(session: Session, event: Event) -> Result:
    """ "Pain": fall silent and ask how much."""
    session, commands = _told(session, event, "pain")
    others = tuple(question for question in session.asks if question is not Question.HALT_PAIN)
    return session.with_asks(Question.HALT_PAIN, *others), commands


def tell_tired(session: Session, event: Event) -> Result:
    """ "Tired": do what the program says."""
    action = session.today.program.limits.tired
    last_halt = session.is_last_halt
    session, commands = _told(session, event, "tired")
    session, lines = stop(session, event.at, "halted_tired")
    commands += lines
    if action is Action.END_SESSION or last_halt:
        return changed(session, end_why="halts" if last_halt else "tired"), commands
    if not session.exercising:
        return session.with_decision("break"), commands
    if action is Action.END_EXERCISE:
        return _exercise_over(session, "tired", "tired_exercise"), commands
    if action is Action.EASE:
        session, easing = eased(session, event.at, "limits.tired")
        over = session.exercise.over == "eased"
        return session.with_decision("exercise_over" if over else "tired_ease"), commands + easing
    return session.with_decision("tired_set" if lines else "tired_rest"), commands


def tell_unsteady(session: Session, event: Event) -> Result:
    """ "Unsteady": do what the program says; a step down without a lower level ends the exercise.

    An exercise to come asks more of the same side as far as anybody knows: the file does not say which limb carries. So
    none of them is spared where the day is eased.
    """
    action = session.today.program.limits.unsteady
    last_halt = session.is_last_halt
    told_before = session.gave_way
    session, commands = _told(changed(session, gave_way=True), event, "unsteady")
    session, lines = stop(session, event.at, "halted_unsteady")
    commands += lines
    if not told_before:  # a session counts once
        session, signed = body_told(session, event.at, "unsteady")
        commands += signed
    if action is Action.END_SESSION or last_halt or session.on_hold:
        return changed(session, end_why="unsteady"), commands
    easing: tuple[Command, ...] = ()
    if action in (Action.EASE_THE_DAY, Action.STEP_DOWN):
        session, easing = ease_the_day(session, event.at, "limits.unsteady")
        commands += easing
    if not session.exercising:
        return session.with_decision("unsteady_today" if easing else "break"), commands
    if action is Action.STEP_DOWN and session.level > 0:
        session, lower = eased(session, event.at, "limits.unsteady")
        return session.with_decision("unsteady_step_down"), commands + lower
    return _exercise_over(session, "unsteady", "unsteady_day" if easing else "unsteady_exercise"), commands


def _exercise_over(session: Session, why: str, decision: str) -> Session:
    return session.with_exercise_over(why).with_back(State.SET_END).with_decision(decision)


def tell_break(session: Session, event: Event) -> Result:
    """Only a break: go on as before when the person is ready."""
    line = Record(event.at, HaltExplained("break", ear=event.ear))
    return session.with_decision("break"), (Silence(), WakeAt(None), line)


# -- ready and pauses -------------------------------------------------------------------------------------------------


def ready(session: Session, event: Event) -> Result:
    """The person is ready: go on with what was interrupted, or first ask how strong a told pain is."""
    line = Record(event.at, Ready(event.ear, session.open_set.number if session.open_set else 0))
    interruption = session.interruption if session.pain_unmeasured else None
    session = frozen(session, event.at)
    return changed(session, interruption=interruption), (*HUSH, line)


def pause(session: Session, event: Event) -> Result:
    """The person wants to wait."""
    line = Record(event.at, Paused("asked", event.ear))
    return interrupted(session, event.at), (Silence(), WakeAt(None), line)


def pause_unsure(session: Session, event: Event) -> Result:
    """Nobody answered while the work stood still."""
    return interrupted(session, event.at), (Silence(), WakeAt(None), Record(event.at, Paused("no_answer")))


def take_back(session: Session, _event: Event) -> Result:
    """Somebody spoke in the lead-in: do not begin, ask for "ready" again."""
    return session, (Silence(), WakeAt(None))


# -- devices and disk -------------------------------------------------------------------------------------------------

DEVICE: dict[On, Literal["mic_lost", "mic_back", "speaker_lost", "speaker_back"]] = {
    On.MIC_LOST: "mic_lost",
    On.MIC_BACK: "mic_back",
    On.SPEAKER_LOST: "speaker_lost",
    On.SPEAKER_BACK: "speaker_back",
}
"""The word in the record for each event of a device."""


def _device(session: Session, event: Event) -> tuple[Session, Record]:
    now = session.equipment
    mic = event.on is On.MIC_LOST or (now.mic_lost and event.on is not On.MIC_BACK)
    speaker = event.on is On.SPEAKER_LOST or (now.speaker_lost and event.on is not On.SPEAKER_BACK)
    line = DeviceChanged(DEVICE[event.on])
    return changed(session, equipment=changed(now, mic_lost=mic, speaker_lost=speaker)), Record(event.at, line)


def device(session: Session, event: Event) -> Result:
    """A device went or came back: silence everything."""
    session, line = _device(interrupted(session, event.at), event)
    return session, (Silence(), WakeAt(None), line)


def device_too(session: Session, event: Event) -> Result:
    """The other device went or came back while one was gone: note it and keep waiting."""
    session, line = _device(session, event)
    return session, (line,)


def record_trouble(session: Session, event: Event) -> Result:
    """The disk refuses the record, or has all of it again: note it, to be said when no work runs."""
    unwritten, told = event.on is On.UNWRITTEN, session.equipment.unwritten_told
    now = changed(session.equipment, unwritten=unwritten, unwritten_told=told and unwritten)
    return changed(session, equipment=now), ()
