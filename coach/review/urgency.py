"""THE rules of urgency: why somebody should look at a person, for their own review and for the clinic's page alike.

Both give what they know of a person as the same values, and get the same reasons with the same figures.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from enum import IntEnum
from statistics import fmean

from coach.review.due import Adherence, Came, adherence, due_days
from coach.session.safety_holds import SafetyHold

FORTNIGHT = 14
"""Days of the stretches that are compared, and in which a trouble counts as of late."""
PAIN_RISE = 2.0
"""Points by which pain must rise to be a reason by itself: a change of 2 on the 0-10 scale matters (Farrar 2001)."""
PAIN_CREEP = 1.0
"""Points by which pain must rise to count beside another measure that got worse. Our own choice."""
PAINS_TOLD = 3
"""Sessions with a stated pain that a mean must rest on to be compared. Our own choice."""
MORNINGS = 2
"""Worse mornings of late from which on they are a reason; so many more count as got worse. Our own choice."""
ENDINGS = 2
"""Endings for safety by so many more count as got worse. Our own choice."""
SHARE_LESS = 0.15
"""Share of the planned sets, 0-1, by which less is done in full before that counts as got worse. Our own choice."""
STOPPED_AFTER = 3
"""Due sessions missed in a row after which a person counts as having stopped. Our own choice."""
LEAST_DUE = 3
"""Due sessions of a fortnight that low adherence must rest on. Our own choice."""
LOW = 0.5
"""Share of the due sessions, 0-1, below which adherence is low. Our own choice."""
LEAST_ASKED = 10
"""Questions of a fortnight that hearing badly must rest on. Our own choice."""
UNHEARD = 1 / 3
"""Share of questions, 0-1, put again or never answered, from which on words are not heard. Our own choice."""

FOR_SAFETY = ("pain", "unsteady", "halts", "no_answer_halt", "screen", "tired")
"""Ends of a session that somebody should look at."""
OF_MACHINE = ("not_heard", "deaf", "mute", "interrupted", "told_to_end", "no_answer")
"""Ends of a session caused by the machine, the room or the hearing."""


class Need(IntEnum):
    """Why somebody should look, the most urgent first."""

    HOLD = 0
    """The person is on hold: nothing begins until it is cleared."""
    SAFETY = 1
    """Sessions of late ended for safety."""
    WORSENING = 2
    """Two measures or more got worse."""
    PAIN = 3
    """Pain is rising."""
    MORNINGS = 4
    """Pain was worse on mornings after sessions."""
    LASTING = 5
    """An exercise has been in trouble for as long as a gap lasts."""
    STOPPED = 6
    """The person has stopped coming."""
    SELDOM = 7
    """The person has long come to fewer than half of the due sessions."""
    REVIEW_ON = 8
    """The day on which the program was to be reviewed has come."""
    STEP_UP = 9
    """A step up is proposed and waits for a decision."""
    NOT_HEARD = 10
    """Many questions had to be put again, or were never answered."""
    MACHINE = 11
    """The last session ended because of the machine, the room or the hearing."""
    UNREAD = 12
    """Some of their session files cannot be read."""
    NOT_BEGUN = 13
    """There is no session yet."""


Figure = str | int


@dataclass(frozen=True, slots=True)
class WhyLook:
    """One need, and the figures that it rests on."""

    need: Need
    values: tuple[tuple[str, Figure], ...] = ()
    """Name and value for each {name} in its wordings."""
    worse: tuple[tuple[str, str, str], ...] = ()
    """Of WORSENING: each measure, with its figure then and now."""


@dataclass(frozen=True, slots=True)
class Beside:
    """What the rules ask besides the sessions."""

    holds: tuple[SafetyHold, ...] = ()
    steps_up: tuple[int, ...] | None = ()
    """For each step up that waits, the number of sessions that it rests on; None: not known."""
    lasting: int | None = 0
    """Exercises in trouble that lasts; None: not known."""
    review_on: date | None = None
    unread: bool = False


def reasons(
    sessions: Sequence[Came], beside: Beside, today: date, due: Sequence[date] | None = None
) -> tuple[WhyLook, ...]:
    """Return why somebody should look at a person `today`, the most urgent first; sessions come in any order.

    `due`: the days on which a session was due, if they are known already.
    """
    ordered = sorted(sessions, key=lambda one: (one.began, one.session))
    last = ordered[-1] if ordered else None
    due = due_days(ordered, today) if due is None else due
    recent = within(ordered, today, 2 * FORTNIGHT)
    kept = adherence(ordered, due, today)
    waits = [hold for hold in beside.holds if hold.until_cleared]
    found = [
        *(WhyLook(Need.HOLD, (("day", str(hold.day or "-")),)) for hold in waits[:1]),
        *_body(ordered, recent, today),
        *(() if waits else _coming(recent, due, kept, today)),
    ]
    if beside.lasting:
        found.append(WhyLook(Need.LASTING, (("n", beside.lasting),)))
    if beside.review_on is not None and beside.review_on <= today:
        found.append(WhyLook(Need.REVIEW_ON, (("on", str(beside.review_on)),)))
    if beside.steps_up:
        found.append(WhyLook(Need.STEP_UP, (("n", len(beside.steps_up)), ("least", min(beside.steps_up)))))
    found += _heard(recent, today)
    if last is not None and last.why in OF_MACHINE:
        found.append(WhyLook(Need.MACHINE, (("why", last.why),)))
    if beside.unread:
        found.append(WhyLook(Need.UNREAD))
    if last is None and not beside.unread:
        found.append(WhyLook(Need.NOT_BEGUN))
    return tuple(sorted(found, key=lambda one: one.need))


def within(sessions: Iterable[Came], until: date, days: int = FORTNIGHT) -> list[Came]:
    """Return the sessions of the `days` that end with `until`."""
    return [one for one in sessions if until - timedelta(days=days) < one.day <= until]


def _body(sessions: Sequence[Came], recent: Sequence[Came], today: date) -> Iterable[WhyLook]:
    """Yield what endings, pain and mornings tell."""
    lately = within(recent, today)
    ended = [one for one in lately if one.why in FOR_SAFETY]
    if ended:
        yield WhyLook(
            Need.SAFETY,
            (("n", len(ended)), ("of", len(lately)), ("days", FORTNIGHT), ("last", str(ended[-1].day)),
             ("why", ended[-1].why)),
        )  # fmt: skip
    then = [within(recent, today - timedelta(days=FORTNIGHT))]
    if sessions and (today - sessions[0].day).days >= 2 * FORTNIGHT:
        then.append(within(sessions, sessions[0].day + timedelta(days=FORTNIGHT - 1)))
    worse = max((_got_worse(lately, before) for before in then), key=len)
    if len(worse) > 1:
        yield WhyLook(Need.WORSENING, (("days", FORTNIGHT),), worse)
    yield from _rise(lately, then)
    mornings = [one.worse for one in lately if one.worse is not None]
    if sum(mornings) >= MORNINGS:
        yield WhyLook(Need.MORNINGS, (("n", sum(mornings)), ("of", len(mornings)), ("days", FORTNIGHT)))


def _rise(lately: Sequence[Came], then: Iterable[Sequence[Came]]) -> Iterable[WhyLook]:
    """Yield by how much pain rose at most: in the fortnight, or in its last few sessions."""
    told = [one for one in lately if one.pain is not None]
    found = [
        (now - before, before, now, len(some))
        for some in (told, told[-PAINS_TOLD:])
        for each in then
        if (before := _pain(each)) is not None and (now := _pain(some)) is not None
    ]
    rise, before, now, n = max(found, default=(0.0, 0.0, 0.0, 0))
    if rise >= PAIN_RISE:
        yield WhyLook(Need.PAIN, (("before", f"{before:.1f}"), ("now", f"{now:.1f}"), ("n", n)))


def _got_worse(now: Sequence[Came], then: Sequence[Came]) -> tuple[tuple[str, str, str], ...]:
    """Return each measure of two fortnights that got worse, with its figure then and now."""
    found: list[tuple[str, str, str]] = []
    before, after = _pain(then), _pain(now)
    if before is not None and after is not None and after - before >= PAIN_CREEP:
        found.append(("pain", f"{before:.1f}", f"{after:.1f}"))
    mornings = [sum(one.worse is True for one in each) for each in (then, now)]
    if any(one.worse is not None for one in then) and mornings[1] - mornings[0] >= MORNINGS:
        found.append(("mornings", str(mornings[0]), str(mornings[1])))
    share = [_share(each) for each in (then, now)]
    if share[0] is not None and share[1] is not None and share[0] - share[1] >= SHARE_LESS:
        found.append(("amount", f"{share[0]:.0%}", f"{share[1]:.0%}"))
    endings = [sum(one.why in FOR_SAFETY for one in each) for each in (then, now)]
    if then and endings[1] - endings[0] >= ENDINGS:
        found.append(("endings", str(endings[0]), str(endings[1])))
    return tuple(found)


def _pain(sessions: Sequence[Came]) -> float | None:
    """Return the mean of the highest pains; None: too few were stated."""
    pains = [one.pain for one in sessions if one.pain is not None]
    return fmean(pains) if len(pains) >= PAINS_TOLD else None


def _share(sessions: Sequence[Came]) -> float | None:
    """Return the share of the planned sets that were done in full, in the sessions with work; None: there were none."""
    worked = [one for one in sessions if one.worked and one.sets_planned]
    planned = sum(one.sets_planned for one in worked)
    return sum(one.sets_in_full for one in worked) / planned if planned else None


def _coming(sessions: Sequence[Came], due: Sequence[date], kept: Adherence, today: date) -> Iterable[WhyLook]:
    """Yield how the person comes: not at all any more, or for four weeks to fewer than half of the due sessions."""
    if kept.last is not None and kept.missed_since >= STOPPED_AFTER:
        yield WhyLook(Need.STOPPED, (("last", str(kept.last)), ("n", kept.missed_since)))
        return
    stretches = []
    for until in (today, today - timedelta(days=FORTNIGHT)):
        asked = sum(until - timedelta(days=FORTNIGHT) < day <= until for day in due)
        stretches.append((sum(one.worked for one in within(sessions, until)), asked))
    if all(asked >= LEAST_DUE and done < LOW * asked for done, asked in stretches):
        done, asked = map(sum, zip(*stretches, strict=True))
        yield WhyLook(Need.SELDOM, (("done", done), ("due", asked), ("days", 2 * FORTNIGHT)))


def _heard(sessions: Sequence[Came], today: date) -> Iterable[WhyLook]:
    lately = within(sessions, today)
    asked, unheard = sum(one.asked for one in lately), sum(one.unheard for one in lately)
    if asked >= LEAST_ASKED and unheard >= UNHEARD * asked:
        yield WhyLook(Need.NOT_HEARD, (("n", unheard), ("of", asked), ("days", FORTNIGHT)))
