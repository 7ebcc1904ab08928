"""What a session says and does on entering a state."""

from __future__ import annotations

from collections.abc import Callable

from coach.loglines.changes import Told
from coach.loglines.kinds import Asked
from coach.program.model import Hold, Reach
from coach.session.changed import changed
from coach.session.commands import Command, CutFrom, Record, Silence, WakeAt
from coach.session.endings import closing, ended
from coach.session.goals import question_about
from coach.session.lines import work_of
from coach.session.state import Question, Result, Session, State
from coach.session.waits import DEVICE_PATIENCE
from coach.session.wording import (
    ask,
    ask_goal,
    ask_ready,
    ask_screen,
    cautions,
    dose_words,
    own,
    read_back,
    rest_words,
    say,
    screen_answers,
    text,
)
from coach.tempo.units import to_samples


def opening(session: Session, at: int) -> Result:
    today = session.today
    program = today.program
    commands = say("greeting", title=program.title)
    if today.news:
        commands += (Record(at, Told("", today.news)), *(said for key in today.news for said in say(key)))
    if today.first_session:
        commands += cautions(session)
        if program.within_reach is not Reach.NOT_NEEDED:
            commands += say("someone_within_reach")
    elif program.within_reach is Reach.ALWAYS:
        commands += say("someone_within_reach")
    commands += say("how_to_halt")
    if today.taken_up:
        return session, commands + say("taken_up")
    for one in today.left_out:
        if one.news:
            commands += (Record(at, Told(one.exercise.id, (one.news,))), *say(one.news, name=one.exercise.name))
    return session, commands + say("exercises_today", n=len(today.exercises))


def checking(session: Session, _at: int) -> Result:
    return session, say("check_ready")


def screening(session: Session, at: int) -> Result:
    return session, (asked(f"screen.{session.screen_question.id}", at, session), *ask_screen(session))


def screen_check(session: Session, _at: int) -> Result:
    return session, screen_answers(session)


def rating(session: Session, at: int) -> Result:
    return session, (asked(question_about(session.goal), at, session), *ask_goal(session))


def record_words(session: Session) -> Result:
    """Say once that the record cannot be written; after a halt, wait until the person is ready."""
    now = session.equipment
    if not now.unwritten or now.unwritten_told or session.quiet:
        return session, ()
    return changed(session, equipment=changed(now, unwritten_told=True)), say("trouble_record")


def intro(session: Session, at: int) -> Result:
    exercise = session.planned.exercise
    session, trouble = record_words(session)
    session, commands = _news(session, at)
    commands = trouble + commands
    commands += say("exercise", n=session.exercise.index + 1, of=len(session.today.exercises), name=exercise.name)
    needs = (*exercise.needs, *exercise.levels[session.level].needs)
    if needs:
        commands += say("you_need", what=", ".join(needs))
    return changed(session, exercising=True), commands


def _news(session: Session, at: int) -> Result:
    """Say once what is new since last time and record it; leave out a step up that easing has undone."""
    index = session.exercise.index
    if index < session.introduced:
        return session, ()
    planned = session.planned
    news = tuple(key for key in planned.news if key != "news_up" or session.level == planned.level)
    session = changed(session, introduced=index + 1)
    if not news:
        return session, ()
    return session, (Record(at, Told(planned.exercise.id, news)), *(said for key in news for said in say(key)))


def setup(session: Session, _at: int) -> Result:
    level = session.planned.exercise.levels[session.level]
    commands = text(level.setup) + text(level.cue)
    if level.feel:
        commands += text(level.feel)
    return changed(session, exercise=changed(session.exercise, new_setup=False)), commands + dose_words(session)


def waiting(session: Session, _at: int) -> Result:
    return session, ask_ready(session)


def lead_in(session: Session, _at: int) -> Result:
    session = changed(session, placed=False)
    work = work_of(session)
    if isinstance(work, Hold):
        return session, say("lead_in_hold")
    return session, say("lead_in", name=work.steps[0].name)


def working(session: Session, _at: int) -> Result:
    return session, ()


def still(session: Session, at: int) -> Result:
    """Let the phase run out, or stop a hold at once; then stand still."""
    running = session.open_set
    assert running is not None
    until = at if isinstance(work_of(session), Hold) or running.phase_began is None else running.phase_until
    return changed(session, still=False), (CutFrom(until), WakeAt(until))


def set_end(session: Session, _at: int) -> Result:
    return session, say("set_done")


def asking(session: Session, at: int) -> Result:
    on_ladder = session.by_ladder and session.asked_about in (Question.PAIN, Question.HALT_PAIN)
    question = changed(session.open_question, given=None)  # an interrupted read-back does not count
    session = changed(session, open_question=changed(question, rung=session.rung or 0) if on_ladder else question)
    return session, (asked(str(session.asked_about), at, session), *ask(session))


def asked(question: str, at: int, session: Session) -> Command:
    """Return the line that records a question."""
    return Record(at, Asked(question, session.sets_begun))


def confirming(session: Session, _at: int) -> Result:
    return session, read_back(session)


def rest_seconds(session: Session) -> float:
    """Return the rest after the last set; the shorter one for changing sides if its other side comes next."""
    dose = session.planned.exercise.levels[session.asked_level].dose
    here, turns = session.exercise.turn, session.turns
    if session.introduced <= session.exercise.index:  # a session taken up begins with a full rest
        return dose.rest
    other_side = not session.exercise.over and here + 1 < len(turns) and turns[here + 1][0] == turns[here][0]
    return dose.change_sides if other_side else dose.rest


def resting(session: Session, at: int) -> Result:
    session = changed(session, rest_until=session.rest_from + to_samples(rest_seconds(session)))
    session, trouble = record_words(session)
    commands = trouble + rest_words(session, at)
    watch = session.planned.exercise.levels[session.level].watch
    if watch and commands and not session.exercise.over and session.exercise.turn + 1 < len(session.turns):
        commands += text(watch[session.exercise.turn % len(watch)])
    return session, (*commands, WakeAt(max(at, session.rest_until)))


def halted(session: Session, _at: int) -> Result:
    return session, say("halt_now") + say("halt_why")


def recovering(session: Session, _at: int) -> Result:
    assert session.interruption is not None
    return session, say(f"halt_{session.interruption.decision}") + say("halt_ready_when")


def paused(session: Session, _at: int) -> Result:
    return session, (Silence(), *say(own(session, "paused")))


def deaf(session: Session, at: int) -> Result:
    return session, (Silence(), *say(own(session, "deaf")), WakeAt(at + to_samples(DEVICE_PATIENCE)))


def mute(session: Session, at: int) -> Result:
    return session, (Silence(), WakeAt(at + to_samples(DEVICE_PATIENCE)))


ENTER: dict[State, Callable[[Session, int], Result]] = {
    State.OPENING: opening,
    State.CHECKING: checking,
    State.SCREENING: screening,
    State.SCREEN_CHECK: screen_check,
    State.RATING: rating,
    State.INTRO: intro,
    State.SETUP: setup,
    State.WAITING: waiting,
    State.LEAD_IN: lead_in,
    State.WORKING: working,
    State.STILL: still,
    State.SET_END: set_end,
    State.ASKING: asking,
    State.CONFIRMING: confirming,
    State.RESTING: resting,
    State.HALTED: halted,
    State.RECOVERING: recovering,
    State.PAUSED: paused,
    State.DEAF: deaf,
    State.MUTE: mute,
    State.CLOSING: closing,
    State.ENDED: ended,
}
