"""What a session does in screening, in a set and between sets; the rows of table.py name these."""

from __future__ import annotations

from coach.loglines.kinds import Answered, Resumed, ScreenConfirmed, ScreenDenied, StoodStill
from coach.loglines.reasons import SetWhy
from coach.program.model import Action, Hold
from coach.session import entries
from coach.session.changed import changed
from coach.session.commands import Command, CutFrom, PlaceCues, Record, Silence, WakeAt
from coach.session.easing import eased, eased_all, eased_words, next_set_words, slowed
from coach.session.entries import Result, say, text
from coach.session.events import Event, On
from coach.session.lines import frozen, last_phase, planned_amount, set_begun, where, work_of
from coach.session.plan import NEXT_DAY
from coach.session.prompts import Act, question_again
from coach.session.sets import close, go_on
from coach.session.state import Session, State
from coach.tempo.timeline import At, Mark, lay_out


def say_cautions(session: Session, _event: Event) -> Result:
    """ "Tell me why" before the work: the cautions once more, then what was asked."""
    asked = () if session.state is State.OPENING else question_again(session)
    return session, (WakeAt(-1), Silence(), *entries.cautions(session), *asked)


# -- screening --------------------------------------------------------------------------------------------------------


def answer_screen(session: Session, event: Event) -> Result:
    """Note a yes or no and what it leads to."""
    question = session.today.screen[session.screen_index]
    answer = event.on is On.YES
    line = Answered(f"screen.{question.id}", answer, event.ear, read_back=False, attempts=session.prompts + 1)
    answered = changed(session, screen_index=session.screen_index + 1, screen_answers=(*session.screen_answers, answer))
    return answered, (WakeAt(-1), Silence(), Record(event.at, line))


def screen_ends(session: Session, event: Event) -> Result:
    """The answer ends the session before it begins."""
    session, commands = answer_screen(session, event)
    return changed(session, end_why="screen"), commands


def screen_confirmed(session: Session, event: Event) -> Result:
    """The answers stand: ease from the start where one of them says so."""
    commands: tuple[Command, ...] = (WakeAt(-1), Silence(), Record(event.at, ScreenConfirmed(event.ear)))
    causes = [
        question.id
        for question, answer in zip(session.today.screen, session.screen_answers, strict=True)
        if answer is question.answer and question.action in (Action.EASE, Action.STEP_DOWN)
    ]
    if causes:  # one step only; a worse morning after lasts longer than today, so it is the cause that is noted
        cause = NEXT_DAY if NEXT_DAY in causes else causes[0]
        session, lines = eased_all(session, event.at, f"screen.{cause}")
        commands += (*lines, *say("eased_today"))
    return go_on(changed(session, attempts=0), event.at), commands


def screen_anew(session: Session, event: Event) -> Result:
    """The read-back was denied: all questions again."""
    denied = changed(session, screen_index=0, screen_answers=(), attempts=session.attempts + 1)
    return denied, (WakeAt(-1), Silence(), Record(event.at, ScreenDenied(event.ear)))


def screen_unsettled(session: Session, event: Event) -> Result:
    """The read-back was denied too often: without answers there is no session."""
    return changed(session, end_why="screen"), (WakeAt(-1), Silence(), Record(event.at, ScreenDenied(event.ear)))


# -- the work ---------------------------------------------------------------------------------------------------------


def place_work(session: Session, event: Event) -> Result:
    """The lead-in was said: place its beats and the work."""
    return entries.placed(session, event.at)


def go(session: Session, event: Event) -> Result:
    """The set begins, or goes on."""
    if session.open_set is not None:
        return session, (Record(event.at, Resumed(session.open_set.number)),)
    session, line = set_begun(session, event.at)
    return session, (line,)


def rep(session: Session, event: Event) -> Result:
    assert session.open_set is not None
    return changed(
        session, open_set=changed(session.open_set, rep=event.number, rep_until=event.until, side=event.side)
    ), ()


def phase(session: Session, event: Event) -> Result:
    session = frozen(session, event.at)
    assert session.open_set is not None
    running = changed(
        session.open_set, rep=event.number, phase=event.phase, phase_began=event.at, phase_until=event.until
    )
    return changed(session, open_set=running), ()


def rep_done(session: Session, event: Event) -> Result:
    session = frozen(session, event.at)
    assert session.open_set is not None
    return changed(session, open_set=changed(session.open_set, counted=session.open_set.counted + 1)), ()


def second(session: Session, event: Event) -> Result:
    assert session.open_set is not None
    return changed(session, open_set=changed(session.open_set, counted=event.number)), ()


def close_as(why: SetWhy) -> Act:
    """Return the act that closes the set for this reason, begins its rest and lines up its questions."""

    def act(session: Session, event: Event) -> Result:
        session, lines = close(session, event.at, why)
        return session, (WakeAt(-1), Silence(), *lines)

    return act


def enough(session: Session, event: Event) -> Result:
    """ "That's all": enough if the least of the range is done, else cut short."""
    low, _ = planned_amount(session)
    done = session.open_set is not None and session.open_set.counted >= low
    return close_as("enough" if done else "cut")(session, event)


def ease_in_set(session: Session, event: Event) -> Result:
    """ "Easier" in a set ends it; the next is easier."""
    session, lines = close(session, event.at, "eased")
    session, easing = eased(session, event.at, "asked")
    return session, (WakeAt(-1), Silence(), *lines, *easing, *eased_words(session))


def ease_between(session: Session, event: Event) -> Result:
    """ "Easier" between sets."""
    session, easing = eased(session, event.at, "asked")
    cut: tuple[Command, ...] = () if session.state is State.RESTING else (WakeAt(-1), Silence())
    words = say("exercise_over") if session.exercise_over else next_set_words(session)
    return session, (*cut, *easing, *words)


def slower(session: Session, event: Event) -> Result:
    """ "Slower" between sets."""
    session, lines = slowed(session, event.at)
    cut: tuple[Command, ...] = () if session.state is State.RESTING else (WakeAt(-1), Silence())
    return session, (*cut, *lines, *(say("slower_now") if lines else ()))


def slower_in_set(session: Session, event: Event) -> Result:
    """ "Slower" in a set: from the next rep on."""
    session, lines = slowed(session, event.at)
    return session, (*lines, *(_lay_anew(session, ("slower_from_here", ())) if lines else ()))


def left_in_set(session: Session, _event: Event) -> Result:
    """Say how many are left: in place of the next number, or at once in a hold."""
    running = session.open_set
    assert running is not None
    if isinstance(work_of(session), Hold):
        told = (session.target - running.counted) // entries.HOLD_ROUNDED * entries.HOLD_ROUNDED
        return session, say("hold_left", n=told) if told > 0 else ()
    left = session.target - running.rep
    return session, _lay_anew(session, ("left", (("n", left),)))


def _lay_anew(session: Session, opening: tuple[str, tuple[tuple[str, str | int], ...]]) -> tuple[Command, ...]:
    """Lay out anew all that comes after the rep that runs; `opening` is said in place of the next number."""
    running, work, sides = session.open_set, work_of(session), session.sides
    assert running is not None
    if isinstance(work, Hold) or running.rep >= session.target or running.phase_began < 0:
        return ()
    end = running.rep_until  # the rep that runs may have been laid out at another tempo than the session's now
    layout = lay_out(
        work,
        start=end,
        first=running.rep + 1,
        last=session.target,
        sides=sides,
        stretch=session.stretch,
        opening=opening,
    )
    done = Mark(end, At.REP_DONE, running.rep, last_phase(session), sides[-1])
    return (CutFrom(end), PlaceCues(layout.cues, (done, *layout.marks)))


def stand_still(session: Session, event: Event) -> Result:
    """The phase has run out: hold, and say so."""
    running = session.open_set
    assert running is not None
    finished = (
        not isinstance(work_of(session), Hold)
        and running.phase == last_phase(session)
        and 0 <= running.phase_began < running.phase_until <= event.at
    )
    session = frozen(session, event.at)
    assert session.open_set is not None
    if finished:
        session = changed(session, open_set=changed(session.open_set, counted=session.open_set.counted + 1))
    here = where(session)
    line = StoodStill(here.exercise, here.level, here.set, here.side, running.number)
    return changed(session, still=True), (
        WakeAt(-1),
        Silence(),
        Record(event.at, line),
        *say("held"),
        *say("ready_when"),
    )


def complete_set(session: Session, event: Event) -> Result:
    """The phase that ran out was the last of the set."""
    session, _ = rep_done(session, event)
    return close_as("done")(session, event)


# -- between sets -----------------------------------------------------------------------------------------------------


def sets_left(session: Session, _event: Event) -> Result:
    """Say how many sets are left, the coming one included."""
    return session, (WakeAt(-1), Silence(), *say("sets_left", n=len(session.turns) - session.turn))


def sets_left_in_rest(session: Session, _event: Event) -> Result:
    """Say how many sets are left behind the one just done."""
    left = 0 if session.exercise_over else len(session.turns) - session.turn - 1
    return session, say("sets_left", n=left)


def say_why(session: Session, _event: Event) -> Result:
    """Say why this exercise is done, as the therapist wrote it."""
    why = session.planned.exercise.why
    return session, (WakeAt(-1), Silence(), *(text(why) or say("no_why")))


def say_rest(session: Session, event: Event) -> Result:
    """ "Ready" does not shorten a rest that the program prescribes; say how much is left."""
    return session, entries.rest_words(session, event.at)


def next_turn(session: Session, _event: Event) -> Result:
    """On to the next set of this exercise."""
    return changed(session, turn=session.turn + 1), ()


def next_exercise(session: Session, event: Event) -> Result:
    """On to the next exercise."""
    lines = (entries.exercise_ended(session, event.at),)
    return changed(
        session,
        exercise_index=session.exercise_index + 1,
        asked_level=session.levels[session.exercise_index + 1],
        turn=0,
        stretch=1.0,
        cut_sets=0,
        exercise_over="",
        new_setup=False,
    ), lines
