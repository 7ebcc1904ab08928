from __future__ import annotations

import json
import re
from typing import Any

import pytest
from budget import draws
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from coach.errors import ProgramError
from coach.program.fields import WORK
from coach.program.load import load
from coach.program.model import Dose, Hold, Range, Reps, Sides
from coach.program_files import shipped

SHIPPED = {name: path.read_text(encoding="utf-8") for name, path in shipped().items()}
calm = settings(deadline=None, max_examples=draws(40, 100), suppress_health_check=[HealthCheck.too_slow])

words = st.text(st.characters(categories=("L", "Nd")), min_size=1, max_size=12).map(lambda word: f"a {word}")
codes = st.from_regex("[a-z][a-z0-9_]{0,12}", fullmatch=True)
tenths = st.integers(20, 300).map(lambda n: n / 10)


@st.composite
def amounts(draw: st.DrawFn, most: int, unit: str, steady: str) -> tuple[Any, Range]:
    low, high = sorted((draw(st.integers(1, most)), draw(st.integers(1, most))))
    return draw(
        st.sampled_from(
            (
                (f"{low}-{high}{unit}", Range(low, high)),
                (f"{high}{unit}", Range(high, high)),
                (f"{steady}, at most {high}{unit}", Range(1, high, steady=True)),
                (f"{steady}, {low} to {high}{unit}", Range(low, high, steady=True)),
            )
        )
    )


@st.composite
def doses(draw: st.DrawFn) -> tuple[dict[str, Any], dict[str, Any]]:
    """Return a dose as written and the values it must load as."""
    kind = draw(st.sampled_from(list(WORK)))
    sets, rest = draw(st.integers(1, 10)), draw(st.integers(5, 600))
    written: dict[str, Any] = {"sets": sets, "rest": f"{rest} s"}
    times = draw(st.dictionaries(words, tenths, min_size=1, max_size=6))
    if kind == "hold":
        written["hold"], amount = draw(amounts(600, " s", "as long as it stays steady"))
    else:
        name, parts = ("reps", "phases") if kind == "reps" else ("rounds", "route")
        written[name], amount = draw(amounts(100, "", "as many as stay steady"))
        written[parts] = {word: f"{seconds} s" for word, seconds in times.items()}
    return written, {"sets": sets, "rest": float(rest), "amount": amount, "times": times, "kind": kind}


@st.composite
def programs(draw: st.DrawFn) -> tuple[dict[str, Any], list[list[dict[str, Any]]]]:
    """Return a whole program as written and the doses it must load as."""
    exercises, expected = [], []
    ids = draw(st.lists(codes, min_size=1, max_size=4, unique=True))
    for position, name in enumerate(ids):
        levels, wanted = [], []
        for level in draw(st.lists(codes, min_size=1, max_size=3, unique=True)):
            dose, want = draw(doses())
            levels.append({"id": level, "setup": draw(words), "cue": draw(words), "dose": dose})
            wanted.append(want)
        exercise: dict[str, Any] = {"id": name, "name": draw(words), "levels": levels}
        exercise["sides"] = draw(st.sampled_from([side.value for side in Sides]))
        exercise["start_level"] = draw(st.sampled_from([level["id"] for level in levels]))
        if position and draw(st.booleans()):
            exercise["joins_after"] = {"exercise": draw(st.sampled_from(ids[:position])), "steady_sessions": 2}
        exercises.append(exercise)
        expected.append(wanted)
    low, high = sorted((draw(st.integers(0, 10)), draw(st.integers(0, 10))))
    limits = {"pain": {"carry_on_to": low, "ease_to": high}}
    return {
        "format": 1,
        "title": draw(words),
        "affected": "left",
        "limits": limits,
        "exercises": exercises,
    }, expected


@settings(calm, max_examples=draws(12, 40))
@given(programs())
def test_a_program_that_keeps_the_rules_loads_with_the_values_written(
    case: tuple[dict[str, Any], list[list[dict[str, Any]]]],
) -> None:
    written, expected = case

    program = load(json.dumps(written, ensure_ascii=False), "x.yaml")  # JSON is YAML too

    assert [exercise.id for exercise in program.exercises] == [each["id"] for each in written["exercises"]]
    pain = written["limits"]["pain"]
    assert (program.limits.pain_carry_on_to, program.limits.pain_ease_to) == (pain["carry_on_to"], pain["ease_to"])
    for exercise, wanted in zip(program.exercises, expected, strict=True):
        for level, want in zip(exercise.levels, wanted, strict=True):
            _same(level.dose, want)


def _same(dose: Dose, want: dict[str, Any]) -> None:
    assert (dose.sets, dose.rest) == (want["sets"], want["rest"])
    work = dose.work
    if isinstance(work, Hold):
        assert (want["kind"], work.seconds) == ("hold", want["amount"])
        return
    parts = work.phases if isinstance(work, Reps) else work.points
    assert (work.count if isinstance(work, Reps) else work.rounds) == want["amount"]
    assert [(part.name, part.seconds) for part in parts] == list(want["times"].items())


def only_program_errors(text: str) -> None:
    try:
        load(text, "x.yaml", {"stop": ""})
    except ProgramError as error:
        lines = str(error).splitlines()
        assert 1 <= len(lines) <= 20
        for line in lines:
            assert re.fullmatch(r"x\.yaml:(\d+:\d+: .+[.?]| and \d+ more problems; mend these first\.)", line), line


@calm
@given(st.text())
def test_any_text_loads_or_says_what_is_wrong(text: str) -> None:
    only_program_errors(text)


@calm
@given(st.text(alphabet=" \n\t:-[]{},#&*!|>'\"%@`?abc01.~<=\\\0\ufeff\u2028\x85"))
def test_any_run_of_yaml_signs_loads_or_says_what_is_wrong(text: str) -> None:
    only_program_errors(text)


values = st.recursive(
    st.none() | st.booleans() | st.integers() | st.floats() | st.text(max_size=8) | st.dates().map(str),
    lambda inner: st.lists(inner, max_size=3) | st.dictionaries(st.text(max_size=6), inner, max_size=3),
    max_leaves=6,
)


def places(data: Any) -> list[tuple[Any, Any]]:
    """Return every container and key in plain data."""
    pairs = data.items() if isinstance(data, dict) else enumerate(data) if isinstance(data, list) else ()
    return [found for key, value in pairs for found in [(data, key), *places(value)]]


BASE: dict[str, Any] = {
    "format": 1,
    "title": "Small",
    "written_by": {"name": "A", "on": "2027-01-01"},
    "affected": "left",
    "screen": [{"id": "a", "ask": "Well?", "if_no": "end"}],
    "ask": {"pain": "each set"},
    "limits": {"pain": {"carry_on_to": 3, "ease_to": 5}, "effort": {"ease_above": 8}, "minutes": 30},
    "schedule": {"every": "1 day", "after_a_sore_day": "2 days"},
    "exercises": [
        {
            "id": "bend",
            "name": "Bend",
            "needs": ["a chair"],
            "sides": "affected only",
            "start_level": "easy",
            "dose": {"sets": 2, "rest": "60 s", "reps": 8, "phases": {"lower": "3 s"}, "slow_phase": "lower"},
            "levels": [{"id": "easy", "setup": "Stand.", "cue": "Bend.", "dose": {"hold": "20 s"}}],
            "step_up_after": {"sessions": 2},
            "joins_after": {"exercise": "reach", "steady_sessions": 3},
        },
        {
            "id": "reach",
            "name": "Reach",
            "levels": [
                {
                    "id": "easy",
                    "setup": "Stand.",
                    "cue": "Reach.",
                    "dose": {"sets": 1, "rest": "30 s", "route": {"ahead": "2 s"}, "rounds": "3-5"},
                }
            ],
        },
    ],
}


def test_the_base_of_the_mutations_is_sound() -> None:
    assert load(json.dumps(BASE), "x.yaml").exercises


@calm
@given(st.data())
def test_any_value_in_any_place_loads_or_says_what_is_wrong(data: st.DataObject) -> None:
    mutated = json.loads(json.dumps(BASE))
    for _ in range(data.draw(st.integers(1, 3))):
        container, key = data.draw(st.sampled_from(places(mutated)))
        container[key] = data.draw(values)

    only_program_errors(json.dumps(mutated, ensure_ascii=False))


@settings(calm, max_examples=draws(20, 50))
@given(st.data())
def test_a_shipped_file_with_lines_lost_doubled_or_broken_loads_or_says_what_is_wrong(data: st.DataObject) -> None:
    text = SHIPPED[data.draw(st.sampled_from(sorted(SHIPPED)))]
    at = data.draw(st.integers(0, len(text)))
    end = data.draw(st.integers(at, min(len(text), at + 80)))
    piece = data.draw(
        st.sampled_from(("", text[at:end] * 2, "\n", "\t", '"', "{", "]", ": ", "- ", "#", "0", "-1", "no"))
    )

    only_program_errors(text[:at] + piece + text[end:])


@pytest.mark.parametrize("name", list(SHIPPED))
def test_a_file_cut_short_anywhere_never_raises_anything_else(name: str) -> None:
    text = SHIPPED[name]

    for end in range(0, len(text), len(text) // 12):
        only_program_errors(text[:end])
