"""The clinic's page shows its review in words and marks, and a hostile name harmlessly."""

from __future__ import annotations

import re
from dataclasses import replace
from datetime import date

import pytest
from clinics import TODAY

from coach.cli.labels import Labels
from coach.loglines.safety import SafetySign
from coach.review.clinic import ClinicReview, Standing
from coach.review.clinic_page import page
from coach.review.clinic_words import said, summary
from coach.review.logbooks import EPOCH, NotCounted
from coach.review.urgency import Need, WhyLook
from coach.session.safety_holds import SafetyHold
from coach.voice.pack import load_pack

DAY = TODAY.toordinal() - EPOCH
GOING = Standing(
    person="p01", sessions=30, last_day=DAY - 1, recent_done=12, recent_due=14, recent_sets_in_full=60,
    recent_sets_planned=72, recent_tension_s=900.0, recent_tension_planned_s=1200.0, pain_now=1.0, pain_now_of=3,
    pain_banded=0, recent_halts=2, days=((-3, True, 2), (-2, False, None), (-1, True, None), (0, True, 0)),
)  # fmt: skip
FELL = SafetySign("screen", question="fell", asked="Have you fallen?", answer=True, call="Call the clinic.")
HOLD = SafetyHold("s", "2027-02-28T09:00:00Z", date(2027, 2, 28), "ankle_steady", FELL)
WHY = (
    WhyLook(Need.SAFETY, (("n", 2), ("of", 9), ("days", 14), ("last", "2027-02-28"), ("why", "pain"))),
    WhyLook(Need.WORSENING, (("days", 14),), (("pain", "1.5", "2.6"), ("amount", "100%", "80%"))),
    WhyLook(Need.PAIN, (("before", "1.5"), ("now", "5.0"), ("n", 9))),
    WhyLook(Need.MORNINGS, (("n", 3), ("of", 11), ("days", 14))),
    WhyLook(Need.LASTING, (("n", 2),)),
    WhyLook(Need.STOPPED, (("last", "2027-02-20"), ("n", 4))),
    WhyLook(Need.SELDOM, (("done", 4), ("due", 28), ("days", 28))),
    WhyLook(Need.REVIEW_ON, (("on", "2027-02-08"),)),
    WhyLook(Need.STEP_UP, (("n", 1), ("least", 2))),
    WhyLook(Need.NOT_HEARD, (("n", 9), ("of", 20), ("days", 14))),
    WhyLook(Need.MACHINE, (("why", "deaf"),)),
    WhyLook(Need.UNREAD),
    WhyLook(Need.NOT_BEGUN),
)
ENDED = replace(GOING, person="p02", name="Jo", pain_now=5.0, reasons=WHY[:3])
REVIEW = ClinicReview(TODAY, (ENDED, GOING), 60, 480, (NotCounted("people/p01/sessions/x.jsonl", 4, "was changed"),))


def labels(language: str = "en") -> Labels:
    return Labels(load_pack(language).screens)


def drawn(review: ClinicReview = REVIEW, language: str = "en", *, proven: bool = True) -> str:
    return page(review, labels(language), language, proven=proven)


def test_every_need_says_why() -> None:
    assert said(replace(ENDED, reasons=WHY), REVIEW, labels()).needs == (
        ("Ended for safety", "2 of 9 sessions in 14 days, the last on 2027-02-28 (pain above the limit)"),
        ("Getting worse", "the last 14 days against earlier ones: pain 1.5 > 2.6; sets in full 100% > 80%"),
        ("Pain rises", "mean of the highest pain 1.5 in earlier weeks, 5.0 in the last 9 sessions"),
        ("Worse mornings", "3 of 11 reported in 14 days"),
        ("Trouble that lasts", "exercises: 2"),
        ("Stopped coming", "no session since 2027-02-20; due sessions in a row missed: 4"),
        ("Comes seldom", "4 of 28 due sessions in 28 days"),
        ("Program to be reviewed", "it was to be reviewed on 2027-02-08"),
        ("Step up waits", "1, resting on 2 sessions or more"),
        ("Words not heard", "9 of 20 questions in 14 days were put again, or never answered"),
        ("Not heard, or machine", "last session: no microphone"),
        ("Files not read", "some of their files cannot be read: see what is left out"),
        ("Not begun", "no session yet"),
    )


def test_a_hold_says_what_was_told_whom_to_call_and_the_command_that_clears_it() -> None:
    held = replace(ENDED, person="north/p02", reasons=(WhyLook(Need.HOLD, (("day", "2027-02-28"),)),), holds=(HOLD,))

    ((need, why),) = said(held, REVIEW, labels()).needs

    assert need == "On hold"
    assert why.startswith('On 2027-02-28 the answer to "Have you fallen?" was yes. Call the clinic.')
    assert why.endswith("The clinician clears it with: coach decide p02 clear --by NAME")


@pytest.mark.parametrize(
    ("change", "pain"),
    [
        ({}, "1.0"),
        ({"pain_banded": 1}, "up to 1.0"),
        ({"pain_now_of": 1}, "1.0 (one session)"),
        ({"pain_now": None, "pain_now_of": 0}, "none stated"),
        ({"pain_now": None, "sessions": 0}, "-"),
    ],
)
def test_a_pain_says_what_it_rests_on(change: dict[str, int], pain: str) -> None:
    assert said(replace(GOING, **change), REVIEW, labels()).pain == pain  # type: ignore[arg-type]


def test_an_unknown_value_is_a_dash() -> None:
    unknown = replace(
        GOING, last_day=None, recent_done=None, recent_due=None, recent_tension_s=None, recent_sets_planned=None
    )

    row = said(unknown, REVIEW, labels())

    assert (row.last, row.done, row.tension, row.in_full) == ("-", "-", "-", "-")


def test_the_summary_counts_people_by_need() -> None:
    assert summary(REVIEW, labels()) == (
        "2 people, 60 sessions, 480 sets. To look at: Ended for safety: 1, Getting worse: 1, Pain rises: 1."
    )


@pytest.mark.parametrize("language", ["en", "ko"])
def test_the_page_is_whole_and_fetches_nothing(language: str) -> None:
    text = drawn(language=language)

    assert f'<html lang="{language}">' in text
    assert [place for place in re.findall(r'(?:src|href|url\()="?([^"]*)', text) if not place.startswith("#")] == []
    assert "{" not in re.sub(r"<style>.*?</style>", "", text, flags=re.DOTALL)
    assert text.count("<table") == 2


def test_people_who_need_a_look_come_first() -> None:
    text = drawn()

    assert text.index("p02 (Jo)") < text.index(">The others (1)</h2>") < text.index(">p01<")


def test_a_strip_is_read_aloud_in_words_and_has_a_mark_for_each_day() -> None:
    strip = re.findall(r'<svg class="strip".*?</svg>', drawn())[1]

    assert "<title>Came on 4 of 56 days. Highest pain stated: 2; last: 0.</title>" in strip
    assert strip.count("<path d=") == 4
    assert strip.count('class="ring"') == 1


def test_the_page_lists_what_is_left_out_by_file_and_line() -> None:
    assert "<li>people/p01/sessions/x.jsonl:4 was changed.</li>" in drawn()
    assert "Nothing was left out." in drawn(replace(REVIEW, left_out=()))


def test_the_page_says_whether_the_checksums_were_proven() -> None:
    assert "checksum of each line was checked" in drawn()
    assert "it checks no checksum" in drawn(proven=False)


def test_a_name_that_is_markup_stays_text() -> None:
    text = drawn(replace(REVIEW, people=(replace(ENDED, name="<script>alert(1)</script>"),)))

    assert "<script" not in text


def test_an_empty_clinic_has_a_page() -> None:
    assert drawn(ClinicReview(TODAY, (), 0, 0)).count("<p>Nobody.</p>") == 2
