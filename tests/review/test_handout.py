"""The handout says what the program file says: in the person's words, large, and with the limits as they are."""

from __future__ import annotations

import re
from dataclasses import replace
from html.parser import HTMLParser

import pytest

from coach.cli.labels import Labels
from coach.program.model import Action, Program, Reach, Reps
from coach.program_files import read, shipped
from coach.review.handout import Sheet, SheetBlock, handout
from coach.review.handout_page import page, plain
from coach.voice.pack import load_pack

ANKLE = read(shipped()["ankle_steady"])


def sheet(program: Program = ANKLE, **levels: int) -> Sheet:
    pack = load_pack(program.language)
    return handout(program, levels, pack, Labels(pack.screens))


def row(block: SheetBlock, about: str) -> str:
    return dict(block.rows)[about]


def test_the_dose_is_in_words_with_the_lowering_marked_as_slow() -> None:
    assert row(sheet().exercises[0], "How much") == (
        "2 sets of 8 to 12 reps. Each time: raise 2 seconds, hold 1 second, lower slowly 4 seconds. "
        "Rest 45 seconds between sets."
    )


def test_sides_and_holds_are_said_as_the_session_does_them() -> None:
    hold, route = sheet().exercises[1:]

    assert row(hold, "How much").startswith(
        "2 sets, held for 15 to 25 seconds. Each set on the right side, then on the left side. "
        "That side: leg stands. The other side: foot stays off the floor."
    )
    assert row(route, "How much").startswith(
        "2 sets of 3 to 5 rounds. Only the right side. That side: leg stands. The other side: foot reaches. "
        "Each round: ahead 3 seconds, out 3 seconds, back 3 seconds."
    )


@pytest.mark.parametrize("name", shipped())
def test_each_exercise_is_told_at_the_level_it_starts_at(name: str) -> None:
    program = read(shipped()[name])

    for exercise, block in zip(program.exercises, sheet(program).exercises, strict=True):
        level = next(level for level in exercise.levels if level.id == exercise.start_level)
        told = " ".join(text for _, text in block.rows)
        assert all(words in told for words in (level.setup, level.cue, level.feel, *level.watch, *level.needs))


def test_a_person_gets_the_level_that_they_are_on() -> None:
    exercise = ANKLE.exercises[0]

    block = sheet(heel_lowering=2).exercises[0]

    assert row(block, "Set up") == exercise.levels[2].setup
    assert "6 to 10 reps" in row(block, "How much")
    assert "a stair with a rail" in row(block, "You need")


def test_an_exercise_that_joins_later_says_so_until_it_has_joined() -> None:
    program = read(shipped()["kneecap_steady"])

    assert '"Wall slide" has gone well in 4 sessions' in row(sheet(program).exercises[3], "Later")
    assert "Later" not in dict(sheet(program, slow_step_down=0).exercises[3].rows)


@pytest.mark.parametrize(
    ("carry_on", "ease", "told"),
    [
        (3, 5, "0 to 3: you may go on. 4 to 5: tell the coach; the work gets easier. 6 to 10: end for today."),
        (2, 3, "0 to 2: you may go on. 3: tell the coach; the work gets easier. 4 to 10: end for today."),
        (4, 4, "0 to 4: you may go on. 5 to 10: end for today."),
        (0, 9, "0: you may go on. 1 to 9: tell the coach; the work gets easier. 10: end for today."),
        (10, 10, "0 to 10: you may go on."),
    ],
)
def test_pain_is_told_in_the_programs_own_bands(carry_on: int, ease: int, told: str) -> None:
    limits = replace(ANKLE.limits, pain_carry_on_to=carry_on, pain_ease_to=ease)

    assert row(sheet(replace(ANKLE, limits=limits)).stop, "Pain, of 10") == told


@pytest.mark.parametrize("action", [Action.EASE_THE_DAY, Action.STEP_DOWN, Action.END_EXERCISE, Action.END_SESSION])
def test_what_a_word_does_follows_the_limits(action: Action) -> None:
    told = sheet(replace(ANKLE, limits=replace(ANKLE.limits, unsteady=action))).says

    assert row(told, "“wobbly”") == load_pack("en").screens[f"handout_does_{action}"]


@pytest.mark.parametrize("language", ["en", "ko"])
def test_it_lists_every_taught_word_and_halts_come_first(language: str) -> None:
    pack = load_pack(language)

    says = sheet(replace(ANKLE, language=language)).says.rows

    named = [word for words, _ in says for word in re.findall("“(.+?)”", words)]
    numbers = {pack.replies[f"n{n}"].word for n in range(1, 10)}
    assert named[0] == pack.replies["stop"].word
    assert set(named) == {wordings.word for wordings in pack.replies.values()} - numbers


def test_it_says_whom_to_call_and_what_the_therapist_adds() -> None:
    stop = sheet().stop

    assert row(stop, "Whom to call") == ANKLE.call
    assert row(stop, "Your therapist adds") == ANKLE.cautions.strip()
    assert "chest pain or pressure" in row(stop, "Stop and get help")
    assert "write the number here" in row(sheet(replace(ANKLE, call="")).stop, "Whom to call")


def test_it_says_whether_somebody_must_be_near_and_how_often() -> None:
    facts = sheet(replace(ANKLE, within_reach=Reach.ALWAYS)).facts

    assert facts == (
        "Every day.",
        "If the day after hurts more, wait 2 days.",
        "Someone is always close enough to help.",
    )
    assert len(sheet(replace(ANKLE, within_reach=Reach.NOT_NEEDED)).facts) == 2


def test_the_sheet_says_which_version_of_the_program_it_is() -> None:
    assert f"ankle_steady, version {ANKLE.digest[:12]}" in sheet().foot
    assert "To be reviewed on 2027-02-08." in sheet().foot


class Read(HTMLParser):
    """What a screen reader would come to, in order."""

    def __init__(self, text: str) -> None:
        super().__init__()
        self.open: list[str] = []
        self.titles: list[str] = []
        self.addresses: list[str] = []
        self.language: str | None = ""
        self.feed(text)

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        given = dict(attrs)
        self.language = given.get("lang") if tag == "html" else self.language
        self.addresses += [str(given[name]) for name in ("src", "href") if name in given]
        if tag != "meta":
            self.open.append(tag)

    def handle_endtag(self, tag: str) -> None:
        assert self.open.pop() == tag

    def handle_data(self, data: str) -> None:
        if self.open and self.open[-1] in ("h1", "h2"):
            self.titles.append(data)


@pytest.mark.parametrize("name", shipped())
def test_the_page_is_whole_has_titles_in_order_and_fetches_nothing(name: str) -> None:
    told = sheet(read(shipped()[name]))

    read_out = Read(page(told))

    assert read_out.open == []
    assert read_out.addresses == []
    assert read_out.language == told.language
    assert read_out.titles == [told.title, told.stop.title, told.says.title, *(each.title for each in told.exercises)]


def test_no_letter_is_printed_below_fourteen_points() -> None:
    css = page(sheet()).partition("@media print")[2]

    assert [float(size) for size in re.findall(r"font-size: ([\d.]+)pt", css)] == [14.0, 14.0]
    assert not re.search(r"font-size: 0?\.\d+", css)


def test_markup_in_a_program_stays_text() -> None:
    hostile = replace(ANKLE, title='<script src="x">', call="a & b")

    text = page(sheet(hostile))

    assert "<script" not in text
    assert "a &amp; b" in text


def test_the_plain_form_has_every_line_of_the_page() -> None:
    told = sheet()
    text = "\n".join(line for title, lines in plain(told) for line in (title, *lines))

    assert all(line in text for block in (told.stop, told.says, *told.exercises) for _, line in block.rows)
    assert told.foot in text


def test_a_phase_at_the_persons_own_pace_is_named_so_and_never_called_slow() -> None:
    reps = ANKLE.exercises[0].levels[0].dose.work
    assert isinstance(reps, Reps)
    own = replace(reps, phases=tuple(replace(each, own_pace=True) for each in reps.phases), slow="")
    level = replace(ANKLE.exercises[0].levels[0], dose=replace(ANKLE.exercises[0].levels[0].dose, work=own))
    program = replace(ANKLE, exercises=(replace(ANKLE.exercises[0], levels=(level,), start_level=level.id),))

    assert "Each time: raise at your own pace, hold at your own pace, lower at your own pace. " in row(
        sheet(program).exercises[0], "How much"
    )
