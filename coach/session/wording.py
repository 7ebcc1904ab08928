"""What a session says in its present place: phrases and their numbers."""

from __future__ import annotations

from coach.program.model import Exercise, Work
from coach.session.commands import Command, Say
from coach.session.ladder import above
from coach.session.lines import asked_work, work_of
from coach.session.plan import NEXT_DAY
from coach.session.state import Question, Session
from coach.tempo.units import to_samples
from coach.words.phrases import Phrase, phrase


def own(session: Session, key: str) -> str:
    """Return `key`, or "halt_" and `key` from a halt until the person is ready."""
    return f"halt_{key}" if session.quiet else key


def text(words: str) -> tuple[Command, ...]:
    """Return the command to say the therapist's own words; nothing if there are none."""
    return (Say(Phrase("text", (("text", words.strip()),))),) if words.strip() else ()


def say(key: str, **values: str | int) -> tuple[Command, ...]:
    """Return the command to say one phrase."""
    return (Say(phrase(key, **values)),)


def cautions(session: Session) -> tuple[Command, ...]:
    """Return the cautions: ours, then the therapist's."""
    return say("cautions_general") + text(session.today.program.cautions)


def ask_screen(session: Session) -> tuple[Command, ...]:
    """Return the present screen question."""
    question = session.screen_question
    return say("ask_next_day") if question.id == NEXT_DAY else text(question.ask)


def ask_goal(session: Session) -> tuple[Command, ...]:
    """Return the question how near the present goal is."""
    return say("ask_goal", text=session.goal.text)


def screen_answers(session: Session) -> tuple[Command, ...]:
    """Return the read-back of the screen answers."""
    if len(set(session.screening.answers)) == 1:
        return say("screen_all_yes" if session.screening.answers[0] else "screen_all_no")
    commands: tuple[Command, ...] = ()
    for number, answer in enumerate(session.screening.answers, start=1):
        commands += say("screen_was_yes" if answer else "screen_was_no", n=number)
    return commands + say("is_that_right")


def dose_words(session: Session) -> tuple[Command, ...]:
    """Return the words for the exercise's dose: sets, and reps, seconds or rounds."""
    work = work_of(session)
    sets = max(number for number, _ in session.turns)
    told = say(dose_key(work), sets=sets, n=session.target)
    return told + say("on_each_side") if len(session.turns[0][1]) > 1 else told


def dose_key(work: Work) -> str:
    """Return the key of the phrase that tells a dose."""
    return f"dose_{work.unit}_steady" if work.amount.steady else f"dose_{work.unit}"


def ask_ready(session: Session) -> tuple[Command, ...]:
    """Return the words for the next set, its side and the request for "ready"."""
    number, sides = session.turns[session.exercise.turn]
    of = max(n for n, _ in session.turns)
    commands = say("set", n=number, of=of)
    exercise = session.planned.exercise
    if len(sides) > 1:
        commands += say(f"begin_with_{sides[0]}")
    if sides[0] and (len(sides) == 1 or exercise.this_side):
        commands += (Say(side_words(exercise, sides[0])),)
    return commands + say("ask_ready")


def side_words(exercise: Exercise, side: str) -> Phrase:
    """Return which side it is and, where the program says so, what each side does."""
    if not exercise.this_side:
        return phrase(f"this_side_{side}")
    if not exercise.other_side:
        return phrase(f"this_limb_{side}", this=exercise.this_side)
    return phrase(f"both_limbs_{side}", this=exercise.this_side, other=exercise.other_side)


def ask(session: Session) -> tuple[Command, ...]:
    """Return the present question, as a rung of the yes/no ladder if it is on one."""
    if session.rung is not None:
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


READ_BACK = {
    Question.MISSED: "read_back_missed",
    Question.PAIN: "read_back_pain",
    Question.EFFORT: "read_back_effort",
    Question.HALT_PAIN: "halt_read_back_pain",
}


def read_back(session: Session) -> tuple[Command, ...]:
    """Return the read-back of the number or band that was heard."""
    given = session.open_question.given
    assert given is not None, "what is read back was heard"
    if given.low is None:
        return say(READ_BACK[session.asked_about], n=given.number)
    if not given.number:
        return say(own(session, "ladder_none"))
    return say(own(session, "ladder_band"), low=given.low, high=given.number)


REST_ROUNDED = 5
"""The coach tells a rest in multiples of this many seconds."""

HOLD_ROUNDED = 5
"""The coach tells what is left of a hold in multiples of this many seconds."""


def rest_words(session: Session, at: int) -> tuple[Command, ...]:
    """Return how much rest is left, rounded down to REST_ROUNDED; nothing if that gives 0."""
    left = max(0, session.rest_until - at)
    told = left // to_samples(REST_ROUNDED) * REST_ROUNDED
    return say("rest", n=told) if told else ()
