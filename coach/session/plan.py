"""Plan today's session: levels, targets and sets from the program and the history, each with its reason."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass, replace
from datetime import date, timedelta

from coach.loglines.safety import SignWhy
from coach.program.model import Dose, Exercise, Hold, Level, Program, ScreenQuestion, Sides
from coach.session.joining import Membership, MemberStanding, membership
from coach.session.past import Clause, Decision, Goal, PastSession, Verdict, clause
from coach.session.progression import Reached, hurt, in_order, moment, reached


@dataclass(frozen=True, slots=True)
class PlannedExercise:
    """One exercise of today."""

    exercise: Exercise
    level: int
    """Index of today's level, 0 the easiest."""
    target: int
    """Reps, rounds or seconds of each set; never above the program's range."""
    because: tuple[Clause, ...]
    """Why this level and target."""
    news: tuple[str, ...] = ()
    """Keys of phrases that tell, once before the exercise, what is new since last time."""


@dataclass(frozen=True, slots=True)
class AbsentExercise:
    """An exercise of the program that is not part of today's session."""

    exercise: Exercise
    because: Clause
    news: str
    """Key of the phrase that tells it at the beginning; empty: it was told before, or there is nothing to tell."""


@dataclass(frozen=True, slots=True)
class TakenUp:
    """Where a session that broke off goes on: after the last set that began, which is not repeated."""

    session: str
    """Id of the session that broke off."""
    exercise_index: int
    """Index of the exercise of the last set that began."""
    turn: int
    """Index of that set among the exercise's turns."""
    levels: tuple[int, ...]
    """Level index to go on with, per exercise; never above the plan's."""
    targets: tuple[int, ...]
    """Target to go on with, per exercise."""
    over: str
    """Why no further set of that exercise begins; empty: it goes on."""
    stretch: float
    """Factor by which that exercise's phases were lengthened; 1 or more."""
    cut_sets: int
    """Sets of that exercise that were cut short."""
    halts: int
    seconds: float
    """How long it had run: already used of the program's minutes."""
    sore: bool
    """The person told of more pain than `carry_on_to`, of unsteadiness or of a worse morning."""


@dataclass(frozen=True, slots=True)
class Today:
    """The whole plan of one session."""

    program: Program
    exercises: tuple[PlannedExercise, ...]
    screen: tuple[ScreenQuestion, ...]
    """The program's questions and, after an earlier session, the next-day question."""
    first_session: bool
    side: str
    """The affected side, or empty."""
    because: tuple[Clause, ...]
    """Why the rest of the plan is as it is."""
    due: date | None = None
    """The day from which the session is due; None: it is the first."""
    numbers_heard: bool = True
    """Whether this person's spoken numbers are heard well; if not, pain is asked about by yes and no."""
    goals: tuple[Goal, ...] = ()
    """The person's goals that are asked about today."""
    taken_up: TakenUp | None = None
    """Where a session that broke off goes on; None: this one starts from the beginning."""
    near_hold: tuple[SignWhy, ...] = ()
    """The signs that would put the person on hold if told in this session."""
    news: tuple[str, ...] = ()
    """Keys of phrases, said once at the beginning: what the clinician decided about the whole of it."""
    left_out: tuple[AbsentExercise, ...] = ()
    """The exercises of the program that are not part of this session."""


def dose(exercise: Exercise, level: int) -> Dose:
    """Return the dose of `exercise` at level index `level`."""
    return exercise.levels[level].dose


def turns(exercise: Exercise, level: Level, affected: str) -> tuple[tuple[int, tuple[str, ...]], ...]:
    """Return the sets of an exercise in order: each its number, from 1, and the sides that work in it.

    The affected side comes first, while the person is fresh. A hold cannot change sides halfway, so an alternating
    exercise that has a hold at any level changes sides from set to set.
    """
    first = affected or "right"
    second = "left" if first == "right" else "right"
    order: dict[Sides, tuple[tuple[str, ...], ...]] = {
        Sides.BOTH: (("",),),
        Sides.AFFECTED: ((first,),),
        Sides.ALTERNATING: ((first, second),),
        Sides.EACH: ((first,), (second,)),
    }
    mode = exercise.sides
    if mode is Sides.ALTERNATING and any(isinstance(each.dose.work, Hold) for each in exercise.levels):
        mode = Sides.EACH
    return tuple((number, sides) for number in range(1, level.dose.sets + 1) for sides in order[mode])


def plan(
    program: Program, history: tuple[PastSession, ...], today: date, decisions: tuple[Decision, ...] = ()
) -> Today:
    """Choose today's exercises, levels and targets from the program, this person's history and the decisions.

    Only a decision raises a level; see `reached`. `history` and `decisions` may come in any order.
    """
    past = in_order(history)
    standing = {each.id: membership(each, program, past, decisions, today) for each in program.exercises}
    joined = [each for each in program.exercises if standing[each.id].standing is MemberStanding.IN]
    changed = _changed(program, past)
    planned = _told_once(
        _planned(each, reached(each, program, past, decisions, today), standing[each.id], changed=changed and at == 0)
        for at, each in enumerate(joined)
    )
    left_out = tuple(_left_out(each, standing[each.id], past) for each in program.exercises if each not in joined)
    due, why = due_on(program, past, today)
    worked = any(session.exercises for session in past)
    asked = any(session.may_have_worked for session in past)
    screen = (*program.screen, _next_day(program)) if asked else program.screen
    because = (*(one.because for one in left_out), *_strange(program, past, today, changed=changed), *why)
    return Today(program, planned, screen, not worked, program.affected, because, due, left_out=left_out)


def _strange(program: Program, past: tuple[PastSession, ...], today: date, *, changed: bool) -> Iterator[Clause]:
    """Yield what in the history does not fit the present program or today's date."""
    if changed:
        by, on = program.written_by.who or "-", str(program.written_by.on or "-")
        yield clause("because_program_changed", by=by, on=on)
    lost = {done.exercise for session in past for done in session.exercises} - {each.id for each in program.exercises}
    yield from (clause("because_exercise_gone", exercise=gone) for gone in sorted(lost))
    future = sum(session.day > today for session in past)
    if future:
        yield clause("because_future", n=future)


NEXT_DAY = "next_day"
"""Id of the next-day question; its wording is a phrase of the voice pack."""


def _next_day(program: Program) -> ScreenQuestion:
    return ScreenQuestion(NEXT_DAY, "", answer=True, action=program.limits.next_day_worse)


def due_on(program: Program, past: tuple[PastSession, ...], today: date) -> tuple[date | None, tuple[Clause, ...]]:
    """Return the day from which the next session is due, and why; None without a session before it.

    The days said at the end of the last session count; without them, how the body answered it decides. Sessions dated
    after today are ignored.
    """
    last = next((session for session in reversed(past) if session.day <= today), None)
    if last is None:
        return None, ()
    days = last.next_in_days or days_to_next(program, sore=sore(last, program))
    after = "unread" if last.unread else "every" if days == program.schedule.every_days else "sore"
    due = last.day + timedelta(days=days)
    why = clause(f"because_due_{after}", day=str(last.day), days=days, due=str(due))
    if today < due:
        return due, (why, clause("because_early", due=str(due)))
    if today > due:
        return due, (why, clause("because_missed", due=str(due), n=(today - due).days))
    return due, (why,)


def sore(session: PastSession, program: Program) -> bool:
    """Tell whether the session left more pain than allowed, or may have."""
    unknown = any(done.pain_unanswered for done in session.exercises)
    pain = any(hurt(done, program) for done in session.exercises)
    return session.unread or unknown or pain or session.why in ("pain", "unsteady") or session.next_day_worse is True


def days_to_next(program: Program, *, sore: bool) -> int:
    """Return the days until the next session: more of them after a sore one."""
    return program.schedule.after_sore_days if sore else program.schedule.every_days


LEFT_OUT_NEWS = {
    MemberStanding.TAKEN_OUT: "news_taken_out",
    MemberStanding.PAUSED: "news_paused",
    MemberStanding.WITHDRAWN: "news_withdrawn",
}
"""Where an exercise stands to the phrase that tells it."""


def _left_out(exercise: Exercise, member: Membership, past: tuple[PastSession, ...]) -> AbsentExercise:
    """Return why an exercise is left out; it is told in the first session since."""
    assert member.because is not None, "what is left out says why"
    last = max((moment(session) for session in past if session.exercises), default="")
    key = LEFT_OUT_NEWS.get(member.standing, "") if member.since >= last else ""
    return AbsentExercise(exercise, member.because, key)


def _changed(program: Program, past: tuple[PastSession, ...]) -> bool:
    """Tell whether the last session ran another version of the program file."""
    digest = next((session.digest for session in reversed(past) if session.exercises), "")
    return digest not in ("", program.digest)


def _told_once(planned: Iterable[PlannedExercise]) -> tuple[PlannedExercise, ...]:
    """Return the exercises, with each kind of lasting trouble told only before the first exercise that has it."""
    found: list[PlannedExercise] = []
    told: set[str] = set()
    for one in planned:
        news = tuple(key for key in one.news if key not in told)
        told |= {key for key in news if key.startswith("news_lasting_")}
        found.append(replace(one, news=news))
    return tuple(found)


def _planned(exercise: Exercise, now: Reached, member: Membership, *, changed: bool) -> PlannedExercise:
    within = dose(exercise, now.level).work.amount
    because = [now.level_because]
    because.append(now.amount_because or clause("because_bottom", low=within.low))
    news = _news(exercise, now, member, changed=changed)
    return PlannedExercise(exercise, now.level, now.amount, (*because, *now.notes), news)


_DECIDED = {Verdict.UP: "news_up", Verdict.STAY: "news_stay", Verdict.DOWN: "news_down"}


def _news(exercise: Exercise, now: Reached, member: Membership, *, changed: bool) -> tuple[str, ...]:
    """Return the phrases that tell what changed since the exercise's last session."""
    news = ["news_program"] if changed else []
    if now.decision is not None:
        news.append(_DECIDED[now.decision.verdict])
    if now.gap:
        news.append("news_gap")
    if now.lasting is not None:
        news.append(f"news_lasting_{now.lasting.cause}")
    if member.admitted is not None and (now.last is None or moment(now.last) < member.admitted.at):
        news.append("news_admitted")
    elif exercise.joins_after is not None and now.last is None:
        news.append("news_joined")
    if member.back_on is not None and now.last is not None and now.last.day < member.back_on:
        news.append("news_back")
    return tuple(news)
