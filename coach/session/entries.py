"""What a session says and does on entering a state."""

from __future__ import annotations

from collections.abc import Callable

from coach.loglines.changes import Told
from coach.loglines.kinds import Asked, ExerciseEnded, SessionEnded
from coach.loglines.reasons import SetWhy
from coach.program.model import Hold, Reach, Work
from coach.session.changed import changed
from coach.session.commands import Command, CutFrom, End, PlaceCues, Record, Say, Silence, WakeAt
from coach.session.ladder import above
from coach.session.lines import asked_work, set_ended, work_of
from coach.session.plan import NEXT_DAY, days_to_next
from coach.session.state import Question, Session, State
from coach.tempo.timeline import At, Cue, Layout, Mark, Sound, lay_out
from coach.tempo.units import to_samples
from coach.words.phrases import Phrase, phrase

Result = tuple[Session, tuple[Command, ...]]

WINDOW = {
    State.CHECKING: 8.0,
    State.SCREENING: 8.0,
    State.SCREEN_CHECK: 8.0,
    State.WAITING: 25.0,
    State.STILL: 10.0,
    State.ASKING: 8.0,
    State.CONFIRMING: 6.0,
    State.HALTED: 8.0,
    State.RECOVERING: 40.0,
    State.PAUSED: 60.0,
}
"""Seconds from the end of what was said to the next prompt. People answer within a second (Stivers 2009); the rest is
for those who must first put something down. Our own choice, to be tuned with users."""

PROMPTS = {
    State.CHECKING: 4,
    State.SCREENING: 3,
    State.SCREEN_CHECK: 3,
    State.WAITING: 4,
    State.STILL: 2,
    State.ASKING: 3,
    State.CONFIRMING: 2,
    State.HALTED: 3,
    State.RECOVERING: 4,
    State.PAUSED: 5,
}
"""How often something is asked before silence is taken as nobody being there."""

SOFT_CONFIRM = 2.5
"""Seconds in which a number that can add no work may be denied, before it is taken."""

DEVICE_PATIENCE = 120.0
"""Seconds that a session waits for a lost microphone or speaker before it ends."""

CLOSING_PATIENCE = 90.0
"""Seconds after which a session ends even if its last words did not come to an end."""

LEAD_BEATS = 3
"""Beats counted before the work begins."""

LEAD_BEAT = 1.0
"""Seconds from one beat of the lead-in to the next, and to the work."""

LEAD_GAP = 0.4
"""Seconds between the words of the lead-in and its first beat."""


def own(session: Session, key: str) -> str:
    """Return `key` in the halt's own words as long as the person has not said "ready" after a halt."""
    return f"halt_{key}" if session.quiet else key


def text(words: str) -> tuple[Command, ...]:
    """Return the therapist's own words to be said, or nothing if there are none."""
    return (Say(Phrase("text", (("text", words.strip()),))),) if words.strip() else ()


def say(key: str, **values: str | int) -> tuple[Command, ...]:
    """Return one phrase to be said."""
    return (Say(phrase(key, **values)),)


def opening(session: Session, _at: int) -> Result:
    today = session.today
    program = today.program
    commands = say("greeting", title=program.title)
    if today.first_session:
        commands += cautions(session)
        if program.within_reach is not Reach.NOT_NEEDED:
            commands += say("someone_within_reach")
    elif program.within_reach is Reach.ALWAYS:
        commands += say("someone_within_reach")
    commands += say("how_to_halt")
    commands += say("taken_up") if today.taken_up else say("exercises_today", n=len(today.exercises))
    return session, commands


def checking(session: Session, _at: int) -> Result:
    return session, say("check_ready")


def cautions(session: Session) -> tuple[Command, ...]:
    """Return the cautions: ours, then the therapist's."""
    return say("cautions_general") + text(session.today.program.cautions)


def screening(session: Session, at: int) -> Result:
    question = session.today.screen[session.screen_index]
    return session, (asked(f"screen.{question.id}", at, session), *ask_screen(session))


def ask_screen(session: Session) -> tuple[Command, ...]:
    """Return the present screen question."""
    question = session.today.screen[session.screen_index]
    return say("ask_next_day") if question.id == NEXT_DAY else text(question.ask)


def screen_check(session: Session, _at: int) -> Result:
    return session, screen_answers(session)


def screen_answers(session: Session) -> tuple[Command, ...]:
    """Return the read-back of the screen answers."""
    if len(set(session.screen_answers)) == 1:
        return say("screen_all_yes" if session.screen_answers[0] else "screen_all_no")
    commands: tuple[Command, ...] = ()
    for number, answer in enumerate(session.screen_answers, start=1):
        commands += say("screen_was_yes" if answer else "screen_was_no", n=number)
    return commands + say("is_that_right")


def record_words(session: Session) -> Result:
    """Say once that the record cannot be written, where no work runs and nothing but a halt's words may sound."""
    if not session.unwritten or session.unwritten_told or session.quiet:
        return session, ()
    return changed(session, unwritten_told=True), say("trouble_record")


def intro(session: Session, at: int) -> Result:
    exercise = session.planned.exercise
    session, trouble = record_words(session)
    session, commands = _news(session, at)
    commands = trouble + commands
    commands += say("exercise", n=session.exercise_index + 1, of=len(session.today.exercises), name=exercise.name)
    needs = (*exercise.needs, *exercise.levels[session.level].needs)
    if needs:
        commands += say("you_need", what=", ".join(needs))
    return changed(session, exercising=True), commands


def _news(session: Session, at: int) -> Result:
    """Say once what is other than last time, and note that it was said; a harder level that was eased since is none."""
    index = session.exercise_index
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
    return changed(session, new_setup=False), commands + dose_words(session)


def dose_words(session: Session) -> tuple[Command, ...]:
    """Return what is to be done, in words: sets, and reps, seconds or rounds."""
    work = work_of(session)
    sets = max(number for number, _ in session.turns)
    return say(dose_key(work), sets=sets, n=session.target)


def dose_key(work: Work) -> str:
    """Return the phrase that tells how much work a set is."""
    return f"dose_{work.unit}_steady" if work.amount.steady else f"dose_{work.unit}"


def waiting(session: Session, _at: int) -> Result:
    return session, ask_ready(session)


def ask_ready(session: Session) -> tuple[Command, ...]:
    """Return which set comes and the request for "ready"."""
    number, sides = session.turns[session.turn]
    of = max(n for n, _ in session.turns)
    commands = say("set", n=number, of=of)
    if len(sides) == 1 and sides[0]:
        commands += say(f"this_side_{sides[0]}")
    elif len(sides) > 1:
        commands += say(f"begin_with_{sides[0]}")
    return commands + say("ask_ready")


def lead_in(session: Session, _at: int) -> Result:
    session = changed(session, placed=False)
    work = work_of(session)
    if isinstance(work, Hold):
        return session, say("lead_in_hold")
    return session, say("lead_in", name=work.steps[0].name)


def placed(session: Session, at: int) -> Result:
    """Place the lead-in beats and the whole of the work behind them."""
    beat = to_samples(LEAD_BEAT)
    first = at + to_samples(LEAD_GAP)
    go = first + LEAD_BEATS * beat
    cues = [
        Cue(first + index * beat, Sound.SPEECH, "lead", (("n", LEAD_BEATS - index),), beat)
        for index in range(LEAD_BEATS)
    ]
    layout = rest_of_set(session, go)
    marks = (Mark(go, At.GO), *layout.marks)
    return changed(session, placed=True), (PlaceCues((*cues, *layout.cues), marks),)


def rest_of_set(session: Session, start: int) -> Layout:
    """Lay out what is still to be done of the present set, from sample `start` on."""
    running = session.open_set
    sides = session.sides
    done, from_side = divmod(running.counted, len(sides)) if running else (0, 0)
    return lay_out(
        work_of(session),
        start=start,
        first=done + 1,
        last=session.target,
        sides=sides,
        from_side=from_side,
        stretch=session.stretch,
    )


def working(session: Session, _at: int) -> Result:
    return session, ()


def still(session: Session, at: int) -> Result:
    """Let the phase run out (a hold: at once), then hold."""
    running = session.open_set
    assert running is not None
    until = at if isinstance(work_of(session), Hold) or running.phase_began < 0 else running.phase_until
    return changed(session, still=False), (CutFrom(until), WakeAt(until))


def set_end(session: Session, _at: int) -> Result:
    return session, say("set_done")


def asking(session: Session, at: int) -> Result:
    if session.by_ladder and session.asked_about in (Question.PAIN, Question.HALT_PAIN):
        session = changed(session, rung=max(0, session.rung))
    return session, (asked(str(session.asked_about), at, session), *ask(session))


def asked(question: str, at: int, session: Session) -> Command:
    """Return the line about a question that is put."""
    return Record(at, Asked(question, session.sets_begun))


def ask(session: Session) -> tuple[Command, ...]:
    """Return the present question about a set."""
    if session.rung >= 0:
        more_than = above(session)
        key = own(session, "ladder_above" if more_than else "ladder_any")
        return say(key, n=more_than) if more_than else say(key)
    if session.asked_about is Question.REPS:
        return say(f"ask_reps_{asked_work(session).unit}")
    return say(ASK[session.asked_about])


ASK = {
    Question.MISSED: "ask_missed",
    Question.PAIN: "ask_pain",
    Question.EFFORT: "ask_effort",
    Question.HALT_PAIN: "halt_ask_pain",
}


def confirming(session: Session, _at: int) -> Result:
    return session, read_back(session)


READ_BACK = {
    Question.MISSED: "read_back_missed",
    Question.PAIN: "read_back_pain",
    Question.EFFORT: "read_back_effort",
    Question.HALT_PAIN: "halt_read_back_pain",
}


def read_back(session: Session) -> tuple[Command, ...]:
    """Return the number that was heard, or the band, to be confirmed or denied."""
    if session.low >= 0:
        key = own(session, "ladder_band" if session.number else "ladder_none")
        return say(key, low=session.low, high=session.number) if session.number else say(key)
    return say(READ_BACK[session.asked_about], n=session.number)


REST_ROUNDED = 5
"""Rest is told in multiples of so many seconds."""

HOLD_ROUNDED = 5
"""What is left of a hold is told in multiples of so many seconds."""


def rest_words(session: Session, at: int) -> tuple[Command, ...]:
    """Return how much rest is left, or that it is over."""
    left = max(0, session.rest_until - at)
    told = left // to_samples(REST_ROUNDED) * REST_ROUNDED
    return say("rest", n=told) if told else ()


def rest_seconds(session: Session) -> float:
    """Return the rest behind the last set: in full, or to change sides where its other side comes next."""
    dose = session.planned.exercise.levels[session.asked_level].dose
    here, turns = session.turn, session.turns
    if session.introduced <= session.exercise_index:  # taken up: whoever broke off rests in full
        return dose.rest
    other_side = not session.exercise_over and here + 1 < len(turns) and turns[here + 1][0] == turns[here][0]
    return dose.change_sides if other_side else dose.rest


def resting(session: Session, at: int) -> Result:
    session = changed(session, rest_until=session.rest_from + to_samples(rest_seconds(session)))
    session, trouble = record_words(session)
    commands = trouble + rest_words(session, at)
    watch = session.planned.exercise.levels[session.level].watch
    if watch and commands and not session.exercise_over and session.turn + 1 < len(session.turns):
        commands += text(watch[session.turn % len(watch)])
    return session, (*commands, WakeAt(max(at, session.rest_until)))


def halted(session: Session, _at: int) -> Result:
    return session, say("halt_now") + say("halt_why")


def recovering(session: Session, _at: int) -> Result:
    return session, say(f"halt_{session.decision}") + say("halt_ready_when")


def paused(session: Session, _at: int) -> Result:
    return session, (Silence(), *say(own(session, "paused")))


def deaf(session: Session, at: int) -> Result:
    return session, (Silence(), *say(own(session, "deaf")), WakeAt(at + to_samples(DEVICE_PATIENCE)))


def mute(session: Session, at: int) -> Result:
    return session, (Silence(), WakeAt(at + to_samples(DEVICE_PATIENCE)))


CALL_FOR = frozenset({"pain", "unsteady", "screen", "no_answer_halt", "halts"})
"""Endings after which it is said whom to call."""


def exercise_ended(session: Session, at: int) -> Command:
    """Return the line that ends the present exercise."""
    return Record(at, ExerciseEnded(session.planned.exercise.id, session.exercise_over or "done"))


def closing(session: Session, at: int) -> Result:
    lines: tuple[Command, ...] = ()
    if not session.end_why:
        session = changed(session, end_why="done")
        lines = (exercise_ended(session, at),)
    why = session.end_why
    session, closed = set_ended(session, at, SET_WHY.get(why, "ended"))
    lines += closed
    commands: tuple[Command, ...] = (Silence(), *lines, *say(f"end_{why}"))
    program = session.today.program
    if why in CALL_FOR:
        commands += text(program.call) if program.call.strip() else say("call_therapist")
    if session.sets_begun:
        commands += say("sets_done", n=session.sets_done, of=session.sets_begun)
    days = next_in(session)
    commands += say("next_tomorrow") if days == 1 else say("next_in", n=days)
    commands += say("goodbye_unwritten" if session.unwritten else "goodbye")
    return session, (*commands, WakeAt(at + to_samples(CLOSING_PATIENCE)))


SET_WHY: dict[str, SetWhy] = {
    "pain": "halted_pain",
    "unsteady": "halted_unsteady",
    "tired": "halted_tired",
    "no_answer_halt": "halted_unexplained",
    "halts": "halted_break",
    "no_answer": "no_answer",
    "deaf": "deaf",
    "mute": "mute",
}
"""Why a set ended that was open when the session ended; any other: "ended"."""


def next_in(session: Session) -> int:
    """Return the days to the next session."""
    limits = session.today.program.limits
    unmeasured = {Question.PAIN, Question.HALT_PAIN} & set(session.asks)  # how much there is is not known
    answers = zip(session.today.screen, session.screen_answers, strict=False)  # it may end before the last question
    worse = any(question.id == NEXT_DAY and answer is question.answer for question, answer in answers)
    painful = session.worst_pain > limits.pain_carry_on_to or session.end_why == "pain"
    before = session.today.taken_up is not None and session.today.taken_up.sore
    sore = bool(unmeasured) or painful or session.gave_way or worse or before
    return days_to_next(session.today.program, sore=sore)


def ended(session: Session, at: int) -> Result:
    session, lines = set_ended(session, at, SET_WHY.get(session.end_why, "ended"))
    assert session.end_why
    line = SessionEnded(
        why=session.end_why,
        next_in_days=next_in(session),
        sets_begun=session.sets_begun,
        sets_in_full=session.sets_done,
    )
    return session, (Silence(), WakeAt(-1), *lines, Record(at, line), End())


ENTER: dict[State, Callable[[Session, int], Result]] = {
    State.OPENING: opening,
    State.CHECKING: checking,
    State.SCREENING: screening,
    State.SCREEN_CHECK: screen_check,
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
