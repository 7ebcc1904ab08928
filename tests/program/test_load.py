from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from datetime import date
from hashlib import sha256
from types import MappingProxyType

import pytest

from coach.errors import ProgramError
from coach.program.load import load
from coach.program.model import (
    Action,
    AfterGap,
    AskAfter,
    Guide,
    Hold,
    Joins,
    Phase,
    Point,
    Program,
    Range,
    Reach,
    Reps,
    Route,
    Schedule,
    ScreenQuestion,
    Sides,
    StepUp,
)

SMALL = """\
format: 1
title: Small
exercises:
  - id: bend
    name: Knee bend
    dose: {sets: 2, reps: 8-12, rest: 60 s, phases: {lower: 3 s, rise: 2 s}}
    levels:
      - id: easy
        setup: Stand tall.
        cue: Bend and rise.
"""


NO_HALTS: Mapping[str, str] = MappingProxyType({})


def changed(*pairs: tuple[str, str], text: str = SMALL) -> str:
    for old, new in pairs:
        assert text.count(old) == 1, old
        text = text.replace(old, new)
    return text


def problems(text: str, halt_words: Mapping[str, str] = NO_HALTS) -> list[str]:
    with pytest.raises(ProgramError) as caught:
        load(text, "small.yaml", halt_words)
    return str(caught.value).splitlines()


def work(program: Program) -> Reps | Hold | Route:
    return program.exercises[0].levels[0].dose.work


def test_a_small_program_is_read_with_the_cautious_defaults() -> None:
    program = load(SMALL, "some/where/small.yaml")

    limits = program.limits
    assert (program.id, program.title, program.language, program.affected) == ("small", "Small", "en", "")
    assert program.within_reach is Reach.FIRST
    assert (program.ask_pain, program.ask_effort, program.ask_reps) == (
        AskAfter.EACH_SET,
        AskAfter.EACH_EXERCISE,
        AskAfter.EACH_SET,
    )
    assert (limits.pain_carry_on_to, limits.pain_ease_to, limits.effort_ease_above) == (3, 5, 8)
    assert (limits.unsteady, limits.tired, limits.next_day_worse) == (
        Action.EASE_THE_DAY,
        Action.END_SET,
        Action.STEP_DOWN,
    )
    assert (limits.cut_sets, limits.halts, limits.minutes) == (2, 3, 40)
    assert program.schedule == Schedule(1, after_sore_days=2, gap_days=14, after_gap=AfterGap.LEVEL_DOWN)
    assert program.digest == sha256(SMALL.encode()).hexdigest()
    assert work(program) == Reps(Range(8, 12), (Phase("lower", 3.0), Phase("rise", 2.0)), "lower", Guide.TONE)
    exercise = program.exercise("bend")
    assert (exercise.sides, exercise.start_level, exercise.step_up, exercise.joins_after) == (
        Sides.BOTH,
        "easy",
        None,
        None,
    )
    assert (exercise.levels[0].dose.sets, exercise.levels[0].dose.rest, exercise.levels[0].dose.change_sides) == (
        2,
        60.0,
        10.0,
    )


def test_every_field_reaches_the_model() -> None:
    text = changed(
        (
            "title: Small\n",
            (
                "title: Small\nlanguage: de\naffected: left\nwithin_reach: always\ncall: Call us.\n"
                "cautions: |\n  Mind the step.\n  Breathe.\n"
                "written_by: {name: A. B., role: nurse, on: 2027-01-11, review_on: 2027-02-08}\n"
                'screen: [{id: fell, ask: "Have you fallen?", if_yes: end}, '
                '{id: slept, ask: "Slept well?", if_no: ease}]\n'
                "ask: {pain: each exercise, effort: never, reps: each exercise}\n"
                "schedule: {every: 3 days}\n"
            ),
        ),
        (
            "    levels:\n",
            (
                "    why: For stairs.\n    needs: [a chair]\n    sides: affected only\n    start_level: easy\n"
                "    step_up_after: {sessions: 3, days: 10, at: bottom of the range, "
                "pain_to: 1, effort_to: 5, unsteady: allowed}\n"
                "    levels:\n"
            ),
        ),
    )
    text += "        feel: The thigh.\n        watch: [Knees ahead.]\n        needs: [a step]\n"
    text += (
        "  - {id: later, name: Later, joins_after: {exercise: bend, steady_sessions: 4}, levels: "
        "[{id: a, setup: Sit., cue: Hold., dose: {sets: 1, hold: 20-30 s, rest: 1 min, change_sides: 5 s}}]}\n"
    )

    program = load(text, "small.yml")

    assert (program.id, program.language, program.affected, program.within_reach) == (
        "small",
        "de",
        "left",
        Reach.ALWAYS,
    )
    assert (program.call, program.cautions) == ("Call us.", "Mind the step. Breathe.")
    assert (program.written_by.name, program.written_by.role) == ("A. B.", "nurse")
    assert (program.written_by.on, program.written_by.review_on) == (date(2027, 1, 11), date(2027, 2, 8))
    assert program.screen == (
        ScreenQuestion("fell", "Have you fallen?", answer=True, action=Action.END_SESSION),
        ScreenQuestion("slept", "Slept well?", answer=False, action=Action.EASE),
    )
    assert (program.ask_pain, program.ask_effort, program.ask_reps) == (
        AskAfter.EACH_EXERCISE,
        AskAfter.NEVER,
        AskAfter.EACH_EXERCISE,
    )
    assert program.schedule == Schedule(3, after_sore_days=4, gap_days=14, after_gap=AfterGap.LEVEL_DOWN)
    bend, later = program.exercises
    assert (bend.why, bend.needs, bend.sides) == ("For stairs.", ("a chair",), Sides.AFFECTED)
    assert bend.step_up == StepUp(3, at_top=False, pain_to=1, effort_to=5, days=10, unsteady=True)
    level = bend.levels[0]
    assert (level.feel, level.watch, level.needs) == ("The thigh.", ("Knees ahead.",), ("a step",))
    assert later.joins_after == Joins("bend", 4, 7, by_itself=False)
    assert later.levels[0].dose.work == Hold(Range(20, 30))
    assert (later.levels[0].dose.rest, later.levels[0].dose.change_sides) == (60.0, 5.0)


@pytest.mark.parametrize(
    ("dose", "expected"),
    [
        ("reps: 10", Range(10, 10)),
        ('reps: "10"', Range(10, 10)),
        ("reps: 10-15", Range(10, 15)),
        ("reps: 10 \u2013 15", Range(10, 15)),
        ('reps: "as many as stay steady, 8 to 15"', Range(8, 15, steady=True)),
        ('reps: "as many as stay steady, 8-15"', Range(8, 15, steady=True)),
        ('reps: "as many as stay steady, at most 12"', Range(1, 12, steady=True)),
    ],
)
def test_reps_may_be_a_number_a_range_or_as_many_as_stay_steady(dose: str, expected: Range) -> None:
    read = work(load(changed(("reps: 8-12", dose)), "small.yaml"))

    assert isinstance(read, Reps)
    assert read.count == expected


@pytest.mark.parametrize(
    ("written", "expected"),
    [
        ("30 s", Range(30, 30)),
        ("20-30 s", Range(20, 30)),
        ("1-2 min", Range(60, 120)),
        ('"as long as it stays steady, 15 to 30 s"', Range(15, 30, steady=True)),
        ('"as long as it stays steady, 1 to 2 min"', Range(60, 120, steady=True)),
        ('"as long as it stays steady, at most 40 s"', Range(1, 40, steady=True)),
        ('"as many as stay steady, at most 40 s"', Range(1, 40, steady=True)),
    ],
)
def test_a_hold_is_a_time_with_its_unit(written: str, expected: Range) -> None:
    text = changed(("reps: 8-12", f"hold: {written}"), (", phases: {lower: 3 s, rise: 2 s}", ""))

    assert work(load(text, "small.yaml")) == Hold(expected)


def test_a_route_keeps_its_points_in_order() -> None:
    text = changed(("reps: 8-12", "rounds: 4"), ("phases: {lower: 3 s, rise: 2 s}", "route: {out: 2 s, ahead: 1.5 s}"))

    assert work(load(text, "small.yaml")) == Route((Point("out", 2.0), Point("ahead", 1.5)), Range(4, 4))


@pytest.mark.parametrize(
    ("phases", "slow"),
    [
        ("{rise: 5 s, lower: 2 s}", "lower"),
        ("{rise: 5 s, Lowering: 2 s}", "Lowering"),
        ("{rise: 2 s, ease: 4 s, hold: 4 s}", "ease"),
        ("{rise: 2 s, ease: 4 s}, slow_phase: rise", "rise"),
    ],
)
def test_the_slow_phase_is_the_named_one_else_the_lowering_else_the_longest(phases: str, slow: str) -> None:
    read = work(load(changed(("{lower: 3 s, rise: 2 s}", phases)), "small.yaml"))

    assert isinstance(read, Reps)
    assert read.slow == slow


def test_a_level_changes_only_what_it_names() -> None:
    text = SMALL + "        dose: {reps: 5, guide: count}\n"

    dose = load(text, "small.yaml").exercises[0].levels[0].dose

    before = load(SMALL, "small.yaml").exercises[0].levels[0].dose
    assert isinstance(before.work, Reps)
    assert dose == replace(before, work=replace(before.work, count=Range(5, 5), guide=Guide.COUNT))


def test_another_kind_of_work_in_a_level_replaces_that_of_the_exercise() -> None:
    dose = load(SMALL + "        dose: {hold: 20 s}\n", "small.yaml").exercises[0].levels[0].dose

    assert (dose.sets, dose.rest, dose.work) == (2, 60.0, Hold(Range(20, 20)))


def test_other_phases_in_a_level_drop_the_slow_phase_of_the_exercise() -> None:
    text = changed(("rise: 2 s}", "rise: 2 s}, slow_phase: rise")) + "        dose: {phases: {up: 2 s, down: 3 s}}\n"

    read = work(load(text, "small.yaml"))

    assert isinstance(read, Reps)
    assert read.slow == "down"


DOSE = "{sets: 2, reps: 8-12, rest: 60 s, phases: {lower: 3 s, rise: 2 s}}"


@pytest.mark.parametrize(
    ("old", "new", "line", "column", "what"),
    [
        ("format: 1", "format: 2", 1, 9, "format must be 1, found 2"),
        ("title: Small", "titel: Small", 2, 1, 'has no field "titel"; did you mean "title"?'),
        ("title: Small", "title: no", 2, 8, 'YAML takes for yes or no; write "no" in quotes'),
        ("title: Small", "title: 2027-01-11", 2, 8, "YAML takes for a date"),
        ("title: Small", "title:", 2, 7, "title is empty"),
        ("title: Small", 'title: " "', 2, 8, "title is empty"),
        ("title: Small", 'title: "a\\x07b"', 2, 8, "control character U+0007"),
        ("title: Small", 'title: "a\\ud800"', 2, 8, "control character U+D800"),
        ("title: Small", "title: " + "x" * 81, 2, 8, "80 characters or fewer, found 81"),
        ("title: Small", "title: [a]", 2, 8, "must be a single value, found a list"),
        ("title: Small", "title: a: b", 2, 9, 'put text that holds ": " in quotes'),
        ("title: Small", "title: &a Small", 2, 8, "anchor"),
        ("title: Small", "title: *a", 2, 8, "alias"),
        ("title: Small", "title: !!python/name:os.system", 2, 8, "tag"),
        ("title: Small", "title: @home", 2, 8, "cannot begin with this character"),
        ("title: Small", 'title: "Small', 11, 1, "a quote is open"),
        ("title: Small", 'title: "\\UFFFFFFFF"', 2, 11, "not YAML"),
        ("title: Small", "title: Small\ntitle: Big", 3, 1, '"title" twice (first in line 2)'),
        ("title: Small", "title: Small\n\tlanguage: en", 3, 1, "tab"),
        ("title: Small", "title: Small\nlanguage: no", 3, 11, '"no" in quotes'),
        ("title: Small", "title: Small\nlanguage: English", 3, 11, "language code"),
        ("title: Small", "title: Small\naffected: both", 3, 11, "known here: left, right"),
        ("title: Small", "title: Small\n? [a]\n: b", 3, 3, "simple names before the colon"),
        ("title: Small", "title: Small\nask: {pain: never}", 3, 13, "known here: each set, each exercise"),
        ("title: Small", "title: Small\nlimits: {pain: {carry_on_to: 6, ease_to: 4}}", 3, 42, "bands in order"),
        ("title: Small", "title: Small\nlimits: {pain: {ease_to: 11}}", 3, 26, "from 0 to 10, found 11"),
        ("title: Small", "title: Small\nlimits: {unsteady: note}", 3, 20, "known here: "),
        ("title: Small", "title: Small\nlimits: {tired: end_sett}", 3, 17, 'did you mean "end_set"?'),
        ("title: Small", "title: Small\nlimits: {minutes: 1e2}", 3, 19, "whole number from 5 to 120"),
        ("title: Small", "title: Small\nlimits: {minutes: 010}", 3, 19, "found 010"),
        ("title: Small", "title: Small\nlimits: {minutes: 1:30}", 3, 19, "found 1:30"),
        ("title: Small", 'title: Small\nlimits: {minutes: "30"}', 3, 19, "write 30 without quotes"),
        ("title: Small", "title: Small\nschedule: {every: 2}", 3, 19, "1 day"),
        ("title: Small", "title: Small\nschedule: {every: 3 days, after_a_sore_day: 2 days}", 3, 45, "rest no less"),
        ("title: Small", "title: Small\nwritten_by: {on: 2027-02-30}", 3, 18, "a day such as"),
        (
            "title: Small",
            "title: Small\nwritten_by: {on: 2027-02-03, review_on: 2027-02-01}",
            3,
            41,
            "not be before on",
        ),
        ("title: Small", "title: Small\nscreen: [{id: a, ask: Well}]", 3, 10, 'exactly one of "if_yes" or "if_no"'),
        (
            "title: Small",
            "title: Small\nscreen: [{id: a, ask: Well, if_yes: end, if_no: end}]",
            3,
            10,
            "write one and not both",
        ),
        (
            "title: Small",
            "title: Small\nscreen: [{id: a, ask: B, if_no: end}, {id: a, ask: C, if_no: end}]",
            3,
            44,
            '"a" is used twice',
        ),
        ("id: bend", "id: Bend it", 4, 9, "hold only a-z"),
        ("id: bend", "id: no", 4, 9, '"no" in quotes'),
        ("    name: Knee bend\n", "", 4, 5, 'exercise lacks "name"'),
        ("name: Knee bend", "name: Knee bend\n    sides: affected only", 6, 12, "affected: left"),
        ("name: Knee bend", "name: Knee bend\n    sides: both together now", 6, 12, 'did you mean "both together"?'),
        ("name: Knee bend", "name: Knee bend\n    sides: both", 6, 12, "cannot be both; known here: both together"),
        ("name: Knee bend", "name: Knee bend\n    this_side: leg stands", 6, 16, "goes with one side at a time"),
        (
            "name: Knee bend",
            "name: Knee bend\n    sides: alternating\n    other_side: foot reaches",
            7,
            17,
            "add this_side",
        ),
        ("name: Knee bend", "name: Knee bend\n    sides: right", 6, 12, 'write "affected: right" at the top'),
        ("name: Knee bend", "name: Knee bend\n    sides: left leg", 6, 12, 'write "affected: left" at the top'),
        ("name: Knee bend", "name: Knee bend\n    start_level: eesy", 6, 18, 'did you mean "easy"?'),
        (
            "name: Knee bend",
            "name: Knee bend\n    joins_after: {exercise: bnd, steady_sessions: 1}",
            6,
            29,
            'did you mean "bend"?',
        ),
        (
            "name: Knee bend",
            "name: Knee bend\n    joins_after: {exercise: bend, steady_sessions: 1}",
            6,
            29,
            "waits for itself",
        ),
        ("name: Knee bend", "name: Knee bend\n    step_up_after: {pain_to: 4}", 6, 30, "pain_to must be 3 or less"),
        ("name: Knee bend", "name: Knee bend\n    needs: a chair", 6, 12, "must be a list"),
        ("sets: 2", "sets: -3", 6, 18, "sets must be a whole number from 1 to 10, found -3"),
        ("sets: 2", "sets: 0", 6, 18, "found 0"),
        ("sets: 2", "sets: .inf", 6, 18, "found .inf"),
        ("sets: 2, ", "", 6, 11, 'lacks "sets"'),
        ("reps: 8-12", "reps: 0", 6, 27, "a number from 1 to 100, found 0"),
        ("reps: 8-12", "reps: -5", 6, 27, "found -5"),
        ("reps: 8-12", "reps: 12-8", 6, 27, 'from low to high, found 12-8; write "8-12"'),
        ("reps: 8-12", "reps: 101", 6, 27, "found 101"),
        ("reps: 8-12", 'reps: "as many as stay steady, 9 to 8"', 6, 27, 'write "as many as stay steady, 8 to 9"'),
        ("reps: 8-12", 'reps: "as many as stay steady, 8"', 6, 27, '"as many as stay steady, 8 to 15"'),
        ("reps: 8-12", "reps: lots", 6, 27, "as many as stay steady"),
        ("reps: 8-12", "reps: 8-12, hold: 30 s", 6, 39, "two kinds of work"),
        ("reps: 8-12, ", "", 6, 11, 'lacks "reps"'),
        ("reps: 8-12, rest: 60 s, phases: {lower: 3 s, rise: 2 s}", "rest: 60 s", 6, 11, "has no work"),
        ("rest: 60 s", "rest: 60", 6, 39, 'write the unit: "60 s"'),
        ("rest: 60 s", 'rest: "1,5 min"', 6, 39, 'with a point: "1.5 min"'),
        ("rest: 60 s", "rest: 60 h", 6, 39, 'write it as "60 s"'),
        ("rest: 60 s", "rest: 11 min", 6, 39, "from 5 s to 600 s"),
        ("lower: 3 s", "lower: ", 6, 60, "phases: lower must be a time"),
        ("lower: 3 s", "lower: 0.4 s", 6, 61, "from 0.5 s to 60 s, found 0.4 s"),
        (
            "lower: 3 s, rise: 2 s",
            "lower: 0.7 s, rise: 0.7 s",
            6,
            53,
            "a rep must last 1.5 s or more in all, found 1.4",
        ),
        ("phases: {lower: 3 s, rise: 2 s}", "phases: [lower, rise]", 6, 53, "names with times"),
        ("phases: {lower: 3 s, rise: 2 s}", "phases: {}", 6, 53, "names with times"),
        ("rise: 2 s}", "rise: 2 s, lower: 1 s}", 6, 77, '"lower" twice'),
        ("rise: 2 s}", "rise: 2 s}, slow_phase: down", 6, 90, "there are: lower, rise"),
        ("rise: 2 s}", "rise: 2 s}, guide: beep", 6, 85, "known here: tone, count, both, quiet"),
        ("    dose: " + DOSE + "\n", "", 7, 9, 'the dose of level "easy" is missing'),
        ("      - id: easy", "      - id: easy\n        setp: x", 9, 9, 'did you mean "setup"?'),
        ("        cue: Bend and rise.\n", "", 8, 9, 'level lacks "cue"'),
        (SMALL[SMALL.index("      - id: easy") :], "", 7, 12, "levels is empty"),
        (SMALL[SMALL.index("exercises:") :], "exercises: []\n", 3, 12, "1 to 12 entries, found 0"),
        (SMALL, "", 1, 1, "no fields"),
        (SMALL, "- 1\n", 1, 1, "found a list"),
        (SMALL, "a\x00b", 1, 2, "control character U+0000"),
        (SMALL, SMALL + "---\na: 1\n", 11, 1, "one program per file"),
        (SMALL, "a: " + "[" * 30 + "]" * 30, 1, 23, "nested deeper"),
        (SMALL, "a: [" + "1, " * 10_001 + "]", 1, 29996, "more values"),
        (SMALL, "#" * 1_048_577, 1, 1, "longer than 1 MiB"),
    ],
)
def test_a_problem_is_reported_with_its_line_its_column_and_what_to_write(
    old: str, new: str, line: int, column: int, what: str
) -> None:
    told = problems(changed((old, new)))

    near = [one for one in told if one.startswith(f"small.yaml:{line}:{column}: ")]
    assert near, told
    assert what in near[0]
    assert near[0].endswith((".", "?"))


def test_all_problems_are_reported_at_once_in_the_order_of_the_file() -> None:
    told = problems(changed(("format: 1", "format: 2"), ("sets: 2", "sets: 0"), ("cue:", "que:")))

    assert [one.split(": ")[0] for one in told] == [
        "small.yaml:1:9",
        "small.yaml:6:18",
        "small.yaml:8:9",
        "small.yaml:10:9",
    ]


def test_at_most_twenty_problems_are_reported_with_the_number_of_the_rest() -> None:
    told = problems(SMALL + "".join(f"field{n}: 1\n" for n in range(30)))

    assert len(told) == 20
    assert told[-1] == "small.yaml: and 11 more problems; mend these first."


def test_a_fault_of_the_exercise_dose_is_reported_once_for_all_levels() -> None:
    text = changed(("rise: 2 s}", "rise: 2 s}, slow_phase: down"))
    text += text[text.index("      - id: easy") :].replace("easy", "hard")

    assert len(problems(text)) == 1


def test_exercises_that_wait_for_each_other_are_refused() -> None:
    text = SMALL + SMALL[SMALL.index("  - id: bend") :].replace("bend", "second")
    text = text.replace("id: bend\n", "id: bend\n    joins_after: {exercise: second, steady_sessions: 1}\n")
    text = text.replace("id: second\n", "id: second\n    joins_after: {exercise: bend, steady_sessions: 1}\n")

    assert all("wait for each other" in one for one in problems(text))


@pytest.mark.parametrize(
    ("old", "new", "place"),
    [
        ("cue: Bend and rise.", "cue: Bend, then STOP and rise.", "10:14: cue"),
        ("{lower: 3 s", "{stop: 3 s", "6:54: a name in phases"),
        ("name: Knee bend", "name: Knee bend\n    needs: [a stop watch]", "6:13: needs entry"),
        ("cue: Bend and rise.", "cue: Please hang   on here.", "10:14: cue"),
    ],
)
def test_a_spoken_text_must_not_hold_a_word_that_stops_the_session(old: str, new: str, place: str) -> None:
    told = problems(changed((old, new)), {"stop": "come to rest", "hang on": ""})

    assert told[0].startswith(f"small.yaml:{place} holds ")
    assert ('write "come to rest" instead' in told[0]) or ("hang on" in told[0] and "use another word" in told[0])


def test_a_phase_at_the_persons_own_pace_has_time_and_is_never_the_slow_one() -> None:
    done = work(load(changed(("{lower: 3 s, rise: 2 s}", '{lower: "at your own pace, 6 s", rise: 2 s}')), "small.yaml"))
    none = work(load(changed(("{lower: 3 s, rise: 2 s}", '{move: "at your own pace, 3 s"}')), "small.yaml"))

    assert isinstance(done, Reps)
    assert (done.slow, done.phases) == ("rise", (Phase("lower", 6.0, own_pace=True), Phase("rise", 2.0)))
    assert isinstance(none, Reps)
    assert none.slow == ""


@pytest.mark.parametrize(
    ("phases", "told"),
    [
        ('{lower: "at your own pace"}', "phases: lower must be a time from 0.5 s to 60 s"),
        ('{lower: "at your own pace, 3"}', 'write the unit: "3 s"'),
        ('{lower: "at your own pace, 3 s", rise: 2 s}, slow_phase: lower', 'slow_phase "lower" is at the person'),
    ],
)
def test_a_phase_at_the_persons_own_pace_needs_the_time_to_leave_for_it(phases: str, told: str) -> None:
    assert told in problems(changed(("{lower: 3 s, rise: 2 s}", phases)))[0]


def test_an_invisible_sign_does_not_hide_a_word_that_stops_the_session() -> None:
    told = problems(changed(("cue: Bend and rise.", "cue: Bend, then st\u00adop and rise.")), {"stop": ""})

    assert 'holds "stop"' in told[0]


def test_a_halt_word_inside_another_word_is_harmless() -> None:
    text = changed(("cue: Bend and rise.", "cue: Stopping is fine, unstoppable too."))

    assert load(text, "small.yaml", {"stop": ""}).exercises[0].levels[0].cue.startswith("Stopping")
