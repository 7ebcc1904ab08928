"""The page of a review is self-contained, works with keyboard and screen reader, and says nothing by colour alone."""

from __future__ import annotations

import re
from dataclasses import replace
from datetime import timedelta
from html import escape
from html.parser import HTMLParser
from itertools import pairwise
from pathlib import Path
from typing import Any

import pytest
from leather import theme
from lived import BUSY, CALM, ladder, lived

from coach.cli.labels import Labels
from coach.logbook import QuestionRecord
from coach.logbook.logged import logged
from coach.logbook.store import Person
from coach.loglines.safety import SafetySign
from coach.program_files import read as read_program
from coach.program_files import shipped
from coach.review import plots
from coach.review.blocks import Drawing, Grid, Marks, Plot, Scale, Sentences
from coach.review.content import content
from coach.review.figures import Review
from coach.review.markup import STYLES
from coach.review.page import page
from coach.review.screened import ENDS
from coach.session.past import Goal
from coach.testing.histories import SimulatedCourse
from coach.voice.pack import languages, load_pack

ONE = SimulatedCourse(days=1, adherence=1, pain=(1, 1), halts=0, trouble=0)
EMPTY_TAGS = {"meta", "br"}


class Read(HTMLParser):
    """Reads a page into its elements, each with its attributes, the elements around it and its text."""

    def __init__(self, text: str) -> None:
        super().__init__()
        self.elements: list[tuple[str, dict[str, str | None], tuple[str, ...]]] = []
        self.texts: list[tuple[int, str]] = []
        self._open: list[str] = []
        self._at: list[int] = []
        self.feed(text)
        assert self._open == []

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.elements.append((tag, dict(attrs), tuple(self._open)))
        if tag not in EMPTY_TAGS:
            self._open.append(tag)
            self._at.append(len(self.elements) - 1)

    def handle_startendtag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.elements.append((tag, dict(attrs), tuple(self._open)))

    def handle_endtag(self, tag: str) -> None:
        assert self._open.pop() == tag
        self._at.pop()

    def handle_data(self, data: str) -> None:
        if self._at:
            self.texts.append((self._at[-1], data))

    def all(self, tag: str) -> list[dict[str, str | None]]:
        return [given for name, given, _ in self.elements if name == tag]


def written(review: Review, language: str = "en", name: str = "Ada") -> str:
    labels = Labels(load_pack(language).screens)
    said = content(review, Person("ada", name, Path()), labels, language)
    return page(said, labels("review_contents"), labels("review_figures"))


CASES = [("ankle_steady", BUSY), ("trunk_endurance", ladder(BUSY)), ("kneecap_steady", CALM), ("elbow_lowering", ONE)]


@pytest.fixture(scope="module", params=CASES, ids=lambda case: f"{case[0]}-{case[1].days}")
def text(request: pytest.FixtureRequest) -> str:
    return written(lived(*request.param).review())


@pytest.fixture
def read(text: str) -> Read:
    return Read(text)


def test_it_fetches_nothing_and_runs_nothing(text: str, read: Read) -> None:
    names = {name for name, _, _ in read.elements}

    assert not names & {"script", "link", "img", "iframe", "object", "embed", "use", "image"}
    assert all((given.get("href") or "#").startswith("#") for _, given, _ in read.elements)
    assert not any(key.startswith("on") or key == "src" for _, given, _ in read.elements for key in given)
    assert "url(" not in text
    assert "@import" not in text


def test_headings_go_down_one_at_a_time(read: Read) -> None:
    depths = [int(name[1]) for name, _, _ in read.elements if re.fullmatch(r"h[1-6]", name)]

    assert depths[0] == 1
    assert depths.count(1) == 1
    assert all(after <= before + 1 for before, after in pairwise(depths))


def test_every_table_has_a_caption_and_tells_rows_from_columns(read: Read) -> None:
    assert len(read.all("table")) == len(read.all("caption")) > 5
    assert {given["scope"] for given in read.all("th")} == {"row", "col"}
    heads = [given["scope"] for name, given, around in read.elements if name == "th" and "thead" in around]
    assert set(heads) == {"col"}


def test_every_plot_is_described_in_words_and_its_figures_are_beside_it(read: Read) -> None:
    drawn = [given for given in read.all("svg") if given.get("role") == "img"]

    assert len(drawn) == len(read.all("figure")) == len(read.all("details")) > 4
    assert all(len(given["aria-label"] or "") > 20 for given in drawn)
    assert all(given.get("role") == "img" or given.get("aria-hidden") == "true" for given in read.all("svg"))


def test_whatever_scrolls_can_be_reached_by_key_and_has_a_name(read: Read) -> None:
    scrolling = [given for given in read.all("div") if "scroll" in (given.get("class") or "")]

    assert scrolling
    assert all(given["tabindex"] == "0" and given["role"] == "region" and given["aria-label"] for given in scrolling)


def test_ids_are_unique_and_every_link_leads_to_one(read: Read) -> None:
    ids = [given["id"] for _, given, _ in read.elements if "id" in given]

    assert len(ids) == len(set(ids))
    assert {(given["href"] or "")[1:] for given in read.all("a")} <= set(ids)
    assert all(given.get("aria-labelledby") in ids for given in read.all("section"))


def test_what_needs_a_decision_comes_first_then_what_went_wrong_then_how_it_is_going(read: Read) -> None:
    assert [given["id"] for given in read.all("section")][:3] == ["decide", "wrong", "going"]


def test_a_figure_of_one_session_says_so() -> None:
    text = written(lived("elbow_lowering", ONE).review())

    said = f"({load_pack('en').screens['rests_on_one']})"
    assert said in text
    assert said not in written(lived("kneecap_steady", CALM).review())


@pytest.mark.parametrize("language", languages())
def test_every_language_says_the_whole_review(language: str) -> None:
    review = lived("ankle_steady", BUSY).review(programs={})

    assert f'<html lang="{language}">' in written(review, language)


def test_names_cannot_write_into_the_page() -> None:
    text = written(lived("ankle_steady", BUSY).review(), name='<script>alert("x")</script>')

    assert "<script" not in text
    assert "&lt;script&gt;" in text


def test_without_a_session_the_page_is_still_whole() -> None:
    case = lived("ankle_steady", BUSY)

    assert Read(written(case.review(files=()))).all("section")
    assert Read(written(case.review(since=case.true.until + timedelta(days=9)))).all("section")


# -- colours and marks ------------------------------------------------------------------------------------------------


def luminance(colour: str) -> float:
    digits = colour.lstrip("#")
    digits = "".join(sign * 2 for sign in digits) if len(digits) == 3 else digits
    parts = [int(digits[at : at + 2], 16) / 255 for at in (0, 2, 4)]
    linear = [part / 12.92 if part <= 0.04045 else ((part + 0.055) / 1.055) ** 2.4 for part in parts]
    return 0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2]


def contrast(one: str, other: str) -> float:
    """Return the contrast of two colours as WCAG 2.2 defines it, 1 to 21."""
    lighter, darker = sorted((luminance(one), luminance(other)), reverse=True)
    return (lighter + 0.05) / (darker + 0.05)


def test_text_contrasts_with_every_background_and_marks_with_the_paper() -> None:
    css = (STYLES / "review.css").read_text("utf-8")
    texts = {*re.findall(r"(?<![-\w])color: (#\w+)", css), theme.label_color, theme.axis_title_color}
    grounds = {*re.findall(r"background: (#\w+)", css), plots.PAPER}

    assert len(grounds) == 3
    assert all(contrast(text, ground) >= 4.5 for text in texts for ground in grounds)
    assert all(contrast(mark, plots.PAPER) >= 3 for mark in (plots.INK, plots.SOFT))


def drawings(review: Review) -> list[Drawing]:
    said = content(review, Person("ada", "", Path()), Labels(load_pack("en").screens), "en")
    return [block for part in said.parts for block in part.blocks if isinstance(block, Drawing)]


@pytest.mark.parametrize(("program", "course"), CASES)
def test_no_two_marks_of_a_plot_look_the_same(program: str, course: SimulatedCourse) -> None:
    for drawing in drawings(lived(program, course).review()):
        for plot in drawing.plots:
            looks = [plots.legend_mark(mark.form) for mark in plot.marks]
            assert len(looks) == len(set(looks)), drawing.title


def test_plots_show_every_true_value() -> None:
    case = lived("ankle_steady", BUSY)
    by_title = {drawing.title: drawing for drawing in drawings(case.review())}
    screens = load_pack("en").screens

    pain = by_title[screens["plot_pain"]].plots[0]
    after = next(mark for mark in pain.marks if mark.form == "after")
    told = [
        (one.day, behind[-1])
        for one in case.true.sessions
        if (behind := [pain for at_halt, pain in one.visit.told if not at_halt])
    ]
    assert told == [(int(x), int(y)) for x, y in after.points]
    halts = by_title[screens["plot_halts"]].plots[0].marks[0]
    assert sum(len(one.visit.halts) for one in case.true.sessions) == len(halts.points)
    exercise = case.true.program.exercises[0]
    sets = next(mark for mark in by_title[exercise.name].plots[0].marks if mark.form == "set")
    assert [each.counted for one in case.true.sessions for each in one.visit.sets if each.exercise == exercise.id] == [
        int(y) for _, y in sets.points
    ]


def test_the_goals_are_drawn_where_they_were_rated_and_told_in_words() -> None:
    review = lived("ankle_steady", BUSY).review()
    first, last = review.visits[0], review.visits[-1]
    near = {first: (("g1", 2), ("g2", 5)), last: (("g1", 6),)}
    visits = tuple(
        replace(one, session=replace(one.session, brief=replace(one.brief, goals=near.get(one, ()))))
        for one in review.visits
    )
    goals = (Goal("g1", "dance on Sundays"), Goal("g2", "carry <the> shopping"), Goal("g3", "never rated"))
    drawing = next(
        one for one in drawings(replace(review, visits=visits, goals=goals)) if one.title == "How near the goals are"
    )

    assert f"dance on Sundays: 2 on {first.day}, 6 on {last.day}, rated 2 times" in drawing.description
    assert [[y for _, y in mark.points] for mark in drawing.plots[0].marks] == [[2, 6], [5]]
    assert [mark.name for mark in drawing.plots[0].marks] == ["dance on Sundays", "carry <the> shopping"]
    assert drawing.figures.rows == ((str(first.day), "2", "5"), (str(last.day), "6", "-"))
    assert "How near the goals are" not in written(review)
    text = written(replace(review, visits=visits, goals=goals))
    assert "carry &lt;the&gt; shopping" in text
    assert "<the>" not in text


def test_every_mark_is_drawn_inside_its_plot() -> None:
    for drawing in drawings(lived("ankle_steady", BUSY).review()):
        for plot in drawing.plots:
            for mark in plot.marks:
                assert all(plot.x.low <= point[0] <= plot.x.high for point in mark.points), drawing.title
                assert all(plot.y.low <= point[1] <= plot.y.high for point in mark.points), drawing.title


def test_a_place_is_drawn_where_the_scale_says() -> None:
    scale = Scale(0.0, 10.0, (0.0, 5.0, 10.0), ("0", "5", "10"))
    figures = Grid("", ("",), ())
    marks = Marks("after", ((0.0, 0.0), (10.0, 10.0), (5.0, 5.0)), "")
    one = Drawing("A", "b", lambda: ((Plot((marks,), scale, scale),), figures))
    (x0, y0), (x1, y1), (x2, y2) = re.findall(r'cx="([\d.]+)" cy="([\d.]+)"', plots.svg(one))

    assert float(x2) == pytest.approx((float(x0) + float(x1)) / 2, abs=0.1)
    assert float(y2) == pytest.approx((float(y0) + float(y1)) / 2, abs=0.1)
    assert float(y0) > float(y1)


def test_a_new_version_of_the_program_shows_in_the_limits() -> None:
    case = lived("ankle_steady", CALM)
    digest, program = next(iter(case.programs.items()))
    stricter = replace(program, limits=replace(program.limits, pain_carry_on_to=1), digest="new")
    files = tuple(
        (name, replace(record, digest="new") if place > 9 else record)
        for place, (name, record) in enumerate(case.files)
    )
    review = case.review(files=files, programs={digest: program, "new": stricter})
    pain = next(one for one in drawings(review) if one.title == load_pack("en").screens["plot_pain"]).plots[0]

    limit = next(mark for mark in pain.marks if mark.form == "limit")
    assert [y for _, y, _ in limit.points] == [program.limits.pain_carry_on_to, 1]


def test_items_are_sentences() -> None:
    said = content(
        lived("ankle_steady", BUSY).review(), Person("ada", "", Path()), Labels(load_pack("en").screens), "en"
    )

    lines = [
        line for part in said.parts for block in part.blocks if isinstance(block, Sentences) for line in block.lines
    ]
    assert lines
    assert not any("{" in line for line in lines)


def test_the_review_tells_that_nobody_measured_the_tempo() -> None:
    review = lived("kneecap_steady", CALM).review()

    for language in languages():
        assert load_pack(language).screens["read_tempo"] in written(review, language)


def ended_before_work(**told: Any) -> Review:
    case = lived("kneecap_steady", CALM)
    file, first = case.files[0]
    record = replace(logged(first).record, why="screen", sets=(), **told)
    return case.review(files=((file, record),))


def test_the_question_that_ended_a_session_is_shown_with_its_end() -> None:
    asked = "Has the kneecap slipped out of place?"
    sign = SafetySign("screen", question="slipped", asked=asked, answer=True)

    for language, words in (("en", "The session ended there."), ("ko", "세션이 거기서 끝났습니다.")):
        text = written(ended_before_work(signs=(sign,)), language)
        assert f"{escape(asked)}" in text
        assert words in text
    assert [(one.key, one.name) for one in ended_before_work(signs=(sign,)).wrong] == [("wrong_screen_yes", asked)]


def test_the_question_about_the_morning_after_is_named_too_when_it_ended_a_session() -> None:
    sign = SafetySign("screen", question="next_day", asked="", answer=True)

    assert load_pack("en").screens["hold_next_day"] in written(ended_before_work(signs=(sign,)))


def test_an_older_record_is_compared_with_the_program_that_it_ran() -> None:
    program = read_program(shipped()["kneecap_steady"])
    question = next(one for one in program.screen if one.action in ENDS)
    answers = tuple(
        QuestionRecord(0, f"screen.{one.id}", 0, one.answer is (one is question), answered=True, ear="keys",
                       read_back=False, times=1) for one in program.screen
    )  # fmt: skip

    wrong = ended_before_work(signs=(), questions=answers).wrong

    assert [(one.key, one.name) for one in wrong] == [("wrong_screen_yes", question.ask)]


def test_a_session_that_the_questions_ended_without_any_answer_to_them_is_named_by_its_end() -> None:
    assert [(one.key, one.name) for one in ended_before_work(signs=(), questions=()).wrong] == [("wrong_end", "screen")]


def test_the_reason_of_each_days_amount_is_in_the_same_row() -> None:
    case = lived("kneecap_steady", CALM)
    file, first = case.files[0]
    record = logged(first).record
    told = replace(record, plan=tuple(replace(one, because="held down for a sore morning") for one in record.plan))

    name = record.plan[0].name
    (table,) = [one.figures for one in drawings(case.review(files=((file, told),))) if one.title == name]

    assert table.header[-1] == load_pack("en").screens["column_because"]
    assert [row[-1] for row in table.rows] == ["held down for a sore morning"]


def test_the_conditions_of_a_step_name_levels_in_words() -> None:
    review = lived("ankle_steady", CALM).review()
    decide = content(review, Person("ada", "", Path()), Labels(load_pack("en").screens), "en").parts[0]

    rows = [row for block in decide.blocks if isinstance(block, Grid) for row in block.rows]
    assert any("both hands" in row[0] for row in rows)
    assert [row for row in rows if "_" in row[0]] == []
