"""What must hold between the fields of a program: each rule on its edge, and where a field that it needs lacks."""

from __future__ import annotations

import pytest

from coach.errors import ProgramError
from coach.program.load import load
from coach.program.model import Program

EXERCISE = """\
  - id: {id}
    name: {id}
    dose: {{sets: 2, reps: 8-12, rest: 60 s, phases: {{lower: 3 s, rise: 2 s}}}}
    {more}
    levels:
      - {{id: easy, setup: Stand tall., cue: Bend and rise.}}
      - {{id: {hard}, setup: Stand tall., cue: Bend and rise.}}
"""


def exercise(name: str = "bend", more: str = "why: It helps.", hard: str = "hard") -> str:
    return EXERCISE.format(id=name, more=more, hard=hard)


def written(top: str = "", exercises: str = "") -> str:
    return f"format: 1\ntitle: Small\n{top}\nexercises:\n{exercises or exercise()}"


def read(top: str = "", exercises: str = "") -> Program:
    return load(written(top, exercises), "small.yaml", {})


def problems(top: str = "", exercises: str = "") -> list[str]:
    """Return the problems, each as its line and its sentence; none where it can be read."""
    try:
        read(top, exercises)
    except ProgramError as error:
        found = [one.split(":", 3) for one in str(error).splitlines()]
        return [f"{line}: {sentence.strip()}" for _, line, _, sentence in found]
    return []


@pytest.mark.parametrize(
    ("schedule", "told"),
    [
        ("{every: 2 days, after_a_sore_day: 2 days}", []),
        ("{every: 3 days, after_a_sore_day: 2 days}",
         ["3: after_a_sore_day must be every (3 days) or more, found 2; rest no less when it is sore."]),
        ("{every: 2 days, after_a_sore_day: 5 days, gap: 6 days}", []),
        ("{every: 2 days, after_a_sore_day: 5 days, gap: 5 days}",
         ["3: gap must be more than the days between two sessions (5), found 5."]),
        ("{every: 3 days, gap: 5 days}", []),
        ("{every: 3 days, gap: 4 days}", ["3: gap must be more than the days between two sessions (4), found 4."]),
        ("{gap: 3 days}", []),
        ("{gap: 2 days}", ["3: gap must be more than the days between two sessions (2), found 2."]),
    ],
)  # fmt: skip
def test_days_are_in_order(schedule: str, told: list[str]) -> None:
    assert problems(f"schedule: {schedule}") == told


@pytest.mark.parametrize(
    ("schedule", "gap"),
    [
        ("{every: 2 days}", 14),
        ("{every: 2 days, after_a_sore_day: 7 days}", 14),
        ("{every: 2 days, after_a_sore_day: 8 days}", 16),
        ("{every: 2 days, after_a_sore_day: 8 days, gap: 9 days}", 9),
    ],
)
def test_a_gap_is_as_written_or_two_weeks_or_twice_the_days_after_a_sore_one(schedule: str, gap: int) -> None:
    assert read(f"schedule: {schedule}").schedule.gap_days == gap


@pytest.mark.parametrize(
    ("review", "told"),
    [
        ("{on: 2027-01-04, review_on: 2027-01-04}", []),
        ("{review_on: 2027-01-04}", []),
        ("{on: 2027-01-04, review_on: 2027-01-03}",
         ["3: review_on must not be before on (2027-01-04), found 2027-01-03."]),
    ],
)  # fmt: skip
def test_a_program_is_reviewed_no_sooner_than_it_is_written(review: str, told: list[str]) -> None:
    assert problems(f"written_by: {review}") == told


ORDER = "ease_to must be carry_on_to ({low}) or more, found {high}; put the bands in order."


@pytest.mark.parametrize(
    ("pain", "told"),
    [
        ("{carry_on_to: 4, ease_to: 4}", []),
        ("{carry_on_to: 5, ease_to: 4}", [f"3: {ORDER.format(low=5, high=4)}"]),
        ("{carry_on_to: 6}", [f"3: {ORDER.format(low=6, high=5)}"]),
        ("{carry_on_to: 11, ease_to: 4}", ["3: carry_on_to must be a whole number from 0 to 10, found 11."]),
    ],
)
def test_bands_of_pain_are_in_order(pain: str, told: list[str]) -> None:
    assert problems(f"limits: {{pain: {pain}}}") == told


@pytest.mark.parametrize(
    ("step_up", "limits", "told"),
    [
        ("{pain_to: 3}", "{carry_on_to: 3, ease_to: 5}", []),
        ("{pain_to: 4}", "{carry_on_to: 3, ease_to: 5}",
         ["8: pain_to must be 3 or less, found 4: above that the work is eased."]),
        ("{pain_to: 11}", "{carry_on_to: 3, ease_to: 5}",
         ["8: pain_to must be a whole number from 0 to 10, found 11."]),
        ("{pain_to: 4}", "{carry_on_to: 11, ease_to: 5}",
         ["3: carry_on_to must be a whole number from 0 to 10, found 11."]),
    ],
)  # fmt: skip
def test_no_step_up_is_proposed_at_a_pain_that_eases(step_up: str, limits: str, told: list[str]) -> None:
    assert problems(f"limits: {{pain: {limits}}}", exercise(more=f"step_up_after: {step_up}")) == told


def test_ids_are_used_once_and_the_first_place_is_named() -> None:
    question = '  - {id: fever, ask: "Do you have a fever?", if_yes: end}\n'
    twice = "is used twice (first in line {line}); give one of them another id."

    assert problems("", exercise() + exercise()) == [f'12: exercise id "bend" {twice.format(line=5)}']
    assert problems("", exercise(hard="easy")) == [f'11: level id "easy" {twice.format(line=10)}']
    assert problems(f"screen:\n{question * 2}") == [f'5: screen question id "fever" {twice.format(line=4)}']
    assert problems("", exercise() + exercise("rise", hard="easy2") + exercise("bend")) == [
        f'19: exercise id "bend" {twice.format(line=5)}'
    ]


def test_items_without_an_id_are_reported_as_that_alone() -> None:
    question = '  - {ask: "Do you have a fever?", if_yes: end}\n'
    found = problems(f"screen:\n{question * 2}")

    assert len(found) == 2
    assert all('lacks "id"' in one for one in found)


def test_the_level_to_start_at_is_one_of_the_levels_or_the_first() -> None:
    assert read("", exercise(more="start_level: hard")).exercises[0].start_level == "hard"
    assert read().exercises[0].start_level == "easy"
    (told,) = problems("", exercise(more="start_level: herd"))
    assert told.startswith('8: start_level "herd" does not exist;')


@pytest.mark.parametrize(
    ("waits", "told"),
    [
        ({"b": "a"}, []),
        ({"a": "b", "b": "c"}, []),
        ({"a": "a"}, ['"a" waits for itself and would never join; name another exercise.']),
        ({"a": "b", "b": "a"}, ['"a" and "b" wait for each other', '"b" and "a" wait for each other']),
        ({"a": "b", "b": "c", "c": "b"}, ['"b" and "c" wait for each other', '"c" and "b" wait for each other']),
        ({"a": "x"}, ['joins_after names "x", which does not exist;']),
    ],
)
def test_exercises_do_not_wait_for_each_other_in_a_ring(waits: dict[str, str], told: list[str]) -> None:
    names = "abc"
    joins = {name: f"joins_after: {{exercise: {other}, steady_sessions: 2}}" for name, other in waits.items()}
    found = problems("", "".join(exercise(name, joins.get(name, "why: It helps.")) for name in names))

    assert len(found) == len(told)
    assert all(sentence in one for one, sentence in zip(found, told, strict=True))
