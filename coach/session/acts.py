"""What a session does in a set and between sets; the rows of table.py name these."""

from __future__ import annotations

from coach.loglines.kinds import Resumed, StoodStill
from coach.loglines.reasons import SetWhy
from coach.program.model import Hold
from coach.session.changed import changed
from coach.session.commands import HUSH, Command, Record
from coach.session.easing import eased, eased_words, next_set_words, slowed
from coach.session.endings import exercise_ended
from coach.session.events import Event
from coach.session.lines import frozen, last_phase, planned_amount, set_begun, where, work_of
from coach.session.prompts import question_again
from coach.session.sets import close
from coach.session.state import Act, OpenExercise, Result, Session, State
from coach.session.wording import HOLD_ROUNDED, cautions, rest_words, say, text
from coach.session.work_layout import lay_anew


def say_cautions(session: Session, _event: Event) -> Result:
    """ "Tell me why" before the work: say the cautions again, then repeat the question."""
    asked = () if session.state is State.OPENING else question_again(session)
    return session, (*HUSH, *cautions(session), *asked)


# -- the work ---------------------------------------------------------------------------------------------------------


def go(session: Session, event: Event) -> Result:
    """Begin the set, or go on with it."""
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
        return session, (*HUSH, *lines)

    return act


def enough(session: Session, event: Event) -> Result:
    """ "That's all": the set is enough once the range's lower end is done, else it is cut short."""
    low, _ = planned_amount(session)
    done = session.open_set is not None and session.open_set.counted >= low
    return close_as("enough" if done else "cut")(session, event)


def ease_in_set(session: Session, event: Event) -> Result:
    """ "Easier" in a set: end it and ease the next."""
    session, lines = close(session, event.at, "eased")
    session, easing = eased(session, event.at, "asked")
    return session, (*HUSH, *lines, *easing, *eased_words(session))


def ease_between(session: Session, event: Event) -> Result:
    """ "Easier" between sets."""
    session, easing = eased(session, event.at, "asked")
    cut: tuple[Command, ...] = () if session.state is State.RESTING else HUSH
    words = say("exercise_over") if session.exercise.over else next_set_words(session)
    return session, (*cut, *easing, *words)


def slower(session: Session, event: Event) -> Result:
    """ "Slower" between sets."""
    session, lines = slowed(session, event.at)
    cut: tuple[Command, ...] = () if session.state is State.RESTING else HUSH
    return session, (*cut, *lines, *(say("slower_now") if lines else ()))


def slower_in_set(session: Session, event: Event) -> Result:
    """ "Slower" in a set: slow it down from the next rep on."""
    session, lines = slowed(session, event.at)
    return session, (*lines, *(lay_anew(session, ("slower_from_here", ())) if lines else ()))


def left_in_set(session: Session, _event: Event) -> Result:
    """Say how many are left: in place of the next number, or at once in a hold."""
    running = session.open_set
    assert running is not None
    if isinstance(work_of(session), Hold):
        told = (session.target - running.counted) // HOLD_ROUNDED * HOLD_ROUNDED
        return session, say("hold_left", n=told) if told > 0 else ()
    left = session.target - running.rep
    return session, lay_anew(session, ("left", (("n", left),)))


def stand_still(session: Session, event: Event) -> Result:
    """The phase has run out: stop the work and say so."""
    running = session.open_set
    assert running is not None
    finished = (
        not isinstance(work_of(session), Hold)
        and running.phase == last_phase(session)
        and running.phase_ran_out(event.at)
    )
    session = frozen(session, event.at)
    assert session.open_set is not None
    if finished:
        session = changed(session, open_set=changed(session.open_set, counted=session.open_set.counted + 1))
    here = where(session)
    line = StoodStill(here.exercise, here.level, here.set, here.side, running.number)
    return changed(session, still=True), (*HUSH, Record(event.at, line), *say("held"), *say("ready_when"))


def complete_set(session: Session, event: Event) -> Result:
    """Count the last rep, whose last phase has run out, and close the set."""
    session, _ = rep_done(session, event)
    return close_as("done")(session, event)


# -- between sets -----------------------------------------------------------------------------------------------------


def sets_left(session: Session, _event: Event) -> Result:
    """Say how many sets are left, the coming one included."""
    return session, (*HUSH, *say("sets_left", n=len(session.turns) - session.exercise.turn))


def sets_left_in_rest(session: Session, _event: Event) -> Result:
    """Say how many sets are left after the one just done."""
    left = 0 if session.exercise.over else len(session.turns) - session.exercise.turn - 1
    return session, say("sets_left", n=left)


def say_why(session: Session, _event: Event) -> Result:
    """Say why this exercise is done, as the therapist wrote it."""
    why = session.planned.exercise.why
    return session, (*HUSH, *(text(why) or say("no_why")))


def say_rest(session: Session, event: Event) -> Result:
    """ "Ready" in a rest: say how much is left; it does not shorten the prescribed rest."""
    return session, rest_words(session, event.at)


def next_turn(session: Session, _event: Event) -> Result:
    """Go on to the next set of this exercise."""
    return changed(session, exercise=changed(session.exercise, turn=session.exercise.turn + 1)), ()


def next_exercise(session: Session, event: Event) -> Result:
    """Go on to the next exercise."""
    lines = (exercise_ended(session, event.at),)
    following = OpenExercise(session.exercise.index + 1)
    return changed(session, exercise=following, asked_level=session.levels[following.index]), lines
