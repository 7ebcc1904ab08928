"""Everything that a session may say: all of it is rendered before the session begins."""

from __future__ import annotations

from collections.abc import Iterator

from coach.program.model import SCALE, Exercise, Hold, Limits, Reps, Route, Sides
from coach.session.ladder import bands, rungs
from coach.session.plan import Today
from coach.session.plan import turns as sets_of
from coach.session.state import Question
from coach.session.wording import HOLD_ROUNDED, REST_ROUNDED, dose_key, side_words
from coach.session.work_layout import LEAD_BEATS
from coach.tempo.timeline import HOLD_NEWS_EVERY
from coach.words.phrases import Phrase, phrase

_FIXED = (
    "cautions_general", "someone_within_reach", "how_to_halt", "taken_up", "check_ready", "check_louder",
    "check_voices", "check_speaker", "check_microphone", "check_keys", "ask_next_day", "screen_all_no",
    "screen_all_yes", "is_that_right", "ask_ready", "take_your_time", "no_why", "lead_in_hold", "side_left",
    "side_right", "on_each_side", "begin_with_left", "begin_with_right", "slower_from_here",
    "held", "ready_when", "set_done", "ask_reps_reps", "ask_reps_seconds", "ask_reps_rounds", "ask_missed", "ask_pain",
    "ladder_any", "halt_ladder_any", "ladder_none", "halt_ladder_none",
    "ask_effort", "eased_level", "eased_today",
    "exercise_over", "slower_now", "not_understood", "nothing_heard", "halt_now",
    "halt_why", "halt_ask_pain", "halt_not_understood", "halt_nothing_heard", "halt_ready_when", "halt_paused",
    "halt_deaf", "halt_break", "halt_pain_carry_on", "halt_pain_ease", "halt_tired_set", "halt_tired_rest",
    "halt_tired_exercise", "halt_tired_ease", "halt_exercise_over",
    "halt_unsteady_step_down", "halt_unsteady_exercise", "halt_unsteady_day", "halt_unsteady_today", "paused", "deaf",
    "end_done", "end_pain", "end_unsteady", "end_tired", "end_halts", "end_time", "end_no_answer",
    "end_no_answer_halt", "end_not_heard", "end_screen", "end_asked", "end_deaf", "end_mute", "call_therapist",
    "on_hold", "next_tomorrow", "goodbye", "goodbye_unwritten", "trouble_record",
)  # fmt: skip
"""Phrases without values."""


def repertoire(today: Today) -> tuple[Phrase, ...]:
    """Return every phrase that a session of `today` may say, once each, those needed first in front."""
    return tuple(dict.fromkeys(_all(today)))


def _text(words: str) -> Iterator[Phrase]:
    if words.strip():
        yield phrase("text", text=words.strip())


def _all(today: Today) -> Iterator[Phrase]:
    program = today.program
    yield phrase("greeting", title=program.title)
    yield from (phrase(key) for key in today.news)
    yield from (phrase(key) for key in _FIXED)
    yield from _text(program.cautions)
    yield from _text(program.call)
    yield phrase("exercises_today", n=len(today.exercises))
    yield from (phrase(one.news, name=one.exercise.name) for one in today.left_out if one.news)
    for number, question in enumerate(today.screen, start=1):
        yield from _text(question.ask)
        yield phrase("screen_was_yes", n=number)
        yield phrase("screen_was_no", n=number)
    for goal in today.goals:
        yield phrase("ask_goal", text=goal.text)
        yield from (phrase("goal_noted", n=number) for number in SCALE)
    for days in {program.schedule.every_days, program.schedule.after_sore_days} - {1}:
        yield phrase("next_in", n=days)
    for number in SCALE:
        yield from (phrase(key, n=number) for key in _NUMBERED)
    yield from _ladder(program.limits)
    yield from (phrase("lead", n=n) for n in range(1, LEAD_BEATS + 1))
    turns = 0
    for number, planned in enumerate(today.exercises, start=1):
        exercise = planned.exercise
        yield from (phrase(key) for key in planned.news)
        yield phrase("exercise", n=number, of=len(today.exercises), name=exercise.name)
        yield from _exercise(exercise, planned.level, planned.target)
        most = max(len(sets_of(exercise, level, today.side)) for level in exercise.levels[: planned.level + 1])
        yield from (phrase("sets_left", n=left) for left in range(most + 1))
        turns += most
    for begun in range(1, turns + 1):
        yield from (phrase("sets_done", n=done, of=begun) for done in range(begun + 1))


def _ladder(limits: Limits) -> Iterator[Phrase]:
    """Yield the questions and read-backs of the yes/no ladder, after a set and after a halt."""
    for question in (Question.PAIN, Question.HALT_PAIN):
        for own in ("", "halt_"):
            yield from (phrase(f"{own}ladder_above", n=step) for step in rungs(limits, question) if step)
            yield from (
                phrase(f"{own}ladder_band", low=low, high=high) for low, high in bands(limits, question) if high
            )


_NUMBERED = ("read_back_missed", "read_back_pain", "read_back_effort", "halt_read_back_pain")
"""Phrases that read back a number from 0 to 10."""


def _exercise(exercise: Exercise, top: int, target: int) -> Iterator[Phrase]:
    """Yield every phrase about one exercise, at today's level and all below it."""
    yield from _text(exercise.why)
    if exercise.sides is not Sides.BOTH:
        yield from (side_words(exercise, side) for side in ("left", "right"))
    for index in range(top + 1):
        level = exercise.levels[index]
        needs = (*exercise.needs, *level.needs)
        if needs:
            yield phrase("you_need", what=", ".join(needs))
        for words in (level.setup, level.cue, level.feel, *level.watch):
            yield from _text(words)
        work = level.dose.work
        most = max(target, work.amount.high)
        sets = {other.dose.sets for other in exercise.levels[: top + 1]}
        yield from (phrase(dose_key(work), sets=count, n=n) for count in sets for n in range(1, most + 1))
        yield from (phrase("set", n=n, of=of) for of in sets for n in range(1, of + 1))
        yield from (phrase("eased_amount", n=n) for n in range(1, most + 1))
        yield from _rests(level.dose.rest)
        yield from _rests(level.dose.change_sides)
        yield from _work(work, most)


def _rests(seconds: float) -> Iterator[Phrase]:
    last = int(seconds) // REST_ROUNDED * REST_ROUNDED
    yield from (phrase("rest", n=n) for n in range(REST_ROUNDED, last + 1, REST_ROUNDED))


def _work(work: Reps | Hold | Route, most: int) -> Iterator[Phrase]:
    if isinstance(work, Hold):
        yield from (phrase("hold_left", n=n) for n in range(HOLD_ROUNDED, most + 1, HOLD_ROUNDED))
        yield from (phrase("hold_passed", n=n) for n in range(HOLD_NEWS_EVERY, most + 1, HOLD_NEWS_EVERY))
        return
    yield from (phrase("left", n=n) for n in range(most + 1))
    if isinstance(work, Reps):
        yield phrase("lead_in", name=work.phases[0].name)
        yield from (phrase("count", n=n) for n in range(1, most + 1))
        yield from (phrase("phase", name=step.name) for step in work.phases)
        longest = max(step.seconds for step in work.phases)
        yield from (phrase("second", n=n) for n in range(2, int(longest) + 2))
    else:
        yield phrase("lead_in", name=work.points[0].name)
        yield from (phrase("phase", name=step.name) for step in work.points)
        yield from (phrase("round", n=n, name=work.points[0].name) for n in range(1, most + 1))
