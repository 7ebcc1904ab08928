"""What a session does on an event, before it enters the next state; the table in states.py names these."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

from coach.program.model import Action, AskAfter, Hold, Reps
from coach.session import entries
from coach.session.commands import Command, CutFrom, Place, Record, Silence, WakeAt
from coach.session.entries import Result, own, say, text
from coach.session.events import Event, On
from coach.session.lines import frozen, heard_line, planned_amount, set_begun, set_ended, where, work_of
from coach.session.rules import SLOWER_BY, SLOWEST, Band, band, ease
from coach.session.state import Question, Session, State, Then
from coach.tempo.timeline import At, Mark, lay_out
from coach.tempo.units import to_samples

Act = Callable[[Session, Event], Result]


def nothing(session: Session, _event: Event) -> Result:
    """Take the event and do nothing."""
    return session, ()


# -- prompts ----------------------------------------------------------------------------------------------------------


def open_window(session: Session, event: Event) -> Result:
    """All was said: wait for an answer for as long as this state does."""
    soft = session.state is State.CONFIRMING and session.asked_about in (Question.EFFORT, Question.MISSED)
    seconds = entries.SOFT_CONFIRM if soft else entries.WINDOW[session.state]
    return session, (WakeAt(event.at + to_samples(seconds)),)


def prompt_again(session: Session, event: Event) -> Result:
    """Ask again; speech that was not understood is told apart from silence."""
    session = replace(session, prompts=session.prompts + 1)
    lead = own(session, "not_understood") if event.on is On.SPOKE else own(session, "nothing_heard")
    return session, (WakeAt(-1), Silence(), *say(lead), *question_again(session))


def question_again(session: Session) -> tuple[Command, ...]:
    """Return the present state's request once more, in few words."""
    match session.state:
        case State.SCREENING:
            return entries.ask_screen(session)
        case State.SCREEN_CHECK:
            return entries.screen_answers(session)
        case State.ASKING:
            return entries.ask(session)
        case State.CONFIRMING:
            return entries.read_back(session)
        case State.HALTED:
            return say("halt_why")
        case State.RECOVERING | State.PAUSED if session.halted:
            return say("halt_ready_when")
        case State.HOLDING | State.PAUSED:
            return say("ready_when")
        case _:
            return say("ask_ready")


def say_again(session: Session, _event: Event) -> Result:
    """Say once more what was asked for."""
    return session, (WakeAt(-1), Silence(), *question_again(session))


def hush(session: Session, _event: Event) -> Result:
    """Cut what is being said, to say it anew."""
    return session, (WakeAt(-1), Silence())


def not_yet(session: Session, _event: Event) -> Result:
    """ "No" when asked to be ready: take your time."""
    return session, (WakeAt(-1), Silence(), *say("take_your_time"))


# -- screening --------------------------------------------------------------------------------------------------------


def answer_screen(session: Session, event: Event) -> Result:
    """Note a yes or no and what it leads to."""
    question = session.today.screen[session.screen_index]
    answer = event.on is On.YES
    line = heard_line("answered", event, {"question": f"screen.{question.id}", "value": answer, "read_back": False,
                                          "attempts": session.prompts + 1})  # fmt: skip
    answered = replace(session, screen_index=session.screen_index + 1, screen_answers=(*session.screen_answers, answer))
    return answered, (WakeAt(-1), Silence(), line)


def screen_ends(session: Session, event: Event) -> Result:
    """The answer ends the session before it begins."""
    session, commands = answer_screen(session, event)
    return replace(session, end_why="screen"), commands


def screen_confirmed(session: Session, event: Event) -> Result:
    """The answers stand: ease from the start where one of them says so."""
    commands: tuple[Command, ...] = (WakeAt(-1), Silence(), heard_line("screen_confirmed", event, {}))
    for question, answer in zip(session.today.screen, session.screen_answers, strict=True):
        if answer is question.answer and question.action in (Action.EASE, Action.STEP_DOWN):
            session, lines = ease_all(session, event, f"screen.{question.id}")
            commands += lines
            commands += say("eased_today")
            break
    return session, commands


def screen_anew(session: Session, event: Event) -> Result:
    """The read-back was denied: all questions again."""
    return replace(session, screen_index=0, screen_answers=()), (
        WakeAt(-1), Silence(), heard_line("screen_denied", event, {}))  # fmt: skip


def ease_all(session: Session, event: Event, because: str) -> Result:
    """Ease every exercise of today by one step."""
    commands: tuple[Command, ...] = ()
    here = session.exercise_index
    for index in range(len(session.today.exercises)):
        session, lines = _ease(replace(session, exercise_index=index), event.at, because)
        commands += lines
    return replace(session, exercise_index=here, new_setup=False), commands


def _ease(session: Session, at: int, because: str) -> Result:
    exercise = session.planned.exercise.id
    session, what, (before, after) = ease(session)
    line = Record("eased", at, {"exercise": exercise, "what": what, "from": before, "to": after, "because": because})
    return replace(session, new_setup=session.new_setup or what == "level"), (line,)


# -- the work ---------------------------------------------------------------------------------------------------------


def place_work(session: Session, event: Event) -> Result:
    """The lead-in was said: place its beats and the work."""
    return entries.placed(session, event.at)


def go(session: Session, event: Event) -> Result:
    """The set begins, or goes on."""
    if session.open_set is not None:
        return session, (Record("resumed", event.at, {"set_id": session.open_set.number}),)
    session, line = set_begun(session, event.at)
    return session, (line,)


def rep(session: Session, event: Event) -> Result:
    assert session.open_set is not None
    return replace(session, open_set=replace(session.open_set, rep=event.number, side=event.side)), ()


def phase(session: Session, event: Event) -> Result:
    session = frozen(session, event.at)
    assert session.open_set is not None
    running = replace(
        session.open_set, rep=event.number, phase=event.phase, phase_began=event.at, phase_until=event.until
    )
    return replace(session, open_set=running), ()


def rep_done(session: Session, event: Event) -> Result:
    session = frozen(session, event.at)
    assert session.open_set is not None
    return replace(session, open_set=replace(session.open_set, counted=session.open_set.counted + 1)), ()


def second(session: Session, event: Event) -> Result:
    assert session.open_set is not None
    return replace(session, open_set=replace(session.open_set, counted=event.number)), ()


def close_as(why: str) -> Act:
    """Return the act that closes the set for this reason, begins its rest and lines up its questions."""

    def act(session: Session, event: Event) -> Result:
        session, lines = _close(session, event.at, why)
        return session, (WakeAt(-1), Silence(), *lines)

    return act


def enough(session: Session, event: Event) -> Result:
    """ "That's all": enough if the least of the range is done, else cut short."""
    low, _ = planned_amount(session)
    done = session.open_set is not None and session.open_set.counted >= low
    return close_as("enough" if done else "cut")(session, event)


def _close(session: Session, at: int, why: str) -> Result:
    """Close the open set, begin its rest and line up its questions."""
    counted = session.open_set.counted if session.open_set else 0
    rest = _rest_seconds(session)
    session, lines = set_ended(session, at, why)
    last = session.turn + 1 >= len(session.turns) or bool(session.exercise_over)
    program = session.today.program
    wanted = (
        (Question.REPS, program.ask_reps if counted else AskAfter.NEVER),
        (Question.PAIN, program.ask_pain),
        (Question.EFFORT, program.ask_effort),
    )
    asks = tuple(q for q, when in wanted if when is AskAfter.EACH_SET or (when is AskAfter.EACH_EXERCISE and last))
    if session.asks[:1] == (Question.HALT_PAIN,):
        asks = (Question.HALT_PAIN, *asks)  # pain was told and not yet measured: that stays to be asked
    return replace(session, asks=asks, rest_until=at + to_samples(rest)), lines


def _rest_seconds(session: Session) -> float:
    """Return the rest behind the present set: to change sides, or in full."""
    level = session.planned.exercise.levels[session.level].dose
    turns = session.turns
    same_set = session.turn + 1 < len(turns) and turns[session.turn + 1][0] == turns[session.turn][0]
    return level.change_sides if same_set else level.rest


def ease_in_set(session: Session, event: Event) -> Result:
    """ "Easier" in a set ends it; the next is easier."""
    session, lines = _close(session, event.at, "eased")
    session, eased = _ease(session, event.at, "asked")
    return session, (WakeAt(-1), Silence(), *lines, *eased, *_eased_words(session))


def ease_between(session: Session, event: Event) -> Result:
    """ "Easier" between sets."""
    session, eased = _ease(session, event.at, "asked")
    cut: tuple[Command, ...] = () if session.state is State.RESTING else (WakeAt(-1), Silence())
    return session, (*cut, *eased, *_eased_words(session))


def _eased_words(session: Session) -> tuple[Command, ...]:
    return say("eased_level") if session.new_setup else say("eased_amount", n=session.target)


def slower(session: Session, event: Event) -> Result:
    """Make every phase longer, from the next rep on if a set runs."""
    before = session.stretch
    session = replace(session, stretch=min(before * SLOWER_BY, SLOWEST))
    line = Record(
        "eased",
        event.at,
        {
            "exercise": session.planned.exercise.id,
            "what": "slower",
            "from": f"{before:g}",
            "to": f"{session.stretch:g}",
            "because": "asked",
        },
    )
    if session.state is State.RESTING:
        return session, (line, *say("slower_now"))
    if session.state is not State.WORKING:
        return session, (WakeAt(-1), Silence(), line, *say("slower_now"))
    return session, (line, *_lay_anew(session, before, ("slower_from_here", ())))


def left_in_set(session: Session, event: Event) -> Result:
    """Say how many are left: in place of the next number, or at once in a hold."""
    running = session.open_set
    assert running is not None
    if isinstance(work_of(session), Hold):
        left = session.target - running.counted
        return session, say("hold_left", n=max(5, left // 5 * 5)) if left >= 5 else ()  # noqa: PLR2004
    left = session.target - running.rep
    return session, _lay_anew(session, session.stretch, ("left", (("n", left),)))


def _lay_anew(
    session: Session, stretch: float, opening: tuple[str, tuple[tuple[str, str | int], ...]]
) -> tuple[Command, ...]:
    """Lay out anew all that comes after the rep that runs, which is at `stretch`; `opening` replaces the next number."""
    running, work = session.open_set, work_of(session)
    assert running is not None
    if isinstance(work, Hold) or running.rep >= session.target or running.phase_began < 0:
        return ()
    steps = work.phases if isinstance(work, Reps) else work.points
    lengths = [to_samples(step.seconds * stretch) for step in steps]
    sides = session.sides
    turn = sides.index(running.side) if running.side in sides else len(sides) - 1
    end = running.phase_until + sum(lengths[running.phase + 1 :]) + sum(lengths) * (len(sides) - 1 - turn)
    layout = lay_out(
        work,
        start=end,
        first=running.rep + 1,
        last=session.target,
        sides=sides,
        stretch=session.stretch,
        opening=opening,
    )
    done = Mark(end, At.REP_DONE, running.rep, len(steps) - 1, sides[-1])
    return (CutFrom(end), Place(layout.cues, (done, *layout.marks)))


def hold_here(session: Session, event: Event) -> Result:
    """The phase has run out: hold, and say so."""
    running = session.open_set
    assert running is not None
    work = work_of(session)
    steps = 0 if isinstance(work, Hold) else len(work.phases if isinstance(work, Reps) else work.points)
    finished = bool(steps) and running.phase == steps - 1 and 0 <= running.phase_began < running.phase_until <= event.at
    session = frozen(session, event.at)
    assert session.open_set is not None
    if finished:
        session = replace(session, open_set=replace(session.open_set, counted=session.open_set.counted + 1))
    line = Record("held", event.at, where(session) | {"set_id": running.number})
    return replace(session, held=True), (WakeAt(-1), Silence(), line, *say("held"), *say("ready_when"))


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
    return replace(session, turn=session.turn + 1), ()


def next_exercise(session: Session, event: Event) -> Result:
    """On to the next exercise."""
    lines = (entries.exercise_ended(session, event.at),)
    return replace(
        session,
        exercise_index=session.exercise_index + 1,
        turn=0,
        stretch=1.0,
        cut_sets=0,
        exercise_over="",
        new_setup=False,
    ), lines


# -- questions about a set ----------------------------------------------------------------------------------------------


def note_number(session: Session, event: Event) -> Result:
    """A number was heard: it is read back before it counts."""
    noted = replace(
        session,
        number=event.number,
        worst=max(session.worst, event.number),
        attempts=session.attempts + 1,
        prompts=0,
    )
    line = heard_line("number_heard", event, {"question": str(session.asked_about), "value": event.number})
    return noted, (WakeAt(-1), Silence(), line)


def deny(session: Session, _event: Event) -> Result:
    """The number was denied: the question again."""
    return replace(session, prompts=0), (WakeAt(-1), Silence())


def settle(session: Session, event: Event) -> Result:
    """The present question has its answer: apply it."""
    question = session.asked_about
    confirmed = event.on is On.YES or question in (Question.EFFORT, Question.MISSED)
    value: int | bool
    if question is Question.REPS:
        value = event.on is On.YES
    else:
        value = session.number if confirmed else session.worst  # unconfirmed: the most cautious of what was heard
    fields = {
        "question": str(question),
        "value": value,
        "read_back": confirmed and question is not Question.REPS,
        "attempts": session.attempts or session.prompts + 1,
        "set_id": session.sets_begun,
    }
    line = heard_line("answered", event, fields)
    session = _without_first(session)
    commands: tuple[Command, ...] = (WakeAt(-1), Silence(), line)
    if question is Question.REPS and value is False and not isinstance(work_of(session), Hold):
        return replace(session, asks=(Question.MISSED, *session.asks)), commands
    if question in (Question.PAIN, Question.HALT_PAIN):
        session, more = _apply_pain(session, event, int(value), question)
        return session, commands + more
    if question is Question.EFFORT and value > session.today.program.limits.effort_ease_above and _more_sets(session):
        session, more = _ease(session, event.at, "limits.effort.ease_above")
        return session, commands + more + _eased_words(session)
    return session, commands


def _more_sets(session: Session) -> bool:
    return session.turn + 1 < len(session.turns) and not session.exercise_over


def _apply_pain(session: Session, event: Event, pain: int, question: Question) -> Result:
    session = replace(session, worst_pain=max(session.worst_pain, pain))
    limits = session.today.program.limits
    where_it_lies = band(limits, pain)
    halt = question is Question.HALT_PAIN
    lines: tuple[Command, ...] = ()
    if halt:
        lines += (Record("halt_why", event.at, {"why": "pain", "pain": pain}),)
    if where_it_lies is Band.END:
        return replace(session, end_why="pain", asks=()), lines
    if halt and _too_many_halts(session):
        return replace(session, end_why="halts"), lines
    if where_it_lies is Band.CARRY_ON:
        return (replace(session, decision="pain_carry_on"), lines) if halt else (session, lines)
    had_set = session.open_set is not None
    if halt and had_set:
        session, closed = _close(session, event.at, "halted_pain")
        session = replace(session, then=Then.REST, asks=tuple(q for q in session.asks if q is Question.REPS))
        lines += closed
    if had_set or _more_sets(session) or halt:
        session, eased = _ease(session, event.at, "limits.pain.ease_to")
        lines += eased
    if halt:
        return replace(session, decision="pain_ease"), lines
    return session, lines + (_eased_words(session) if _more_sets(session) else ())


def _without_first(session: Session) -> Session:
    """The present question is done with."""
    return replace(session, asks=session.asks[1:], prompts=0, attempts=0, worst=-1, number=-1)


def skip_question(session: Session, event: Event) -> Result:
    """Nobody answered a question that can be left open: it is recorded as unanswered, never as an answer."""
    line = Record(
        "unanswered",
        event.at,
        {"question": str(session.asked_about), "prompts": session.prompts + 1, "set_id": session.sets_begun},
    )
    return _without_first(session), (WakeAt(-1), Silence(), line)


def pause_unanswered(session: Session, event: Event) -> Result:
    """Nobody answered about pain: no work until somebody does."""
    line = Record(
        "unanswered",
        event.at,
        {"question": str(session.asked_about), "prompts": session.prompts + 1, "set_id": session.sets_begun},
    )
    if session.asked_about is not Question.HALT_PAIN:  # after a halt that question comes first in any case
        session = replace(session, then=Then.BACK, back=State.ASKING)
    return session, (WakeAt(-1), Silence(), line, Record("paused", event.at, {"why": "no_answer"}))


# -- halts, pauses and lost devices ---------------------------------------------------------------------------------------

MIDWAY = frozenset({State.HALTED, State.RECOVERING, State.PAUSED, State.DEAF, State.MUTE})
"""States that keep where an earlier interruption leads back to."""


def _interrupted(session: Session, at: int) -> Session:
    """Freeze the set and note where "ready" will lead."""
    session = frozen(session, at)
    if session.state in MIDWAY or _in_halt_question(session):
        return session
    if session.open_set is not None:
        return replace(session, then=Then.SET, back=State.WAITING)
    back = {
        State.LEAD_IN: State.WAITING,
        State.CONFIRMING: State.ASKING,
        State.SCREEN_CHECK: State.SCREENING,
        State.SET_END: State.ASKING if session.asks else State.RESTING,
    }.get(session.state, session.state)
    if session.state is State.SCREEN_CHECK:
        session = replace(session, screen_index=0, screen_answers=())
    return replace(session, then=Then.BACK, back=back)


def _in_halt_question(session: Session) -> bool:
    asking = session.state in (State.ASKING, State.CONFIRMING)
    return asking and session.asked_about is Question.HALT_PAIN


def halt(session: Session, event: Event) -> Result:
    """Everything falls silent."""
    fields = {"state": str(session.state)} | where(session) | _in_set(session)
    line = heard_line("halted", event, fields)
    session = _interrupted(session, event.at)
    return replace(session, halted=True, halts=session.halts + 1, prompts=0), (Silence(), WakeAt(-1), line)


def halt_again(session: Session, event: Event) -> Result:
    """Halted already: silent again, and asked why once more."""
    return session, (Silence(), WakeAt(-1), heard_line("halted_again", event, {}), *say("halt_why"))


def halt_deaf(session: Session, event: Event) -> Result:
    """Nothing sounds; the halt is recorded and its why asked for as soon as there is a device."""
    session, commands = halt(session, event)
    return session, tuple(c for c in commands if not isinstance(c, WakeAt))


def _in_set(session: Session) -> dict[str, int]:
    running = session.open_set
    return {"rep": running.rep, "phase": running.phase, "set_id": running.number} if running else {}


def tell_pain(session: Session, event: Event) -> Result:
    """ "Pain": silent, and asked how much."""
    session, commands = _told(session, event, "pain")
    others = tuple(question for question in session.asks if question is not Question.HALT_PAIN)
    return replace(session, asks=(Question.HALT_PAIN, *others), attempts=0, worst=-1, number=-1), commands


def tell_tired(session: Session, event: Event) -> Result:
    """ "Tired": as the program says."""
    action = session.today.program.limits.tired
    too_many = _too_many_halts(session)
    session, commands = _told(session, event, "tired")
    if action is Action.END_SESSION or too_many:
        return replace(session, end_why="halts" if too_many else "tired"), commands
    if not session.exercising:
        return replace(session, decision="break"), commands
    session, lines = _stop_set(session, event, "halted_tired")
    if action is Action.END_EXERCISE:
        return replace(session, exercise_over="tired", decision="tired_exercise", then=Then.REST), commands + lines
    if action is Action.EASE:
        session, eased = _ease(session, event.at, "limits.tired")
        return replace(session, decision="tired_ease"), commands + lines + eased
    return replace(session, decision="tired_set" if lines else "tired_rest"), commands + lines


def tell_unsteady(session: Session, event: Event) -> Result:
    """ "Unsteady": as the program says; without a lower level a step down ends the exercise."""
    action = session.today.program.limits.unsteady
    too_many = _too_many_halts(session)
    session, commands = _told(session, event, "unsteady")
    if action is Action.END_SESSION or too_many:
        return replace(session, end_why="unsteady"), commands
    if not session.exercising:
        return replace(session, decision="break"), commands
    session, lines = _stop_set(session, event, "halted_unsteady")
    if action is Action.STEP_DOWN and session.level > 0:
        session, eased = _ease(session, event.at, "limits.unsteady")
        return replace(session, decision="unsteady_step_down"), commands + lines + eased
    over = replace(session, exercise_over="unsteady", decision="unsteady_exercise", then=Then.REST)
    return over, commands + lines


def _too_many_halts(session: Session) -> bool:
    return session.halted and session.halts >= session.today.program.limits.halts


def _told(session: Session, event: Event, why: str) -> Result:
    """Silence everything because the person said why, halted or not."""
    fields: dict[str, object] = {"why": why, "pain": None, "state": str(session.state)}
    line = heard_line("halt_why", event, fields | where(session) | _in_set(session))
    session = _interrupted(session, event.at)
    return replace(session, halted=True, prompts=0), (Silence(), WakeAt(-1), line)


def _stop_set(session: Session, event: Event, why: str) -> Result:
    """Close the open set; then its pain question and its rest."""
    if session.open_set is None:
        return session, ()
    session, lines = _close(session, event.at, why)
    return replace(session, then=Then.REST, asks=tuple(q for q in session.asks if q is not Question.EFFORT)), lines


def tell_break(session: Session, event: Event) -> Result:
    """Just a break: all as it was, when the person is ready."""
    line = heard_line("halt_why", event, {"why": "break", "pain": None})
    return replace(session, decision="break", prompts=0), (Silence(), WakeAt(-1), line)


def ready(session: Session, event: Event) -> Result:
    """The person is ready: the halt, if there was one, is over."""
    fields = {"set_id": session.open_set.number} if session.open_set else {}
    line = heard_line("ready", event, fields)
    session = frozen(session, event.at)
    unmeasured = session.asks[:1] == (Question.HALT_PAIN,)  # pain was told: how much comes before anything else
    return replace(session, halted=session.halted and unmeasured, held=False, prompts=0), (WakeAt(-1), Silence(), line)


def pause(session: Session, event: Event) -> Result:
    session = _interrupted(session, event.at)
    return replace(session, prompts=0), (Silence(), WakeAt(-1), heard_line("paused", event, {"why": "asked"}))


def pause_unsure(session: Session, event: Event) -> Result:
    """Nobody answered while the set was held."""
    session = _interrupted(session, event.at)
    return replace(session, prompts=0), (Silence(), WakeAt(-1), Record("paused", event.at, {"why": "no_answer"}))


def take_back(session: Session, _event: Event) -> Result:
    """Something was said in the lead-in: do not begin, ask for "ready" again."""
    return replace(session, then=Then.SET if session.open_set else Then.BACK), (Silence(), WakeAt(-1))


def device(what: str) -> Act:
    """Return the act that notes a lost or returned device."""

    def act(session: Session, event: Event) -> Result:
        session = _interrupted(session, event.at)
        return session, (Silence(), WakeAt(-1), Record("device", event.at, {"what": what}))

    return act


# -- the end ----------------------------------------------------------------------------------------------------------


def end_as(why: str) -> Act:
    """Return the act that ends the session for this reason."""

    def act(session: Session, event: Event) -> Result:
        session = frozen(session, event.at)
        reason = "no_answer_halt" if why == "no_answer" and session.halted else why
        return replace(session, end_why=reason), (WakeAt(-1),)

    return act
