from __future__ import annotations

from coach.program.load import load

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


def test_each_missing_item_of_the_cert_checklist_becomes_a_warning() -> None:
    text = SMALL + SMALL[SMALL.index("      - id: easy") :].replace("easy", "hard")

    warnings = load(text, "small.yaml").warnings

    fields = ("name or role", ": on", "review_on", "fill in call", "cautions", "screen", "why", "needs", "feel")
    for field in (*fields, "start_level", "step_up_after"):
        assert sum(f"{field}" in one for one in warnings) >= 1, field
    assert len(warnings) == 11


def test_as_many_as_stay_steady_without_a_floor_brings_the_wording_to_write() -> None:
    text = SMALL.replace("reps: 8-12", 'reps: "as many as stay steady, at most 12"')
    bounded = SMALL.replace("reps: 8-12", 'reps: "as many as stay steady, 8 to 12"')

    assert [one for one in load(text, "small.yaml").warnings if '"as many as stay steady, 8 to 15"' in one]
    assert not [one for one in load(bounded, "small.yaml").warnings if "stay steady" in one]


def test_more_than_four_exercises_and_a_high_pain_limit_bring_warnings() -> None:
    one = SMALL[SMALL.index("  - id: bend") :]
    text = SMALL + "".join(one.replace("bend", f"bend{n}") for n in range(4))
    text = text.replace("title: Small", "title: Small\nlimits: {pain: {ease_to: 7}}")

    warnings = load(text, "small.yaml").warnings

    assert any("It has 5 exercises" in one for one in warnings)
    assert any("up to pain 7" in one for one in warnings)


def test_a_slow_phase_that_hardly_anybody_can_keep_up_brings_a_warning() -> None:
    def told(seconds: int) -> list[str]:
        text = SMALL.replace("lower: 3 s", f"lower: {seconds} s")
        return [one for one in load(text, "small.yaml").warnings if "so slowly" in one]

    assert told(10) == []
    assert told(60) == ['Exercise "bend" takes 60 s to "lower" in easy; few can go so slowly for a whole set.']
