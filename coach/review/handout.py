"""Compose a program's handout for the wall and the family: what to do, what to say, when to stop, whom to call."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass

from coach.program.model import (
    SCALE_END,
    Action,
    Dose,
    Exercise,
    Phase,
    Point,
    Program,
    Range,
    Reach,
    Reps,
    Sides,
    Work,
)
from coach.review.blocks import Wording
from coach.words.phrases import VoicePack

SheetRow = tuple[str, str]
"""The heading of a line (may be empty), and the line."""

DIGEST_SHOWN = 12
"""Characters of a program's digest shown on paper to distinguish its versions."""


NOBODY: Mapping[str, str] = {}
"""What is left out of a sheet that is written for nobody: nothing."""


@dataclass(frozen=True, slots=True)
class SheetBlock:
    """A titled group of lines."""

    title: str
    rows: tuple[SheetRow, ...]


@dataclass(frozen=True, slots=True)
class Sheet:
    """The whole handout, in the language of the program."""

    language: str
    title: str
    facts: tuple[str, ...]
    """How often, and who must be near."""
    stop: SheetBlock
    exercises: tuple[SheetBlock, ...]
    says: SheetBlock
    """The person's words and the effect of each."""
    foot: str
    """Program, author and date of review."""


def handout(
    program: Program, levels: Mapping[str, int], pack: VoicePack, labels: Wording, left_out: Mapping[str, str] = NOBODY
) -> Sheet:
    """Return the sheet of `program`; `levels` maps an exercise to its level's index (default: the start level).

    `left_out` maps an exercise that is not part of this person's sessions to the reason, in words.
    """
    schedule = program.schedule
    facts = [_counted(labels, "handout_days", schedule.every_days)]
    if schedule.after_sore_days > schedule.every_days:
        facts.append(_counted(labels, "handout_sore_days", schedule.after_sore_days))
    if program.within_reach is not Reach.NOT_NEEDED:
        always = program.within_reach is Reach.ALWAYS
        facts.append(labels("handout_reach_always" if always else "handout_reach_first"))
    return Sheet(
        language=program.language,
        title=program.title,
        facts=tuple(facts),
        stop=SheetBlock(labels("handout_stop"), tuple(_stop(program, pack, labels))),
        exercises=tuple(
            _exercise(program, exercise, number, levels.get(exercise.id), labels, left_out.get(exercise.id, ""))
            for number, exercise in enumerate(program.exercises, start=1)
        ),
        says=SheetBlock(labels("handout_say"), tuple(_says(program, pack, labels))),
        foot=" ".join(_foot(program, labels)),
    )


def _exercise(
    program: Program, exercise: Exercise, number: int, index: int | None, labels: Wording, left_out: str
) -> SheetBlock:
    starts = [level.id for level in exercise.levels].index(exercise.start_level)
    level = exercise.levels[starts if index is None else index]
    rows: list[SheetRow] = []
    if left_out:
        rows.append((labels("handout_left_out"), left_out))
    elif exercise.joins_after and index is None:
        other = program.exercise(exercise.joins_after.exercise).name
        joins = "handout_joins_text" if exercise.joins_after.by_itself else "handout_joins_decided"
        waits = labels(joins, exercise=other, n=exercise.joins_after.steady_sessions)
        rows.append((labels("handout_joins"), waits))
    needs = ", ".join((*exercise.needs, *level.needs))
    rows += [
        (labels("handout_needs"), needs),
        (labels("handout_setup"), level.setup),
        (labels("handout_do"), level.cue),
        (labels("handout_dose"), " ".join(_dose(program, exercise, level.dose, labels))),
        (labels("handout_feel"), level.feel),
        (labels("handout_watch"), " ".join(level.watch)),
    ]
    return SheetBlock(f"{number}. {exercise.name}", tuple(row for row in rows if row[1]))


def _dose(program: Program, exercise: Exercise, dose: Dose, labels: Wording) -> Iterator[str]:
    work = dose.work
    within = work.amount
    sets = _counted(labels, "handout_sets", dose.sets)
    if within.steady:
        yield labels(f"handout_dose_{work.unit}_steady", sets=sets, amount=_span(within, labels))
    else:
        yield labels(f"handout_dose_{work.unit}", sets=sets, amount=_span(within, labels))
    if exercise.sides is not Sides.BOTH:
        first = program.affected or "right"
        second = "left" if first == "right" else "right"
        key = "handout_sides_" + str(exercise.sides).replace(" ", "_")
        yield labels(key, first=labels(f"side_{first}"), second=labels(f"side_{second}"))
        if exercise.this_side:
            yield labels("handout_this_side", does=exercise.this_side)
        if exercise.other_side:
            yield labels("handout_other_side", does=exercise.other_side)
    if work.steps:
        timed = ", ".join(_step(step, work, labels) for step in work.steps)
        yield labels("handout_tempo" if isinstance(work, Reps) else "handout_points", steps=timed)
    if dose.sets > 1 and dose.rest:
        yield _counted(labels, "handout_rest", dose.rest)


def _step(step: Phase | Point, work: Work, labels: Wording) -> str:
    if isinstance(step, Phase) and step.own_pace:
        return labels("handout_own_pace", name=step.name)
    slow = isinstance(work, Reps) and step.name == work.slow
    return _counted(labels, "handout_slow_step" if slow else "handout_step", step.seconds, name=step.name)


def _says(program: Program, pack: VoicePack, labels: Wording) -> Iterator[SheetRow]:
    """Yield each reply's taught wording, halts first, with its effect under this program's limits."""
    word = {reply: wordings.word for reply, wordings in pack.replies.items()}
    by_limit = {"tired": program.limits.tired, "unsteady": program.limits.unsteady}
    for reply in sorted(pack.replies, key=lambda reply: reply not in pack.halts):
        if reply in by_limit:
            yield _quoted(labels, word[reply]), labels(f"handout_does_{by_limit[reply]}")
        elif reply == "yes":
            yield _quoted(labels, word["yes"], word["no"]), labels("handout_say_yes")
        elif reply == "n0":
            yield _quoted(labels, word["n0"], word["n10"]), labels("handout_say_n0")
        elif reply != "no" and not (reply[0] == "n" and reply[1:].isdecimal()):
            yield _quoted(labels, word[reply]), labels(f"handout_say_{reply}")


def _quoted(labels: Wording, word: str, last: str = "") -> str:
    return labels("handout_words", word=word, last=last) if last else labels("handout_word", word=word)


def _stop(program: Program, pack: VoicePack, labels: Wording) -> Iterator[SheetRow]:
    halts = ", ".join(pack.replies[reply].word for reply in sorted(pack.halts))
    yield "", labels("handout_always", word=halts)
    yield labels("handout_pain"), " ".join(_pain(program, labels))
    asked = [
        labels("handout_asked", asked=one.ask, answer=labels("yes" if one.answer else "no"))
        for one in program.screen
        if one.action is Action.HOLD
    ]
    if asked:
        yield labels("handout_hold"), " ".join((*asked, labels("handout_hold_text")))
    yield labels("handout_help"), labels("handout_warnings")
    yield labels("handout_call"), program.call.strip() or labels("handout_call_unknown")
    if program.cautions.strip():
        yield labels("handout_cautions"), program.cautions.strip()


def _pain(program: Program, labels: Wording) -> Iterator[str]:
    limits = program.limits
    yield labels("handout_pain_on", amount=_span(Range(0, limits.pain_carry_on_to), labels))
    if limits.pain_ease_to > limits.pain_carry_on_to:
        yield labels("handout_pain_ease", amount=_span(Range(limits.pain_carry_on_to + 1, limits.pain_ease_to), labels))
    if limits.pain_ease_to < SCALE_END:  # otherwise no pain is above it
        yield labels("handout_pain_end", amount=_span(Range(limits.pain_ease_to + 1, SCALE_END), labels))


def _foot(program: Program, labels: Wording) -> Iterator[str]:
    yield labels("handout_version", program=program.id, version=program.digest[:DIGEST_SHOWN])
    by = program.written_by
    who = ", ".join(part for part in (by.name, by.role) if part)
    if who:
        yield labels("handout_written_by", who=who)
    if by.on:
        yield labels("handout_written_on", on=by.on.isoformat())
    if by.review_on:
        yield labels("handout_review_on", on=by.review_on.isoformat())


def _span(within: Range, labels: Wording) -> str:
    return str(within.low) if within.low == within.high else labels("handout_span", low=within.low, high=within.high)


def _counted(labels: Wording, key: str, n: float, **values: str) -> str:
    """Return the label for the number; a language may have a separate one for 1."""
    return labels(f"{key}_one" if n == 1 else key, n=f"{n:g}", **values)
