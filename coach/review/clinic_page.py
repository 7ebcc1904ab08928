"""Draw a clinic's review as one HTML file: who needs a look, each person's last weeks as a strip, what is left out."""

from __future__ import annotations

from collections.abc import Iterable

from coach.program.model import SCALE_END
from coach.review.blocks import Wording
from coach.review.clinic import STRIP_DAYS, ClinicReview, Standing
from coach.review.clinic_words import how_counted, said, summary
from coach.review.markup import Markup, document, tag

STEP = 5
"""Width of a day in the strip, in px."""
TALL = 26
"""Height of a pain of 10 above the foot, in px."""
FOOT = 4
"""Height of the foot, in px."""


def page(review: ClinicReview, labels: Wording, language: str, *, proven: bool) -> str:
    """Return the page. `proven`: the checksums of the logbooks were checked for it."""
    title = labels("clinic_title", day=review.today.isoformat())
    urgent = [one for one in review.people if one.needs]
    others = [one for one in review.people if not one.needs]
    nobody = tag("p", labels("clinic_nobody"))
    look, rest = labels("clinic_look"), labels("clinic_others", n=len(others))
    lost = [str(one) for one in review.left_out]
    parts = (
        ("look", look, (_table(look, urgent, review, labels) if urgent else nobody,)),
        ("others", rest, (_table(rest, others, review, labels) if others else nobody,)),
        ("strips", labels("clinic_strip"), (tag("p", labels("clinic_strip_legend")),)),
        (
            "left-out",
            labels("clinic_left_out", n=len(lost)),
            (_list(lost) if lost else tag("p", labels("clinic_left_out_none")),),
        ),
        ("how", labels("clinic_how"), (_list(how_counted(labels, proven=proven)),)),
    )
    return document(
        title,
        language,
        "review clinic",
        tag("header", tag("h1", title), tag("p", summary(review, labels))),
        tag(
            "nav",
            tag("ol", *(tag("li", tag("a", named, href=f"#{name}")) for name, named, _ in parts)),
            aria_label=labels("review_contents"),
        ),
        *(
            tag("section", tag("h2", named, id=f"{name}-title"), *body, id=name, aria_labelledby=f"{name}-title")
            for name, named, body in parts
        ),
    )


def _list(lines: Iterable[str]) -> Markup:
    return tag("ul", *(tag("li", line) for line in lines))


def _table(title: str, people: list[Standing], review: ClinicReview, labels: Wording) -> Markup:
    why = ("why",) if any(one.needs for one in people) else ()
    heads = ("person", *why, "last", "done_of_due", "pain", "strip", "in_full", "tension", "halts")
    head = tag("tr", *(tag("th", labels(f"clinic_{name}"), scope="col") for name in heads))
    rows = tag("tbody", *(_row(one, review, labels) for one in people))
    return tag(
        "div", tag("table", tag("thead", head), rows), class_="scroll", tabindex="0", role="region", aria_label=title
    )


def _row(one: Standing, review: ClinicReview, labels: Wording) -> Markup:
    row = said(one, review, labels)
    needs = [tag("div", tag("b", need), f": {why}") for need, why in row.needs]
    return tag(
        "tr",
        tag("th", row.person, scope="row"),
        *((tag("td", *needs, class_="why"),) if needs else ()),
        tag("td", row.last, class_="number"),
        tag("td", row.done, _bar(one.recent_done, one.recent_due), class_="number"),
        tag("td", row.pain, class_="number"),
        tag("td", _strip(one, labels)),
        tag("td", row.in_full, class_="number"),
        tag("td", row.tension, class_="number"),
        tag("td", row.halts, class_="number"),
    )


def _bar(done: int | None, due: int | None) -> Markup:
    """Return a bar of the share of due sessions that were done, with the number beside it."""
    if not due or done is None:
        return Markup("")
    full = round(40 * min(1.0, done / due), 1)
    return Markup(
        '<svg class="bar" width="42" height="8" aria-hidden="true"><rect x="0.5" y="0.5" width="41" height="7" '
        f'class="frame"/><rect x="1" y="1" width="{full}" height="6"/></svg>'
    )


def _strip(one: Standing, labels: Wording) -> Markup:
    """Return the last weeks, one place per day: a foot for a session, and on it a bar of the highest pain stated."""
    told = [pain for _, _, pain in one.days if pain is not None]
    words = labels(
        "clinic_strip_text",
        n=len(one.days),
        highest=max(told, default="-"),
        last=told[-1] if told else "-",
    )
    wide, high = STRIP_DAYS * STEP, TALL + FOOT + 2
    marks = "".join(_mark((STRIP_DAYS - 1 + day) * STEP, worked, pain, high) for day, worked, pain in one.days)
    weeks = "".join(f'<path class="week" d="M{x} 0V{high}"/>' for x in range(7 * STEP, wide, 7 * STEP))
    return Markup(
        f'<svg class="strip" width="{wide}" height="{high}" role="img">{tag("title", words)}{weeks}'
        f'<path class="ground" d="M0 {high - 0.5}H{wide}"/>{marks}</svg>'
    )


def _mark(x: int, worked: bool, pain: int | None, high: int) -> str:
    foot = high - FOOT - 1
    if not worked:
        return f'<path d="M{x} {foot}h1v{FOOT}h-1zM{x + 3} {foot}h1v{FOOT}h-1z"/>'
    if pain is None:
        ring = f'<circle class="ring" cx="{x + 2}" cy="{foot - 4}" r="1.6"/>'
        return f'<path d="M{x} {foot}h4v{FOOT}h-4z"/>{ring}'
    tall = round(min(SCALE_END, max(0, pain)) * TALL / SCALE_END, 1)
    return f'<path d="M{x} {round(foot - tall, 1)}h4v{round(FOOT + tall, 1)}h-4z"/>'
