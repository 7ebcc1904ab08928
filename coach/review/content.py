"""Compose a review: titled parts of sentences, tables and plots, for the page and the terminal."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from datetime import date

from coach.logbook.store import Person
from coach.review.asks import asks
from coach.review.blocks import Content, Grid, Part, ReviewBlock, Sentences, Wording, percent, rests, shown_pain
from coach.review.drawn import exercises, going, heard
from coach.review.figures import AmountFigures, Mean, Review, Visit
from coach.session.past import Clause
from coach.session.proposals import Proposal

LAST_NAMED = 3
"""Sessions named at most for one thing that went wrong."""


def content(review: Review, person: Person, labels: Wording, language: str) -> Content:
    """Return the content of the review."""
    titles = dict.fromkeys(visit.tally.title for visit in review.visits if visit.tally.title)
    facts = [labels("review_programs", titles="; ".join(titles))] if titles else []
    if review.visits:
        first = review.since or review.visits[0].day
        facts.append(labels("review_period", first=first, today=review.today, n=review.adherence.came))
    elif review.since and review.adherence.last:
        facts.append(labels("review_none_since", since=review.since, last=review.adherence.last))
    else:
        facts.append(labels("review_none"))
    parts = [Part("decide", labels("review_decide"), tuple(_decide(review, labels)))]
    parts.append(Part("wrong", labels("review_wrong"), tuple(_wrong(review, labels))))
    if review.visits:
        parts.append(Part("going", labels("review_going"), (*_going(review, labels), *going(review, labels))))
        parts.append(Part("exercises", labels("review_exercises"), exercises(review, labels)))
        parts.append(Part("changes", labels("review_changes"), tuple(_changes(review, labels))))
        parts.append(Part("heard", labels("review_heard"), (*_heard(review, labels), *heard(review, labels))))
    noted = [(visit.day.isoformat(), by, text) for visit in review.visits for text, by in visit.tally.notes]
    if noted:
        columns = (labels("column_day"), labels("column_noted_by"), labels("column_note"))
        parts.append(Part("notes", labels("log_notes"), (Grid("", columns, tuple(noted)),)))
    reading = ("read_three", "read_tempo", "read_pain", "read_heard", "read_one", "read_device")
    parts.append(Part("reading", labels("review_reading"), (Sentences(tuple(labels(key) for key in reading)),)))
    title = labels("review_title", name=person.name or person.id)
    return Content(language, title, tuple(facts), tuple(parts))


# -- what needs a decision --------------------------------------------------------------------------------------------


def _decide(review: Review, labels: Wording) -> Iterator[ReviewBlock]:
    due = [one for one in review.proposals if one.due]
    lines = list(asks(review, labels))
    lines += [_clause(one.taken_out, labels) for one in review.proposals if one.taken_out]
    lines += [_step(review, one, labels) for one in due]
    yield Sentences(tuple(lines) or (labels("review_nothing_to_decide"),))
    for proposal in sorted(review.proposals, key=lambda one: not one.due):
        name = "clauses_due" if proposal.due else "clauses_not_yet"
        yield Grid(
            labels(f"{name}_{proposal.verdict}", name=proposal.name,
                   before=labels.word("level", proposal.from_level), after=labels.word("level", proposal.to_level)),
            (labels("column_clause"), labels("column_met")),
            tuple((_clause(clause, labels), labels("met" if clause.met else "not_met")) for clause in proposal.clauses),
        )  # fmt: skip


def _step(review: Review, proposal: Proposal, labels: Wording) -> str:
    return labels(
        f"ask_{proposal.verdict}",
        name=proposal.name,
        before=labels.word("level", proposal.from_level),
        after=labels.word("level", proposal.to_level),
        command=f"coach decide {review.person} {proposal.exercise} {proposal.verdict} --by NAME",
    )


def _clause(clause: Clause, labels: Wording) -> str:
    told = {name: labels.word("level", str(it)) if name == "level" else it for name, it in clause.values}
    return labels(clause.key, **told)


# -- what went wrong --------------------------------------------------------------------------------------------------


def _wrong(review: Review, labels: Wording) -> Iterator[ReviewBlock]:
    if review.wrong:
        yield Grid(
            labels("caption_wrong"),
            (labels("column_what"), labels("column_times"), labels("column_last"), labels("column_in_sessions")),
            tuple(
                (
                    labels(wrong.key, name=_about(review, wrong.key, wrong.name, labels)),
                    str(len(wrong.visits)),
                    wrong.visits[-1].day.isoformat(),
                    _named(wrong.visits, labels),
                )
                for wrong in review.wrong
            ),
        )
    elif review.visits:
        yield Sentences((labels("review_nothing_wrong"),))
    if review.left_out:
        left = sum(not one.counted for one in review.left_out)
        yield Grid(
            labels("caption_left_out", n=left, doubt=len(review.left_out) - left),
            (labels("column_file"), labels("column_line"), labels("column_why_left")),
            tuple(
                (
                    one.file,
                    str(one.line) if one.line else labels("whole_file"),
                    (labels(one.key, text=one.text) if one.key else one.text)
                    + (f" ({labels('counted_all_the_same')})" if one.counted else ""),
                )
                for one in review.left_out
            ),
        )
    if review.versions_missing:
        yield Sentences((labels("review_versions_missing", n=review.versions_missing),))


def _about(review: Review, key: str, name: str, labels: Wording) -> str:
    groups = {"wrong_end": "end", "wrong_device": "device"}
    if key.startswith("wrong_screen"):
        return name or labels("hold_next_day")
    return labels.word(groups[key], name) if key in groups else review.name_of(name) if name else labels("no_exercise")


def _named(visits: Sequence[Visit], labels: Wording) -> str:
    sessions = list(dict.fromkeys(visit.brief.session for visit in visits))
    shown = ", ".join(sessions[-LAST_NAMED:])
    return labels("and_earlier", sessions=shown, n=len(sessions) - LAST_NAMED) if len(sessions) > LAST_NAMED else shown


# -- how it is going --------------------------------------------------------------------------------------------------


def short(review: Review, labels: Wording) -> tuple[str, ...]:
    """Return a review in a few sentences for the family: how often, and what the clinician should look at."""
    return (*_kept_days(review, labels), *asks(review, labels, at_home=True))


def _kept_days(review: Review, labels: Wording) -> list[str]:
    adherence = review.adherence
    due = labels("sessions_done", done=adherence.done, due=adherence.due, share=percent(adherence.done, adherence.due))
    lines = [f"{due} ({rests(adherence.done, labels)})"]
    if adherence.came > adherence.done:
        lines.append(labels("sessions_without_work", n=adherence.came - adherence.done))
    return lines


def _going(review: Review, labels: Wording) -> Iterator[ReviewBlock]:
    work = review.work
    yield Sentences(tuple(_kept_days(review, labels)))
    yield Grid(
        labels("caption_work", rests=rests(work.sessions, labels)),
        (labels("column_work"), labels("column_prescribed"), labels("column_counted"), labels("column_stated")),
        (
            (
                labels("column_sets"),
                str(work.sets_prescribed),
                labels("sets_begun", n=work.sets_begun, full=work.sets_in_full),
                "-",
            ),
            *(_amount(amount, labels) for amount in work.amounts),
            (
                labels("row_tension"),
                labels("minutes", n=f"{work.tension_prescribed_s / 60:.1f}"),
                labels("minutes", n=f"{work.tension_s / 60:.1f}")
                + f" ({percent(work.tension_s, work.tension_prescribed_s)})",
                "-",
            ),
        ),
    )
    if work.tension_unknown:
        yield Sentences((labels("tension_unknown", n=work.tension_unknown),))
    yield Grid(
        labels("caption_body"),
        (labels("column_body"), labels("column_figure"), labels("column_rests")),
        tuple(_body(review, labels)),
    )


def _amount(amount: AmountFigures, labels: Wording) -> tuple[str, str, str, str]:
    counted = str(amount.counted)
    if amount.sets_unknown:
        counted += f" ({labels('sets_not_known', n=amount.sets_unknown)})"
    stated = labels("stated_in", n=amount.stated, sets=amount.sets_stated, counted=amount.counted_where_stated)
    return labels(f"unit_{amount.unit}"), str(amount.prescribed), counted, stated if amount.sets_stated else "-"


def _body(review: Review, labels: Wording) -> Iterator[tuple[str, str, str]]:
    pain = review.pain
    rested = rests(pain.told, labels)

    def mean(key: str, value: Mean | None) -> tuple[str, str, str]:
        return labels(key), f"{value.value:.1f}" if value else "-", rests(value.sessions, labels) if value else "-"

    yield mean("pain_first", pain.first)
    if pain.last:
        yield mean("pain_last", pain.last)
    yield labels("pain_highest"), shown_pain(pain.highest), rested
    if pain.told > pain.unknown:
        known = rests(pain.told - pain.unknown, labels)
        yield labels("pain_above"), str(pain.above), known
        yield labels("pain_eased"), str(pain.eased), known
    yield labels("pain_worse"), str(pain.worse), labels("mornings", n=pain.mornings)
    yield labels("pain_unanswered"), str(pain.unanswered), rests(review.adherence.came, labels)
    yield mean("effort_mean", review.effort)
    halts = sum(times for _, times in review.halts.causes)
    causes = ", ".join(f"{labels.word('halt', cause)} {times}" for cause, times in review.halts.causes)
    yield labels("halts_all"), f"{halts} ({causes})" if halts else "0", rests(review.adherence.came, labels)


# -- what was changed, and how replies were heard ---------------------------------------------------------------------


def _changes(review: Review, labels: Wording) -> Iterator[ReviewBlock]:
    if review.eased:
        yield Grid(
            labels("caption_eased"),
            (labels("column_rule"), labels("column_exercise"), labels("column_what"), labels("column_times"),
             labels("column_last"), labels("column_rests")),
            tuple(
                (one.because, review.name_of(one.exercise), labels.word("eased", one.what), str(one.times),
                 one.last.day.isoformat(), rests(one.sessions, labels))
                for one in review.eased
            ),
        )  # fmt: skip
    else:
        yield Sentences((labels("review_nothing_eased"),))
    if review.decisions:
        yield Grid(
            labels("caption_decisions"),
            (labels("column_when"), labels("column_exercise"), labels("column_decided"), labels("column_by"),
             labels("column_note")),
            tuple(
                (_day(one.day), review.name_of(one.exercise),
                 labels(f"decided_{one.verdict}_until" if one.until else f"decided_{one.verdict}", until=one.until,
                        before=labels.word("level", one.from_level),
                        after=labels.word("level", one.to_level)), one.by, one.note or "-")
                for one in review.decisions
            ),
        )  # fmt: skip


def _day(day: date) -> str:
    return day.isoformat()


def _heard(review: Review, labels: Wording) -> Iterator[ReviewBlock]:
    hearing = review.hearing
    yield Grid(
        labels("caption_questions", rests=rests(hearing.sessions, labels)),
        (labels("column_what"), labels("column_times")),
        tuple(
            (labels(f"heard_{name}"), str(getattr(hearing, name)))
            for name in ("asked", "at_once", "again", "unanswered", "left_out", "denied", "holds", "ladder")
        ),
    )
    if hearing.ears:
        yield Grid(
            labels("caption_ears"),
            (labels("column_ear"), labels("column_heard"), labels("column_used"), labels("column_unclear"),
             labels("column_rests")),
            tuple(
                (labels.word("ear", ear.ear), str(ear.heard), str(ear.used), str(ear.unclear),
                 rests(ear.sessions, labels))
                for ear in hearing.ears
            ),
        )  # fmt: skip
    if review.devices:
        yield Grid(
            labels("caption_devices"),
            (labels("column_what"), labels("column_times")),
            tuple((labels.word("device", what), str(times)) for what, times in review.devices),
        )
