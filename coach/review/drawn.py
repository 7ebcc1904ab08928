"""Prepare the plots of a review: their marks, and the same content in words and in figures."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from datetime import date
from functools import partial
from math import ceil, floor, log10

from coach.history import ratings_of
from coach.logbook.pain import Pain
from coach.program.model import Limits
from coach.review.blocks import Drawing, Drawn, Grid, Marks, Plot, Scale, Wording, rated_words, rests, shown_pain
from coach.review.figures import Course, Review, Visit, Week
from coach.session.past import Goal

MOST_DATES = 7
"""Dates that fit under a plot."""

MORNING = 11.2
"""Height at which the mornings after are marked: above the pains of 0-10."""


def going(review: Review, labels: Wording) -> tuple[Drawing, ...]:
    """Return sessions, time under tension, pain, goals and halts over time."""
    return (*_weekly(review, labels), _pain(review, labels), *_goals(review, labels), *_halts(review, labels))


def exercises(review: Review, labels: Wording) -> tuple[Drawing, ...]:
    """Return each exercise over time: the count of each set, and the level."""
    return tuple(_course(review, course, labels) for course in review.courses)


def heard(review: Review, labels: Wording) -> tuple[Drawing, ...]:
    """Return how well replies were heard over time."""
    hearing = review.hearing
    told = labels("plot_heard_told", asked=hearing.asked, once=hearing.at_once, again=hearing.again,
                  none=hearing.unanswered)  # fmt: skip
    return (Drawing(labels("plot_heard"), told, partial(_heard, review, labels)),)


def _heard(review: Review, labels: Wording) -> Drawn:
    weeks = review.weeks
    most = max((week.at_once + week.again + week.unanswered for week in weeks), default=0)
    marks = (
        Marks("low", tuple((n, week.at_once, 0) for n, week in enumerate(weeks, start=1)), labels("heard_at_once")),
        Marks(
            "middle",
            tuple((n, week.at_once + week.again, week.at_once) for n, week in enumerate(weeks, start=1) if week.again),
            labels("heard_again"),
        ),
        Marks(
            "top",
            tuple(
                (n, week.at_once + week.again + week.unanswered, week.at_once + week.again)
                for n, week in enumerate(weeks, start=1)
                if week.unanswered
            ),
            labels("heard_unanswered"),
        ),
    )
    figures = Grid(
        labels("plot_heard"),
        (labels("column_week"), labels("heard_at_once"), labels("heard_again"), labels("heard_unanswered")),
        tuple((week.begins.isoformat(), str(week.at_once), str(week.again), str(week.unanswered)) for week in weeks),
    )
    return (Plot(marks, _weeks(weeks), _amounts(most)),), figures


# -- by the week ------------------------------------------------------------------------------------------------------


def _weekly(review: Review, labels: Wording) -> Iterator[Drawing]:
    weeks, adherence, work = review.weeks, review.adherence, review.work
    title = labels("plot_sessions")
    told = labels("plot_sessions_told", done=adherence.done, due=adherence.due,
                  none=sum(week.due > 0 and not week.done for week in weeks))  # fmt: skip
    yield Drawing(title, told, partial(
        _held_against, title, labels("sessions_due"), labels("sessions_worked"), weeks,
        lambda week: (week.due, week.done), labels, labels("axis_sessions"), str,
    ))  # fmt: skip
    if work.tension_prescribed_s:
        title = labels("plot_tension")
        told = labels("plot_tension_told", ran=f"{work.tension_s / 60:.1f}",
                      prescribed=f"{work.tension_prescribed_s / 60:.1f}")  # fmt: skip
        yield Drawing(title, told, partial(
            _held_against, title, labels("tension_prescribed"), labels("tension_ran"), weeks,
            lambda week: (week.tension_prescribed_s / 60, week.tension_s / 60), labels, labels("axis_minutes"),
            lambda minutes: f"{minutes:.1f}",
        ))  # fmt: skip


def _held_against(
    title: str,
    wanted: str,
    got: str,
    weeks: Sequence[Week],
    of: Callable[[Week], tuple[float, float]],
    labels: Wording,
    axis: str,
    written: Callable[[float], str],
) -> Drawn:
    """Return a plot with two columns per week, the narrow one in front of the wide one."""
    held = [of(week) for week in weeks]
    marks = (
        Marks("due", tuple((n, both[0], 0) for n, both in enumerate(held, start=1)), wanted),
        Marks("done", tuple((n, both[1], 0) for n, both in enumerate(held, start=1)), got),
    )
    rows = tuple(
        (week.begins.isoformat(), *(written(value) for value in both)) for week, both in zip(weeks, held, strict=True)
    )
    figures = Grid(title, (labels("column_week"), wanted, got), rows)
    most = max((max(both) for both in held), default=0)
    return (Plot(marks, _weeks(weeks), _amounts(most, axis)),), figures


# -- by the day -------------------------------------------------------------------------------------------------------


def _pain(review: Review, labels: Wording) -> Drawing:
    pain = review.pain
    description = labels(
        "plot_pain_told", highest=shown_pain(pain.highest), rests=rests(pain.told, labels), above=pain.above,
        worse=pain.worse, mornings=pain.mornings,
    )  # fmt: skip
    return Drawing(labels("plot_pain"), description, partial(_pain_drawn, review, labels))


def _pain_drawn(review: Review, labels: Wording) -> Drawn:
    places = [(_x(review, visit), visit) for visit in review.visits]
    told = [(x, visit, pain) for x, visit in places for pain in _stated(visit) if pain]
    marks = (
        Marks("limit", _limits(review, lambda limits: limits.pain_carry_on_to),
             labels("limit_carry_on")),
        Marks("end", _limits(review, lambda limits: limits.pain_ease_to), labels("limit_end")),
        Marks("span", tuple((x, pain.low, pain.high) for x, _, pain in told if pain.low != pain.high),
             labels("pain_band")),
        Marks("before", _pains(places, lambda visit: visit.tally.before), labels("pain_before")),
        Marks("during", _pains(places, lambda visit: visit.tally.during), labels("pain_during")),
        Marks("after", _pains(places, lambda visit: visit.tally.after), labels("pain_after")),
        Marks("worse", tuple((x, MORNING) for x, visit in places if visit.worse), labels("pain_morning_worse")),
        Marks("same", tuple((x, MORNING) for x, visit in places if visit.worse is False), labels("pain_morning_same")),
    )  # fmt: skip
    figures = Grid(
        labels("plot_pain"),
        (labels("column_when"), labels("pain_before"), labels("pain_during"), labels("pain_after"),
         labels("column_morning"), labels("column_limits")),
        tuple(
            (visit.day.isoformat(), *(shown_pain(pain) for pain in _stated(visit)),
             _morning(visit, labels), _limit(visit)) for visit in review.visits
        ),
    )  # fmt: skip
    ticks = (0.0, 2.0, 4.0, 6.0, 8.0, 10.0, MORNING)
    y = Scale(-0.6, 12.0, ticks, ("0", "2", "4", "6", "8", "10", labels("tick_morning")))
    shown = tuple(mark for mark in marks if mark.points)
    return (Plot(shown, _days(review), y, 290),), figures


def _stated(visit: Visit) -> tuple[Pain | None, Pain | None, Pain | None]:
    """Return the pain before, during and after a visit's work."""
    return visit.tally.before, visit.tally.during, visit.tally.after


def _pains(places: Sequence[tuple[float, Visit]], of: Callable[[Visit], Pain | None]) -> tuple[tuple[float, ...], ...]:
    return tuple((x, pain.high) for x, visit in places if (pain := of(visit)))


def _limits(review: Review, of: Callable[[Limits], int]) -> tuple[tuple[float, ...], ...]:
    """Return a limit as horizontal lines from each session to the next, so that a new program version shows."""
    ends = [*(_x(review, visit) for visit in review.visits[1:]), _days(review).high]
    lines: list[tuple[float, float, float]] = []
    for visit, end in zip(review.visits, ends, strict=True):
        if visit.limits is None:
            continue
        limit = of(visit.limits)
        if lines and lines[-1][1:] == (limit, _x(review, visit)):
            lines[-1] = (lines[-1][0], limit, end)
        else:
            lines.append((_x(review, visit), limit, end))
    return tuple(lines)


def _morning(visit: Visit, labels: Wording) -> str:
    return "-" if visit.worse is None else labels("morning_worse" if visit.worse else "morning_same")


def _limit(visit: Visit) -> str:
    return f"{visit.limits.pain_carry_on_to} / {visit.limits.pain_ease_to}" if visit.limits else "-"


GOAL_FORMS = ("during", "before", "after")
"""The form of the mark of each goal, by its place; there are three goals at most."""


def _goals(review: Review, labels: Wording) -> Iterator[Drawing]:
    """Yield how near the goals were, on the same days as the pain; nothing where none was rated."""
    ratings = ratings_of(visit.brief for visit in review.visits)
    rated = tuple(goal for goal in review.goals if any(one.goal == goal.id for one in ratings))
    if rated:
        told = ". ".join(f"{goal.text}: {rated_words(goal, ratings, labels)}" for goal in rated)
        yield Drawing(labels("plot_goals"), told, partial(_goals_drawn, review, rated, labels))


def _goals_drawn(review: Review, goals: Sequence[Goal], labels: Wording) -> Drawn:
    days = [(_x(review, visit), visit.day, dict(visit.brief.goals)) for visit in review.visits if visit.brief.goals]
    marks = tuple(
        Marks(form, tuple((x, values[goal.id]) for x, _, values in days if goal.id in values), goal.text)
        for form, goal in zip(GOAL_FORMS, goals, strict=False)
    )
    rows = tuple((day.isoformat(), *(str(values.get(goal.id, "-")) for goal in goals)) for _, day, values in days)
    figures = Grid(labels("plot_goals"), (labels("column_when"), *(goal.text for goal in goals)), rows)
    y = Scale(-0.6, 10.6, (0.0, 2.0, 4.0, 6.0, 8.0, 10.0), ("0", "2", "4", "6", "8", "10"), labels("axis_near"))
    return (Plot(marks, _days(review), y),), figures


def _halts(review: Review, labels: Wording) -> Iterator[Drawing]:
    names = _causes(review, labels)
    if names:
        told = labels("plot_halts_told", n=sum(times for _, times in review.halts.causes),
                      rests=rests(review.halts.sessions, labels), most=names[-1])  # fmt: skip
        yield Drawing(labels("plot_halts"), told, partial(_halts_drawn, review, labels))


def _causes(review: Review, labels: Wording) -> tuple[str, ...]:
    """Return each cause of halts and how often it was one, the most frequent last, which is drawn on top."""
    return tuple(f"{labels.word('halt', cause)} ({times})" for cause, times in reversed(review.halts.causes))


def _halts_drawn(review: Review, labels: Wording) -> Drawn:
    causes = [cause for cause, _ in review.halts.causes]
    halts = [(visit, halt) for visit in review.visits for halt in visit.tally.halts]
    rows = {cause: len(causes) - place for place, cause in enumerate(causes)}
    points = tuple((_x(review, visit), float(rows[halt.why or "unexplained"])) for visit, halt in halts)
    y = Scale(0.4, len(causes) + 0.6, tuple(float(n + 1) for n in range(len(causes))), _causes(review, labels))
    figures = Grid(
        labels("plot_halts"),
        (labels("column_when"), labels("column_exercise"), labels("column_cause"), labels("column_pain")),
        tuple(
            (visit.day.isoformat(), visit.tally.name_of(halt.exercise) if halt.exercise else labels("no_exercise"),
             labels.word("halt", halt.why or "unexplained"), "-" if halt.pain is None else str(halt.pain))
            for visit, halt in halts
        ),
    )  # fmt: skip
    plot = Plot((Marks("worse", points, labels("mark_halt")),), _days(review), y, 90 + 30 * len(causes))
    return (plot,), figures


def _course(review: Review, course: Course, labels: Wording) -> Drawing:
    first, last = course.points[0], course.points[-1]
    told = labels(
        "plot_course_told", rests=rests(len(course.points), labels), before=labels.word("level", first.level),
        after=labels.word("level", last.level), first=_counted(first.counted), last=_counted(last.counted),
        unit=labels(f"unit_{course.unit}"), halts=course.halts,
    )  # fmt: skip
    return Drawing(course.name, told, partial(_course_drawn, review, course, labels))


def _course_drawn(review: Review, course: Course, labels: Wording) -> Drawn:
    points = [(_x(review, point.visit), point) for point in course.points]
    most = max((max((point.prescribed, *point.counted)) for point in course.points), default=0)
    counts = (
        Marks("asked", tuple((x, point.prescribed) for x, point in points), labels("mark_prescribed")),
        Marks("set", tuple((x, n) for x, point in points for n in point.counted), labels("mark_set")),
    )
    levels = list(dict.fromkeys((*course.levels, *(point.level for point in course.points))))
    places = [(x, levels.index(point.level) + 1.0) for x, point in points]
    ends = [*(x for x, _ in places[1:]), places[-1][0]]
    level = (
        Marks("end", tuple((x, place, end) for (x, place), end in zip(places, ends, strict=True)), ""),
        Marks("set", tuple(places), ""),
    )
    names = tuple(labels.word("level", one) for one in levels)
    y = Scale(0.5, len(levels) + 0.5, tuple(n + 1.0 for n in range(len(levels))), names)
    figures = Grid(
        course.name,
        (labels("column_when"), labels("column_level"), labels("mark_prescribed"), labels("column_counted_sets"),
         labels("column_because")),
        tuple(
            (point.visit.day.isoformat(), labels.word("level", point.level), str(point.prescribed),
             ", ".join(map(str, point.counted)) or "-", point.because or "-") for point in course.points
        ),
    )  # fmt: skip
    x = _days(review)
    plots = (
        Plot(counts, x, _amounts(most, labels(f"unit_{course.unit}")), 210),
        Plot(level, x, y, 70 + 24 * len(names)),
    )
    return plots, figures


def _counted(counted: Sequence[int]) -> str:
    return ", ".join(map(str, counted)) or "-"


# -- scales -----------------------------------------------------------------------------------------------------------


def _first(review: Review) -> date:
    return review.weeks[0].begins


def _x(review: Review, visit: Visit) -> float:
    return float((visit.day - _first(review)).days)


def _days(review: Review) -> Scale:
    weeks = _every(review.weeks)
    last = max(7.0, (review.today - _first(review)).days + 1.0)
    ticks = [float((week.begins - _first(review)).days) for week in weeks]
    fit = [tick for tick in ticks if tick <= last * (1 - 0.5 / MOST_DATES)]  # leave room for half a label
    return Scale(-1.0, last, tuple(fit), tuple(week.begins.isoformat() for week in weeks[: len(fit)]))


def _weeks(weeks: Sequence[Week]) -> Scale:
    shown = _every(weeks)
    ticks = tuple(float(n) for n, week in enumerate(weeks, start=1) if week in shown)
    return Scale(0.4, len(weeks) + 0.6, ticks, tuple(week.begins.isoformat() for week in shown))


def _every(weeks: Sequence[Week]) -> Sequence[Week]:
    return weeks[:: ceil(len(weeks) / MOST_DATES) or 1]


def _amounts(most: float, title: str = "") -> Scale:
    """Return a scale from 0 to at least `most`, with at most five steps of 1, 2 or 5 times a power of ten."""
    tenth = 10 ** floor(log10(max(1.0, most) / 5)) if most > 5 else 1
    step = next((tenth * n for n in (1, 2, 5, 10) if tenth * n * 5 >= most), tenth * 10)
    ticks = tuple(float(step * n) for n in range(ceil(max(1.0, most) / step) + 1))
    return Scale(0.0, ticks[-1] * 1.04, ticks, tuple(f"{tick:g}" for tick in ticks), title)
